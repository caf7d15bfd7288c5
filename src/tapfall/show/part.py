"""What a page says of one reading: everything in words, ready for a template."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tapfall.model import (
    FLAG_SENTENCES,
    REASON_SENTENCES,
    REVIEW_FLAGS,
    Reading,
    Recording,
    Settings,
    State,
    Status,
)
from tapfall.show import account, words
from tapfall.show.cuff_panel import phase_runs
from tapfall.show.figure import span_s
from tapfall.show.inline import inline_figure
from tapfall.show.playback import CEILING, Playback, playback_of
from tapfall.show.rows import (
    BeatRow,
    Fact,
    Row,
    TechniqueRow,
    beat_rows,
    origin_facts,
    technique_count,
    technique_rows,
    value_rows,
)
from tapfall.standards import VERY_HIGH_CAUTION, is_very_high

#: From more sentences and findings on, a page is printed in smaller letters (our choice).
MANY = 8
_STATUS = {
    Status.OK: "both pressures were observed and nothing asks for a person",
    Status.REVIEW: "a person should listen and decide",
    Status.UNREADABLE: "no pressure could be read",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One reading on a page.

    Parameters
    ----------
    prefix
        Put before each id, so that several readings can share a page.
    headline, status, status_words
        The pressures, the status in one word, and what it means.
    asks, notes
        What a person has to do or decide, and what else there is to know.
    systolic, diastolic, others
        How the values came about, in sentences.
    figure
        The figure as an SVG element: the one string that is markup.
    simulated
        Whether no person was measured.
    playback, played
        The sound, and what was done to it in sentences.
    technique, technique_rest
        The checks, what needs a look first; and how many of each kind there are.
    """

    prefix: str
    headline: str
    status: str
    status_words: str
    values: tuple[Row, ...]
    asks: tuple[str, ...]
    notes: tuple[str, ...]
    systolic: tuple[str, ...]
    diastolic: tuple[str, ...]
    others: tuple[str, ...]
    figure: str
    playback: Playback | None
    played: tuple[str, ...]
    beats: tuple[BeatRow, ...]
    simulated: bool
    technique: tuple[TechniqueRow, ...]
    technique_rest: str
    origin: tuple[Fact, ...]

    @property
    def pressing(self) -> int:
        """How many checks of the technique found a fault or ask for a look."""
        return sum(row.kind in ("fault", "look") for row in self.technique)

    @property
    def dense(self) -> bool:
        """Whether there is so much to say that print needs smaller letters to keep one page."""
        return len(self.asks) + len(self.notes) + self.pressing > MANY


def part_of(
    recording: Recording, reading: Reading, settings: Settings, *, prefix: str = ""
) -> Part:
    """Put a reading into words, draw it, and make its sound ready.

    Parameters
    ----------
    recording, reading
        What was read, and the outcome.
    settings
        What was chosen.
    prefix
        Put before each id of this part.

    Returns
    -------
    Part
        Text as it is to be shown: names are escaped for the eye, not for HTML,
        which is the template's work.
    """
    playback = playback_of(recording, reading)
    return Part(
        prefix=prefix,
        headline=_opened(words.headline(reading).removesuffix(" (review)")),
        status=reading.status.value,
        status_words=_STATUS[reading.status],
        values=tuple(value_rows(reading)),
        asks=tuple(_asks(reading)),
        notes=tuple(FLAG_SENTENCES[one] for one in reading.flags if one not in REVIEW_FLAGS),
        systolic=account.systolic_account(reading),
        diastolic=account.diastolic_account(reading),
        others=account.other_account(reading),
        figure=inline_figure(recording, reading, prefix, figure_words(recording, reading)),
        playback=playback,
        played=tuple(_played(playback, reading)) if playback is not None else (),
        beats=tuple(beat_rows(reading)),
        simulated=recording.simulated,
        technique=tuple(technique_rows(reading)),
        technique_rest=technique_count(reading),
        origin=tuple(origin_facts(recording, settings)),
    )


def figure_words(recording: Recording, reading: Reading) -> str:
    """What the figure shows, for those who do not see it."""
    start_s, end_s = span_s(recording, reading)
    panels = (
        f"Four panels on one time axis, from {start_s:.0f} to {end_s:.0f} s of the sound: "
        "waveform, spectrogram, phases of the beats, and cuff pressure."
    )
    if not reading.beats:
        return f"{panels} No beats were found."
    phases = ", ".join(run.phase.value for run in phase_runs(reading.beats))
    lines = [
        words.threshold_lines(name, one)[0]
        for name, one in (("systolic", reading.systolic), ("diastolic", reading.diastolic))
        if words.threshold_lines(name, one)
    ]
    lines += [words.gap_lines(gap)[0] for gap in reading.gaps]
    drawn = f" Lines mark {' and '.join(lines)}." if lines else ""
    return (
        f"{panels} {_opened(account.tally(reading.beats))}. "
        f"In order of time the phases are {phases}.{drawn}"
    )


def _asks(reading: Reading) -> Iterator[str]:
    """Yield what a person has to do or decide, the most pressing first."""
    systolic, diastolic = reading.systolic, reading.diastolic
    if is_very_high(systolic.at_least_mmhg, diastolic.mmhg):
        yield VERY_HIGH_CAUTION
    for reason in reading.reasons:
        yield f"{_opened(REASON_SENTENCES[reason])}."
    for name, one in (("Systolic", systolic), ("Diastolic", diastolic)):
        told = reading.status is Status.UNREADABLE or one.state is not State.UNDETERMINED
        if one.reason is not None and one.reason not in reading.reasons and not told:
            yield f"{name}: {REASON_SENTENCES[one.reason]}."
    for flag in reading.flags:
        if flag in REVIEW_FLAGS:
            yield FLAG_SENTENCES[flag]


def _played(playback: Playback, reading: Reading) -> Iterator[str]:
    length = f"{playback.end_s - playback.start_s:.0f} s"
    if playback.whole:
        yield f"This is the whole recording, {length}."
    else:
        why = (
            "the deflation and a few seconds around it"
            if reading.beats
            else "no beat was found in it"
        )
        yield (
            f"Trimmed: this is {length}, from {playback.start_s:.1f} to "
            f"{playback.end_s:.1f} s of a recording of {playback.recording_s:.0f} s ({why})."
        )
    ends = [
        f"{name} beat is at {_clock(one.time_s - playback.start_s)}"
        for name, one in (("systolic", reading.systolic), ("diastolic", reading.diastolic))
        if one.time_s is not None and playback.start_s <= one.time_s < playback.end_s
    ]
    if ends:
        yield f"In the player the {' and the '.join(ends)}."
    change = "left as it is"
    if playback.gain_db != 0.0:
        way = "raised" if playback.gain_db > 0.0 else "lowered"
        change = f"{way} by {abs(playback.gain_db):.1f} dB"
    held = f"{100 * playback.limited_share:.0f} % of the time was turned down for that"
    yield (
        f"For the ear, not for the reading, the level was {change}, no peak is let past "
        f"{100 * CEILING:.0f} % of full scale ({held}), and sound below 25 Hz is left out."
    )


def _opened(sentence: str) -> str:
    """The sentence with a capital letter; units inside keep theirs."""
    return sentence[:1].upper() + sentence[1:]


def _clock(seconds: float) -> str:
    """Minutes and seconds, as a player shows them."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
