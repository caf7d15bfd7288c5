"""Scenarios as TOML files.

The file mirrors the fields of :class:`tapfall.synth.Scenario`: ``seed``,
``name`` and ``description`` at the top, then ``[person]``, ``[cuff]``,
``[sound]``, ``[sensor]``, ``[room]`` and one ``[[room.noises]]`` per noise.
A field that is not named keeps its default; an unknown one is refused.
In the place of ``intervals_s``, ``intervals_path`` in ``[person]`` names a file of beats
(:mod:`tapfall.synth.series`); what it holds is written as ``intervals_s``.
"""

from __future__ import annotations

import json
import os
import tomllib
from dataclasses import fields, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from tapfall.errors import ScenarioError, printable
from tapfall.files import write_bytes
from tapfall.files.names import open_regular
from tapfall.synth.scenario import Cuff, Noise, Person, Room, Scenario, Sensor, Sound
from tapfall.synth.series import read_intervals

#: Largest file (our choice; every field written out takes 3 kB).
LARGEST_BYTES = 50_000

_PARTS: dict[str, type] = {
    "person": Person,
    "cuff": Cuff,
    "sound": Sound,
    "sensor": Sensor,
    "room": Room,
}
_SERIES = "intervals_path"


def _refuse_unknown(table: dict[str, Any], cls: type, place: str) -> None:
    known = [item.name for item in fields(cls)] + [_SERIES] * (cls is Person)
    for key in table:
        if key not in known:
            near = get_close_matches(key.lower(), known, n=1)
            hint = f"did you mean '{near[0]}'?" if near else f"allowed {', '.join(known)}"
            raise ScenarioError(f"{place}{printable(key)}: found an unknown field; {hint}")


def _value(value: Any) -> Any:
    """TOML's values as the fields hold them: floats for numbers, tuples for lists."""
    if isinstance(value, list):
        return tuple(_value(one) for one in value)
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    return value


def _with_series(table: dict[str, Any], folder: str | os.PathLike[str]) -> dict[str, Any]:
    """Put the intervals of a file in the place of its name."""
    rest = {key: value for key, value in table.items() if key != _SERIES}
    path, place = table[_SERIES], f"person.{_SERIES}"
    if not isinstance(path, str):
        raise ScenarioError(f"{place}: found {path!r}; allowed the name of a file of beats")
    if "intervals_s" in rest:
        raise ScenarioError(f"{place}: found beside person.intervals_s; allowed one of them")
    try:
        intervals_s = read_intervals(Path(folder, path) if path else path)
    except ScenarioError as error:
        raise ScenarioError(f"{place}: {error}") from error
    return {**rest, "intervals_s": list(intervals_s)}


def _part(cls: type, table: Any, place: str, folder: str | os.PathLike[str]) -> Any:
    if not isinstance(table, dict):
        raise ScenarioError(f"{place}: found {table!r}; allowed a table of fields")
    _refuse_unknown(table, cls, f"{place}.")
    if _SERIES in table:
        table = _with_series(table, folder)
    values = {key: _value(value) for key, value in table.items() if key != "noises"}
    if cls is Room and "noises" in table:
        noises = table["noises"]
        if not isinstance(noises, list):
            raise ScenarioError(f"{place}.noises: found {noises!r}; allowed a list of tables")
        values["noises"] = tuple(
            _part(Noise, one, f"{place}.noises[{i}]", folder) for i, one in enumerate(noises)
        )
    return cls(**values)


def scenario_from_toml(text: str, folder: str | os.PathLike[str] = os.curdir) -> Scenario:
    """Read a scenario from the text of a TOML file.

    Parameters
    ----------
    text
        The file's text.
    folder
        Where a relative path of a file of beats starts; the current folder unless given.

    Returns
    -------
    Scenario
        With defaults where the text names no value.

    Raises
    ------
    ScenarioError
        The text is not TOML, a field is unknown (with a suggestion), a
        value is outside its range, or a file of beats cannot be used.

    Examples
    --------
    >>> scenario_from_toml("seed = 4\\n[person]\\nsystolic_mmhg = 140").person.systolic_mmhg
    140.0
    >>> scenario_from_toml("[person]\\nsistolic_mmhg = 140")
    Traceback (most recent call last):
    ...
    tapfall.errors.ScenarioError: person.sistolic_mmhg: found an unknown field; did you mean \
'systolic_mmhg'?
    """
    try:
        table = tomllib.loads(text)
    except RecursionError:
        raise ScenarioError("found TOML nested too deeply; allowed a scenario") from None
    except ValueError as error:  # also of numbers with thousands of digits
        raise ScenarioError(f"found text that is not TOML ({error}); allowed TOML") from error
    _refuse_unknown(table, Scenario, "")
    values = {key: value for key, value in table.items() if key not in _PARTS}
    for name, cls in _PARTS.items():
        if name in table:
            values[name] = _part(cls, table[name], name, folder)
    return Scenario(**values)


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, tuple):
        return f"[{', '.join(_written(one) for one in value)}]"
    return repr(value)


def _lines(thing: Any) -> list[str]:
    lines = []
    for item in fields(thing):
        value = getattr(thing, item.name)
        if item.name not in _PARTS and item.name != "noises":
            lines.append(f"{item.name} = {_written(value)}")
    return lines


def scenario_to_toml(scenario: Scenario) -> str:
    """Write every field of a scenario, defaults too.

    Parameters
    ----------
    scenario
        What to write.

    Returns
    -------
    str
        TOML that :func:`scenario_from_toml` reads back.

    Examples
    --------
    >>> scenario = Scenario(seed=4)
    >>> scenario_from_toml(scenario_to_toml(scenario)) == scenario
    True

    See Also
    --------
    save_scenario : writes the paths of noise files so that they hold from the file's folder.
    """
    lines = _lines(scenario)
    for name in _PARTS:
        lines += ["", f"[{name}]", *_lines(getattr(scenario, name))]
    if not scenario.room.noises:
        lines.append("noises = []")
    for noise in scenario.room.noises:
        lines += ["", "[[room.noises]]", *_lines(noise)]
    return "\n".join(lines) + "\n"


def load_scenario(path: str | os.PathLike[str]) -> Scenario:
    """Read a scenario from a TOML file.

    Relative paths of noise files, and of a file of beats, are taken from the scenario
    file's folder.

    Parameters
    ----------
    path
        The file, UTF-8, at most 50 kB.

    Returns
    -------
    Scenario
        Fields that the file leaves out have their defaults.

    Raises
    ------
    ScenarioError
        The file cannot be read or does not hold a scenario; the message
        starts with the file's name.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "mine.toml"
    ...     _ = path.write_text("seed = 7\\n")
    ...     load_scenario(path).seed
    7
    """
    shown = printable(os.fspath(path))
    try:
        with open_regular(path, ScenarioError, "a TOML file", LARGEST_BYTES) as file:
            text = file.readall().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not UTF-8"
        raise ScenarioError(f"{shown}: cannot be read ({reason}); allowed a TOML file") from error
    try:
        scenario = scenario_from_toml(text, Path(path).parent)
    except ScenarioError as error:
        raise ScenarioError(f"{shown}: {error}") from error
    noises = tuple(
        replace(noise, path=str(Path(path).parent / noise.path)) if noise.path else noise
        for noise in scenario.room.noises
    )
    return replace(scenario, room=replace(scenario.room, noises=noises))


def scenario_bytes(scenario: Scenario, folder: str | os.PathLike[str]) -> bytes:
    """Return the content of a scenario file in a folder.

    Parameters
    ----------
    scenario
        What to write, every field of it.
    folder
        Where the file is to stand: paths of noise files are written from there.

    Returns
    -------
    bytes
        TOML in UTF-8.

    Raises
    ------
    ScenarioError
        The path of a noise file cannot be written in UTF-8.

    Examples
    --------
    >>> noise = Noise(kind="file", path="noise/talk.wav")
    >>> text = scenario_bytes(Scenario(room=Room(noises=(noise,))), "made").decode()
    >>> [line for line in text.splitlines() if line.startswith("path")]
    ['path = "../noise/talk.wav"']
    """
    noises = tuple(
        replace(noise, path=_path_from(folder, noise.path)) if noise.path else noise
        for noise in scenario.room.noises
    )
    text = scenario_to_toml(replace(scenario, room=replace(scenario.room, noises=noises)))
    try:
        return text.encode()
    except UnicodeEncodeError:
        raise ScenarioError(
            f"scenario: found {[one.path for one in noises]} as paths; allowed names in UTF-8"
        ) from None


def _path_from(folder: str | os.PathLike[str], path: str) -> str:
    """A path as it is seen from a folder; absolute where the two share none but the root."""
    # Links to folders are followed, for ".." leads out of where a link leads; the file keeps
    # its own name.
    start = os.path.realpath(folder)
    place = Path(os.path.realpath(Path(path).parent), Path(path).name)
    try:
        shared = Path(os.path.commonpath([start, place]))
    except ValueError:  # on two drives
        return str(place)
    return str(place) if shared == shared.parent else Path(os.path.relpath(place, start)).as_posix()


def save_scenario(scenario: Scenario, path: str | os.PathLike[str]) -> None:
    """Write a scenario as a TOML file, complete or not at all.

    Paths of noise files are written from the file's folder, so that the file can be loaded
    and the folders moved together; a noise file that shares no folder with it but the root
    is written with its whole path.

    Parameters
    ----------
    scenario
        What to write, every field of it.
    path
        The file to write.

    Raises
    ------
    InputError
        The file cannot be written.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "mine.toml"
    ...     save_scenario(Scenario(seed=7), path)
    ...     load_scenario(path) == Scenario(seed=7)
    True
    """
    write_bytes(path, scenario_bytes(scenario, Path(path).parent))
