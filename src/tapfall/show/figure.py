"""One reading as a picture: the sound over the falling cuff, on one time axis."""

from __future__ import annotations

import io
import textwrap
from pathlib import Path

from matplotlib import style
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tapfall.ear.measurement import REST_MMHG
from tapfall.errors import SettingError
from tapfall.files.names import PathLike, label_of
from tapfall.files.writing import write_bytes
from tapfall.model import CAUTION, FloatArray, Reading, Recording, Rhythm, Status
from tapfall.show import cuff_panel, look, sound_panels, words
from tapfall.wording import whole

#: What can be written, with the fixed metadata that keeps equal figures equal.
FORMATS: dict[str, dict[str, str | None]] = {
    ".png": {"Software": None},
    ".svg": {"Date": None, "Creator": "tapfall"},
    ".pdf": {"CreationDate": None, "Producer": "tapfall", "Creator": "tapfall"},
}
SIZE_IN = (10.0, 7.0)
DOTS_PER_INCH = 130
#: Before all other facts of a line.
_SIMULATED = "simulated: no person was measured \N{MIDDLE DOT} "
_LEFT, _RIGHT = 0.082, 0.795
_FOOT_LINES = 5
_FOOT_WIDTH = 170


def draw_reading(
    recording: Recording, reading: Reading, path: PathLike, *, title: str | None = None
) -> None:
    """Draw a reading with its recording and write it to a file.

    From top to bottom on one time axis: the waveform above 25 Hz, a spectrogram up to
    500 Hz, the phases of the beats, and the cuff pressure with every beat
    (filled disc sounds, open square silent, half-filled diamond unsure) and
    the pressures that were read, each with its 95 % interval.  The lag of the
    reading is applied to the log.

    Parameters
    ----------
    recording
        The sound and the log.
    reading
        What was read from them.
    path
        The file: ``.png``, ``.svg`` or ``.pdf``; complete or not at all.
    title
        A line above the picture; the name of the audio file if omitted.

    Raises
    ------
    SettingError
        The name ends in something else.
    InputError
        The file cannot be written.

    Examples
    --------
    >>> draw_reading(None, None, "reading.gif")
    Traceback (most recent call last):
        ...
    tapfall.errors.SettingError: reading.gif: found '.gif'; allowed .png, .svg or .pdf
    """
    suffix = Path(path).suffix.lower()
    if suffix not in FORMATS:
        raise SettingError(f"{label_of(path)}: found {suffix!r}; allowed .png, .svg or .pdf")
    write_bytes(path, figure_bytes(recording, reading, suffix, title=title))


def figure_bytes(
    recording: Recording, reading: Reading, suffix: str, *, title: str | None = None
) -> bytes:
    """Draw a reading and return what its file would hold; equal readings give equal bytes.

    Parameters
    ----------
    recording, reading, title
        As for :func:`draw_reading`.
    suffix
        The form: ``".png"``, ``".svg"`` or ``".pdf"``.
    """
    page = io.BytesIO()
    with style.context(["default", look.STYLE]):
        figure = reading_figure(recording, reading, title=title)
        figure.savefig(page, format=suffix[1:], dpi=DOTS_PER_INCH, metadata=FORMATS[suffix])
    return page.getvalue()


def reading_figure(recording: Recording, reading: Reading, *, title: str | None = None) -> Figure:
    """Build the picture of a reading without writing it.

    Parameters
    ----------
    recording, reading, title
        As for :func:`draw_reading`.

    Returns
    -------
    matplotlib.figure.Figure
        10 by 7 inches, on a canvas of its own (no global state is touched).
    """
    foot = foot_lines(reading)
    bottom = 0.094 + 0.0205 * len(foot)
    figure = Figure(figsize=SIZE_IN, facecolor=look.PAPER)
    FigureCanvasAgg(figure)
    wave, spectrum, phases, cuff = figure.subplots(
        4,
        1,
        sharex=True,
        gridspec_kw={
            "height_ratios": [1.0, 1.15, 0.2, 3.0],
            "hspace": 0.07,
            "left": _LEFT,
            "right": _RIGHT,
            "top": 0.90,
            "bottom": bottom,
        },
    )
    start_s, end_s = span_s(recording, reading)
    sound_panels.draw_sound(wave, spectrum, recording, (start_s, end_s), reading.beats)
    width_in = SIZE_IN[0] * (_RIGHT - _LEFT)
    runs = cuff_panel.phase_runs(reading.beats)
    cuff_panel.draw_phases(phases, runs, end_s - start_s, width_in)
    log_s = log_time_s(recording, reading)
    cuff_panel.draw_log(cuff, log_s, recording.cuff.pressure_mmhg)
    height_in = SIZE_IN[1] * cuff.get_position().height
    cuff_panel.draw_beats(cuff, reading.beats, height_in)
    labels = cuff_panel.draw_thresholds(cuff, reading, (start_s, end_s))
    inside = (log_s >= start_s) & (log_s <= end_s)
    shown = recording.cuff.pressure_mmhg[inside]
    ends = [label.mmhg for label in labels]
    cuff.set_ylim(
        min(0.0, *ends, float(shown.min()) if shown.size else 0.0),
        1.06 * max(60.0, *ends, float(shown.max()) if shown.size else 0.0),
    )
    cuff_panel.draw_labels(cuff, labels, height_in)
    for time_s in (reading.systolic.time_s, reading.diastolic.time_s):
        if time_s is not None:
            for axes in (wave, spectrum, cuff):
                axes.axvline(time_s, color=look.SLATE, linestyle=(0, (4, 3)), linewidth=0.7)
    for axes in (wave, spectrum, phases):
        axes.tick_params(labelbottom=False, bottom=False)
    for axes in (wave, spectrum, cuff):
        axes.spines[["top", "right"]].set_visible(False)
    cuff.set_xlim(start_s, end_s)
    cuff.grid(axis="y", color=look.HAIR, linewidth=0.4)
    cuff.set_axisbelow(True)
    _write_words(figure, recording, reading, title, foot)
    return figure


def _write_words(
    figure: Figure, recording: Recording, reading: Reading, title: str | None, foot: list[str]
) -> None:
    name = title if title is not None else recording.source.audio_name if recording.source else ""
    headline = figure.text(
        _LEFT,
        0.962,
        words.headline(reading),
        fontsize=15,
        fontweight="bold",
        va="center",
        ha="left",
    )
    shown = figure.text(
        0.985,
        0.962,
        look.drawable(name, longest=62),
        fontsize=9.5,
        va="center",
        ha="right",
        color=look.SLATE,
        parse_math=False,
    )
    left = headline.get_window_extent().x1 + 0.3 * figure.dpi
    while len(shown.get_text()) > 1 and shown.get_window_extent().x0 < left:
        shown.set_text(shown.get_text()[:-2] + "…")
    figure.text(
        _LEFT, 0.922, _second_line(recording, reading), fontsize=8.5, va="center", color=look.SLATE
    )
    for index, line in enumerate([*foot, CAUTION]):
        figure.text(
            0.015,
            0.0175 + 0.0205 * (len(foot) - index),
            line,
            fontsize=7.5,
            va="center",
            color=look.INK if index < len(foot) else look.SLATE,
            fontstyle="normal" if index < len(foot) else "italic",
        )


def _second_line(recording: Recording, reading: Reading) -> str:
    first = _SIMULATED if recording.simulated else ""
    if reading.status is Status.UNREADABLE:
        return look.drawable(first + words.reasons_text(reading), longest=140)
    parts = []
    if reading.pulse_per_min is not None:
        rhythm = "" if reading.rhythm is Rhythm.UNKNOWN else f", {reading.rhythm.value}"
        parts.append(f"pulse {whole(reading.pulse_per_min)} per minute{rhythm}")
    speed = reading.quality.deflation_mmhg_per_s
    if speed is not None:
        parts.append(f"deflation {speed:.1f} mmHg/s")
    if words.lag_unseen(reading):
        parts.append("log lag not known")
    elif reading.lag is not None:
        how = "estimated" if reading.lag.estimated else "given"
        seconds = round(reading.lag.seconds, 2) + 0.0
        parts.append(f"log lag {seconds:.2f} s ({how})")
    if reading.manometer_mmhg is not None:
        parts.append(f"manometer ±{reading.manometer_mmhg:g} mmHg, not in the intervals")
    return first + "   ".join(parts)


def foot_lines(reading: Reading) -> list[str]:
    """Status and flags, wrapped to the width of the figure, at most five lines."""
    lines = textwrap.wrap(" ".join(words.remarks(reading)), _FOOT_WIDTH)
    if len(lines) > _FOOT_LINES:
        lines = [*lines[: _FOOT_LINES - 1], f"… and more: {len(reading.flags)} flags in all."]
    return lines


def log_time_s(recording: Recording, reading: Reading) -> FloatArray:
    """Times of the log on the clock of the sound: log time minus lag."""
    lag_s = reading.lag.seconds if reading.lag is not None else 0.0
    return recording.cuff.time_s - lag_s


def span_s(recording: Recording, reading: Reading) -> tuple[float, float]:
    """What is shown: the measurement around the beats, or all that there is.

    Returns
    -------
    start_s, end_s : float
        From one second before the cuff leaves rest (below 15 mmHg) to one
        second after it is back, where beats were found; otherwise the whole
        of sound and log.
    """
    log_s, pressure = log_time_s(recording, reading), recording.cuff.pressure_mmhg
    end_s = recording.samples.size / recording.rate_hz
    everything = (
        float(min([0.0, *log_s[:1]])),
        float(max([end_s, 0.1, *log_s[-1:]])),
    )
    if not reading.beats or reading.status is Status.UNREADABLE:
        return everything
    first_s, last_s = reading.beats[0].time_s, reading.beats[-1].time_s
    resting = log_s[pressure < REST_MMHG]
    before, after = resting[resting < first_s], resting[resting > last_s]
    return (
        max(everything[0], float(before[-1]) - 1.0) if before.size else everything[0],
        min(everything[1], float(after[0]) + 1.0) if after.size else everything[1],
    )
