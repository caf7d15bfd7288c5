"""The table of an agreement study: CSV with a reference and an estimate in each row.

The header names the columns ``reference`` and ``estimate`` and, if wanted, ``subject``,
``condition``, ``measure`` and ``confidence``, in any order and case.  Cells are parted by
commas, semicolons or tabs.  An empty estimate is an abstention, ``>=120`` or ``<=60`` a
bound; neither is ever replaced by a number.
"""

from __future__ import annotations

import csv
import hashlib
import re
from dataclasses import dataclass

from tapfall.errors import InputError, fault_text, printable, shown
from tapfall.files.names import PathLike, label_of, open_regular

NEEDED = ("reference", "estimate")
COLUMNS = (*NEEDED, "subject", "condition", "measure", "confidence")
MEASURES = ("systolic", "diastolic", "mean")
#: Largest table, rows in it, names of conditions, letters of a name (our choice).
MAX_BYTES, MAX_ROWS, MAX_CONDITIONS, MAX_NAME = 200_000_000, 2_000_000, 20, 60
#: Pressures that can be written down, mmHg (diastolic can be 0).
LOWEST_MMHG, HIGHEST_MMHG = 0.0, 400.0

_WANTED = "a table of pairs (CSV with the columns reference and estimate)"
_NUMBER = re.compile(r"[+-]?[0-9]{1,6}(\.[0-9]{1,12})?")
_BOUNDS = (">=", "<=")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: None where a cell is empty; ``bound`` is ``>=``, ``<=`` or empty."""

    line: int
    reference_mmhg: float | None
    estimate_mmhg: float | None
    bound: str = ""
    subject: str | None = None
    condition: str = ""
    measure: str = ""
    confidence: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The rows in the order of the file, the columns it has, and the file's hash."""

    rows: tuple[Row, ...]
    columns: tuple[str, ...]
    sha256: str


def read_table(path: PathLike) -> Table:
    """Read the table of an agreement study.

    Parameters
    ----------
    path
        The file, UTF-8, at most 200 MB and two million rows; pressures in mmHg.

    Returns
    -------
    Table
        The rows in the order of the file, pressures in mmHg.

    Raises
    ------
    InputError
        A column is missing or unknown, or a cell is not what is allowed; the message
        names the line.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "pairs.csv"
    ...     _ = path.write_text("reference,estimate\\n120,118.5\\n131,\\n184,>=180\\n")
    ...     [(one.estimate_mmhg, one.bound) for one in read_table(path).rows]
    [(118.5, ''), (None, ''), (180.0, '>=')]
    """
    label = label_of(path)
    with open_regular(path, InputError, _WANTED, MAX_BYTES) as file:
        data = file.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise InputError(f"{label}: found more than {MAX_BYTES} bytes; allowed at most as many")
    return table_of(label, data)


def table_of(label: str, data: bytes) -> Table:
    """Return the table that the bytes of a file hold; ``label`` names it in errors.

    Parameters
    ----------
    label
        How errors name the table.
    data
        The bytes of the file: CSV, UTF-8.

    Returns
    -------
    Table
        The rows in the order of the file, pressures in mmHg.

    Raises
    ------
    InputError
        A column is missing or unknown, or a cell is not what is allowed; the message
        names the line.

    Examples
    --------
    >>> [one.estimate_mmhg for one in table_of("t", b"reference,estimate\\n120,122\\n").rows]
    [122.0]
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{label}: found bytes that are not UTF-8; allowed {_WANTED}") from None
    lines = [one for one in re.split(r"(?<=\n)|(?<=\r)(?!\n)", text) if one]
    first = next((line for line in lines if line.strip()), "")
    delimiter = next((one for one in ("\t", ";") if one in first), ",")
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    cells: list[tuple[int, list[str]]] = []
    try:
        for row in reader:
            stripped = [cell.strip() for cell in row]
            if any(stripped):
                cells.append((reader.line_num, stripped))
            if len(cells) > MAX_ROWS + 1:
                raise InputError(f"{label}: found more than {MAX_ROWS} rows; allowed at most so")
    except csv.Error as fault:
        raise InputError(
            f"{label}: line {reader.line_num}: found what is not CSV ({fault}); allowed {_WANTED}"
        ) from None
    if not cells:
        raise InputError(f"{label}: found only empty lines; allowed {_WANTED}")
    columns = _columns(label, *cells[0])
    if len(cells) == 1:
        raise InputError(f"{label}: found no rows below the header; allowed 1 to {MAX_ROWS}")
    rows: list[Row] = []
    faults: list[str] = []
    for line, row in cells[1:]:
        try:
            rows.append(_row(line, row, columns))
        except InputError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    conditions = {one.condition for one in rows}
    if len(conditions) > MAX_CONDITIONS:
        raise InputError(
            f"{label}: found {len(conditions)} conditions; allowed at most {MAX_CONDITIONS}"
        )
    return Table(rows=tuple(rows), columns=columns, sha256=hashlib.sha256(data).hexdigest())


def _columns(label: str, line: int, header: list[str]) -> tuple[str, ...]:
    names = tuple(cell.lower() for cell in header)
    for name in names:
        if name not in COLUMNS:
            raise InputError(
                f"{label}: line {line}: found the column {shown(name)}; "
                f"allowed {', '.join(COLUMNS)}"
            )
        if names.count(name) > 1:
            raise InputError(f"{label}: line {line}: found {shown(name)} twice; allowed once")
    for name in NEEDED:
        if name not in names:
            raise InputError(f"{label}: line {line}: found no column '{name}'; allowed {_WANTED}")
    return names


def _row(line: int, cells: list[str], columns: tuple[str, ...]) -> Row:
    if len(cells) != len(columns):
        raise InputError(f"found {len(cells)} cells; allowed {len(columns)}, as in the header")
    cell = dict(zip(columns, cells, strict=True))
    estimate = cell["estimate"]
    bound = estimate[:2] if estimate.startswith(_BOUNDS) else ""
    if bound and not estimate[2:].strip():
        raise InputError(f"estimate: found {shown(estimate)}; allowed a number behind {bound}")
    measure = cell.get("measure", "").lower()
    if "measure" in columns and measure not in MEASURES:
        raise InputError(f"measure: found {shown(measure)}; allowed {', '.join(MEASURES)}")
    subject = _name("subject", cell["subject"]) if "subject" in columns else None
    if subject == "":
        raise InputError("subject: found nothing; allowed a name or number in every row")
    return Row(
        line=line,
        reference_mmhg=_pressure("reference", cell["reference"], "a number or nothing"),
        estimate_mmhg=_pressure(
            "estimate", estimate[len(bound) :].strip(), "a number, >= or <= and one, or nothing"
        ),
        bound=bound,
        subject=subject,
        condition=_name("condition", cell.get("condition", "")),
        measure=measure,
        confidence=_confidence(cell.get("confidence", "")),
    )


def _name(column: str, text: str) -> str:
    if len(text) > MAX_NAME:
        raise InputError(f"{column}: found {shown(text)}; allowed at most {MAX_NAME} letters")
    return printable(text)


def _pressure(column: str, text: str, allowed: str) -> float | None:
    if not text:
        return None
    if not _NUMBER.fullmatch(text):
        raise InputError(f"{column}: found {shown(text)}; allowed {allowed}, such as 120.5")
    value = float(text)
    if not LOWEST_MMHG <= value <= HIGHEST_MMHG:
        raise InputError(
            f"{column}: found {shown(text)}; allowed {LOWEST_MMHG:g} to {HIGHEST_MMHG:g} mmHg"
        )
    return value


def _confidence(text: str) -> float | None:
    if not text:
        return None
    if not _NUMBER.fullmatch(text) or not 0.0 <= float(text) <= 1.0:
        raise InputError(f"confidence: found {shown(text)}; allowed 0 to 1, or nothing")
    return float(text)
