"""How far two ways of measuring agree: statistics of pairs, each with its source.

Nothing here draws; the page is made by :mod:`tapfall.show.agreement_page`.
"""

from __future__ import annotations

from tapfall.study.agreement.coverage import CoveragePoint, risk_coverage
from tapfall.study.agreement.limits import (
    Limits,
    Span,
    limits_of_agreement,
    pairs_needed,
    share_within,
)
from tapfall.study.agreement.make import agreement
from tapfall.study.agreement.proportional import Proportional, proportional_bias
from tapfall.study.agreement.protocols import (
    bhs_grade,
    criterion_1,
    criterion_2_limit,
    esh_counts,
)
from tapfall.study.agreement.record import (
    AGREEMENT_SCHEMA_NAME,
    agreement_record,
    agreement_schema,
)
from tapfall.study.agreement.reliability import icc_agreement, weighted_kappa
from tapfall.study.agreement.replicates import constant_limits, varying_limits
from tapfall.study.agreement.result import Agreement, Group, Number, Requirement, Result
from tapfall.study.agreement.rows import Row, Table
from tapfall.study.agreement.table import read_table, table_of

__all__ = [
    "AGREEMENT_SCHEMA_NAME",
    "Agreement",
    "CoveragePoint",
    "Group",
    "Limits",
    "Number",
    "Proportional",
    "Requirement",
    "Result",
    "Row",
    "Span",
    "Table",
    "agreement",
    "agreement_record",
    "agreement_schema",
    "bhs_grade",
    "constant_limits",
    "criterion_1",
    "criterion_2_limit",
    "esh_counts",
    "icc_agreement",
    "limits_of_agreement",
    "pairs_needed",
    "proportional_bias",
    "read_table",
    "risk_coverage",
    "share_within",
    "table_of",
    "varying_limits",
    "weighted_kappa",
]
