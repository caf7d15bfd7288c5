"""Pressures that an observer wrote down: CSV with a column for each measure."""

from __future__ import annotations

from tapfall.errors import InputError, fault_text, shown
from tapfall.files.names import PathLike, label_of
from tapfall.files.rows import read_rows, width_fault

#: Columns, at least one of which has to be there; others are left alone.
COLUMNS = {"systolic_mmhg": "systolic", "diastolic_mmhg": "diastolic"}
#: Largest file, bytes (our choice: some millions of values).
MAX_BYTES = 50_000_000
_WANTED = "pressures (CSV with a column systolic_mmHg, diastolic_mmHg or both)"


def read_written(path: PathLike) -> dict[str, list[float]]:
    """Read written-down pressures.

    Parameters
    ----------
    path
        The file, UTF-8; cells are parted by commas, semicolons or tabs.

    Returns
    -------
    dict
        ``systolic`` and ``diastolic``, as far as they are there: mmHg in the order of the
        file, without empty cells.

    Raises
    ------
    InputError
        There is no such column, no value, a cell is no whole number of 0 to 400, or a
        diastolic is not below its systolic; the message names the line.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "values.csv"
    ...     _ = path.write_text("systolic_mmHg\\n120\\n134\\n")
    ...     read_written(path)
    {'systolic': [120.0, 134.0]}
    """
    label = label_of(path)
    rows, _ = read_rows(path, _WANTED, MAX_BYTES)
    line, names = rows[0]
    header = [name.lower() for name in names]
    places = {measure: header.index(name) for name, measure in COLUMNS.items() if name in header}
    if not places or any(header.count(name) > 1 for name in COLUMNS):
        found = ",".join(names)[:60]
        raise InputError(f"{label}: line {line}: found {shown(found)}; allowed {_WANTED}")
    values: dict[str, list[float]] = {measure: [] for measure in places}
    faults: list[str] = []
    for line, cells in rows[1:]:
        if len(cells) != len(header):
            faults.append(f"line {line}: {width_fault(cells, len(header))}")
            continue
        told: dict[str, float] = {}
        for measure, place in places.items():
            cell = cells[place]
            if cell == "":
                continue
            if not (cell.isascii() and cell.isdigit() and len(cell) < 4 and int(cell) <= 400):
                faults.append(
                    f"line {line}: {measure}: found {shown(cell)}; allowed a whole number of "
                    "0 to 400 mmHg, or nothing"
                )
                continue
            told[measure] = float(cell)
        if len(told) > 1 and told["systolic"] <= told["diastolic"]:
            faults.append(
                f"line {line}: found {told['systolic']:.0f}/{told['diastolic']:.0f}; allowed a "
                "diastolic below its systolic"
            )
        for measure, value in told.items():
            values[measure].append(value)
    if faults:
        raise InputError(fault_text(f"{label}: {faults[0]}", faults[1:]))
    filled = {measure: found for measure, found in values.items() if found}
    if not filled:
        raise InputError(f"{label}: found no values; allowed {_WANTED}")
    return filled
