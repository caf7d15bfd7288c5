"""An agreement as JSON values: every number of it."""

from __future__ import annotations

from typing import Any

from tapfall import __version__
from tapfall.convert import to_json
from tapfall.model import CAUTION
from tapfall.study.agreement.result import Agreement

#: The value of the field ``schema``.
AGREEMENT_SCHEMA_NAME = "tapfall.agreement/1"


def agreement_record(agreement: Agreement, *, name: str, sha256: str) -> dict[str, Any]:
    """Return an agreement as JSON values.

    Parameters
    ----------
    agreement
        What was found.
    name, sha256
        The name of the table without its folder, and its hash.
    """
    return {
        "schema": AGREEMENT_SCHEMA_NAME,
        "table": {"name": name, "sha256": sha256},
        **to_json(agreement),
        "version": __version__,
        "caution": CAUTION,
    }
