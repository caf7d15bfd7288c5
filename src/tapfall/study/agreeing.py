"""The agreement of a study: tapfall against the observers, and one observer against the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tapfall.files.names import PathLike
from tapfall.files.tables import table_text
from tapfall.files.writing import write_json
from tapfall.study.agreement import Agreement, agreement, agreement_record, table_of
from tapfall.study.agreement.table import MAX_CONDITIONS
from tapfall.study.tables import PAIR_COLUMNS, Row, Tables

_CONDITION = PAIR_COLUMNS.index("condition")


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreements:
    """Both agreements with the hashes of their tables; None where there are no pairs."""

    tapfall: Agreement | None
    tapfall_sha256: str
    observers: Agreement | None
    observers_sha256: str


def agreements_of(tables: Tables) -> Agreements:
    """Compute what ``tapfall agree`` would of ``pairs.csv`` and ``observers.csv``.

    Parameters
    ----------
    tables
        The tables of a study.

    Returns
    -------
    Agreements
        All conditions together where there are more than a report can hold.
    """
    own, own_hash = _agreement("pairs.csv", tables.pairs)
    other, other_hash = _agreement("observers.csv", tables.observers)
    return Agreements(
        tapfall=own, tapfall_sha256=own_hash, observers=other, observers_sha256=other_hash
    )


def write_agreements(folder: PathLike, found: Agreements) -> None:
    """Write every number of both agreements as JSON, beside the tables of a study.

    Parameters
    ----------
    folder
        The folder of the study.
    found
        From :func:`agreements_of`.

    Raises
    ------
    InputError
        A file cannot be written.
    """
    for name, one, sha256 in (
        ("pairs", found.tapfall, found.tapfall_sha256),
        ("observers", found.observers, found.observers_sha256),
    ):
        if one is not None:
            record = agreement_record(one, name=f"{name}.csv", sha256=sha256)
            write_json(Path(folder) / f"{name}-agreement.json", record)


def _agreement(label: str, rows: Sequence[Row]) -> tuple[Agreement | None, str]:
    if not rows:
        return None, ""
    if len({row[_CONDITION] for row in rows}) > MAX_CONDITIONS:
        rows = [(*row[:_CONDITION], "", *row[_CONDITION + 1 :]) for row in rows]
    table = table_of(label, table_text(PAIR_COLUMNS, rows).encode("utf-8"))
    return agreement(table), table.sha256
