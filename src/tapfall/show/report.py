"""A reading as one page of HTML that stands by itself: figure, sound, beats, and why.

The page loads nothing, runs no script, and says so to the browser.  Every text
is escaped by the template engine; the one exception is the figure, which is
drawn here and holds no text from outside.
"""

from __future__ import annotations

import functools

from jinja2 import Environment, PackageLoader, StrictUndefined

from tapfall.files.names import PathLike
from tapfall.files.writing import write_bytes
from tapfall.model import CAUTION, Reading, Recording, Settings
from tapfall.show.part import Part, part_of
from tapfall.show.words import place_words

#: How far the accuracy is shown; said in every report.
PROOF = (
    "Accuracy is shown on simulated sounds, with real beat series and real background sound; "
    "the confidence is calibrated to simulation; no recording of real Korotkoff sounds with "
    "cuff pressure was available."
)
#: What the numbers mean; said in every report.
MEANING = (
    "Pressures are shown rounded to the nearest mmHg. The range is meant to hold the threshold "
    "95 times in 100: it contains the spacing of the beats, doubt about each beat, the cuff's "
    "trend and the lag between log and sound. The confidence is the probability that the value "
    "lies within 4 mmHg of what an expert would record from the same sounds, in this noise or "
    "without it, or between the two."
)


def write_report(
    path: PathLike,
    recording: Recording,
    reading: Reading,
    settings: Settings | None = None,
    *,
    measurement: tuple[int, int] | None = None,
) -> None:
    """Write a reading as one page of HTML, complete or not at all.

    The page holds the values, how they came about, the figure, the sound at a
    safe level, the beats, the findings on the technique, and where all of it
    comes from.  It needs no network and stays below 8 MB.

    Parameters
    ----------
    path
        The file to write.
    recording
        The sound and the log.
    reading
        What was read from them.
    settings
        What was chosen; the defaults if None.
    measurement
        Which of the measurements in the recording it is, counted from 1, and of how many;
        told where there are several.

    Raises
    ------
    InputError
        The file cannot be written.

    Examples
    --------
    >>> from tapfall.ear import take_reading
    >>> from tapfall.synth import load_builtin, simulate
    >>> import tempfile, pathlib
    >>> recording = simulate(load_builtin("normal")).recording
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "arm.html"
    ...     write_report(path, recording, take_reading(recording))
    ...     path.read_text(encoding="utf-8").partition("\\n")[0]
    '<!DOCTYPE html>'
    """
    page = report_html(recording, reading, settings, measurement=measurement)
    write_bytes(path, page.encode("utf-8"))


def report_html(
    recording: Recording,
    reading: Reading,
    settings: Settings | None = None,
    *,
    measurement: tuple[int, int] | None = None,
) -> str:
    """Return the page that :func:`write_report` writes; equal readings give equal pages.

    Parameters
    ----------
    recording, reading, settings, measurement
        As for :func:`write_report`.
    """
    part = part_of(recording, reading, settings or Settings())
    several = measurement is not None and measurement[1] > 1
    place = place_words(measurement) if several and measurement is not None else ""
    return rendered("report.html.j2", title=_title(part, place), part=part, place=place)


def rendered(name: str, **values: object) -> str:
    """Fill a template of this package, with every text escaped.

    Parameters
    ----------
    name
        The template; it stands on ``page.html.j2`` and may use the macros of
        ``parts.html.j2``.
    values
        What it shows, beside the cautions that every page carries.
    """
    template = page_templates("tapfall.show").get_template(name)
    return template.render(caution=CAUTION, proof=PROOF, meaning=MEANING, **values)


@functools.cache
def page_templates(package: str) -> Environment:
    """Return the templates of pages that a package holds, every text escaped."""
    found = Environment(
        loader=PackageLoader(package),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    found.policies["json.dumps_kwargs"] = {"allow_nan": False, "separators": (",", ":")}
    return found


def _title(part: Part, place: str) -> str:
    names = [fact.value for fact in part.origin if fact.name == "Sound file"]
    return ", ".join([part.headline, *names, *([place] if place else [])])
