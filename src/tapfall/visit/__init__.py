"""Repeated readings of one visit: average, both arms, category; no files are read here."""

from __future__ import annotations

from tapfall.visit.guidelines import GUIDELINES, Guideline, Take
from tapfall.visit.make import visit
from tapfall.visit.observer import ObserverFinding, check_observer
from tapfall.visit.record import (
    SHIPPED,
    VISIT_SCHEMA_NAME,
    Lost,
    visit_record,
    visit_schema,
)
from tapfall.visit.result import (
    ArmsCompared,
    Average,
    Cited,
    Counted,
    Mean,
    Placed,
    Visit,
)
from tapfall.visit.schemes import SCHEMES, Category, Scheme
from tapfall.visit.taken import Arm, Taken

__all__ = [
    "GUIDELINES",
    "SCHEMES",
    "SHIPPED",
    "VISIT_SCHEMA_NAME",
    "Arm",
    "ArmsCompared",
    "Average",
    "Category",
    "Cited",
    "Counted",
    "Guideline",
    "Lost",
    "Mean",
    "ObserverFinding",
    "Placed",
    "Scheme",
    "Take",
    "Taken",
    "Visit",
    "check_observer",
    "visit",
    "visit_record",
    "visit_schema",
]
