"""An agreement as JSON values: every number of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tapfall import __version__
from tapfall.convert import schema_of, shape_of_fields, shape_of_object, to_json
from tapfall.model import CAUTION
from tapfall.study.agreement.result import Agreement

#: The value of the field ``schema``.
AGREEMENT_SCHEMA_NAME = "tapfall.agreement/1"
#: The copy of its JSON Schema that is shipped with the package.
SHIPPED = Path(__file__).parents[2] / "schema" / "agreement-1.json"


def agreement_record(agreement: Agreement, *, name: str, sha256: str) -> dict[str, Any]:
    """Return an agreement as JSON values.

    Parameters
    ----------
    agreement
        What was found.
    name, sha256
        The name of the table without its folder, and its hash.

    Returns
    -------
    dict
        Keys as in the schema of ``tapfall.agreement/1``; pressures in mmHg.

    Examples
    --------
    >>> from tapfall.study.agreement import agreement as agree, table_of
    >>> table = table_of("t.csv", b"reference,estimate\\n120,122\\n130,130\\n")
    >>> record = agreement_record(agree(table), name="t.csv", sha256=table.sha256)
    >>> record["schema"]
    'tapfall.agreement/1'
    """
    return {
        "schema": AGREEMENT_SCHEMA_NAME,
        "table": {"name": name, "sha256": sha256},
        **to_json(agreement),
        "version": __version__,
        "caution": CAUTION,
    }


def agreement_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``tapfall.agreement/1``.

    Returns
    -------
    dict
        Unknown fields are refused everywhere.

    Examples
    --------
    >>> agreement_schema()["properties"]["schema"]
    {'const': 'tapfall.agreement/1'}
    """
    defs: dict[str, Any] = {}
    properties = {
        "schema": {"const": AGREEMENT_SCHEMA_NAME},
        "table": shape_of_object({"name": {"type": "string"}, "sha256": {"type": "string"}}),
        **shape_of_fields(Agreement, defs),
        "version": {"type": "string"},
        "caution": {"type": "string"},
    }
    return schema_of(AGREEMENT_SCHEMA_NAME, shape_of_object(properties), defs)
