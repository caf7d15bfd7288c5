"""The tables of a page about a reading, row by row, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tapfall import __version__
from tapfall.errors import printable
from tapfall.model import (
    FindingState,
    Reading,
    Recording,
    Rhythm,
    Settings,
    Source,
    State,
    Status,
    Threshold,
)
from tapfall.show import account, words
from tapfall.wording import brief_chance, whole

#: Outcomes of a check, the most pressing first.
_OUTCOMES = {
    FindingState.FAULT: "fault",
    FindingState.LOOK: "have a look",
    FindingState.OK: "ok",
    FindingState.UNKNOWN: "not known",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table of values, in words; ``line`` is its line in the figure."""

    name: str
    value: str
    interval: str
    confidence: str
    read_at: str
    line: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatRow:
    """One line of the table of beats, in words."""

    number: int
    time: str
    cuff: str
    heard: str
    chance: str
    phase: str
    read_here: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TechniqueRow:
    """One check of the technique, in words; ``kind`` is its outcome as a class of the page."""

    kind: str
    check: str
    outcome: str
    found: str
    expected: str
    unit: str
    bias: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A name and what is under it; ``exact`` for what is copied sign by sign."""

    name: str
    value: str
    exact: bool = False


def value_rows(reading: Reading) -> Iterator[Row]:
    """Yield systolic, diastolic, gaps and pulse; nothing where nothing was observed."""
    if reading.status is Status.UNREADABLE:
        return
    bound = reading.diastolic.state is State.NOT_REACHED
    rule = "" if bound else words.RULE_WORDS[reading.diastolic.rule]
    yield _row("Systolic", reading.systolic, "first sound, K1", "solid")
    yield _row("Diastolic", reading.diastolic, rule, "dashed")
    for gap in reading.gaps:
        yield Row(
            name="Silent gap",
            value=f"{whole(gap.upper_mmhg)} to {whole(gap.lower_mmhg)} mmHg",
            interval=(
                f"{whole(gap.upper_low_mmhg)} to {whole(gap.upper_high_mmhg)} and "
                f"{whole(gap.lower_low_mmhg)} to {whole(gap.lower_high_mmhg)}"
            ),
            confidence=brief_chance(gap.confidence),
            read_at="last sound above, first below",
            line="dotted",
        )
    if reading.pulse_per_min is not None:
        rhythm = "" if reading.rhythm is Rhythm.UNKNOWN else reading.rhythm.value
        pulse = f"{whole(reading.pulse_per_min)} per minute"
        yield Row(
            name="Pulse", value=pulse, interval="", confidence="", read_at=rhythm, line="none"
        )


def _row(name: str, one: Threshold, read_at: str, line: str) -> Row:
    lines = words.threshold_lines(name, one)
    interval = ""
    if one.mmhg is not None and one.low_mmhg is not None and one.high_mmhg is not None:
        interval = f"{whole(one.low_mmhg)} to {whole(one.high_mmhg)}"
    given = one.mmhg is not None and one.confidence is not None
    return Row(
        name=name,
        value=lines[0].removeprefix(f"{name} ") if lines else "not determined",
        interval=interval,
        confidence=brief_chance(one.confidence or 0.0) if given else "",
        read_at=read_at if lines else "",
        line=line,
    )


def beat_rows(reading: Reading) -> Iterator[BeatRow]:
    """Yield every beat, and which thresholds were read at it."""
    read: dict[int, list[str]] = {}
    for name, one in (
        ("systolic", reading.systolic),
        ("diastolic", reading.diastolic),
        ("first silence", reading.first_silence),
        ("muffling", reading.muffling),
    ):
        index = account.deciding_beat(reading, one)
        if index is not None:
            near = account.lies_between(reading, one)
            read.setdefault(index, []).append(f"{name}, likeliest" if near else name)
    for index, beat in enumerate(reading.beats):
        yield BeatRow(
            number=index + 1,
            time=f"{beat.time_s:.2f}",
            cuff=f"{beat.cuff_mmhg:.1f}",
            heard=account.heard_word(beat),
            chance=brief_chance(beat.heard),
            phase=beat.phase.value,
            read_here=", ".join(read.get(index, [])),
        )


def technique_rows(reading: Reading) -> Iterator[TechniqueRow]:
    """Yield the checks of the technique, the most pressing first."""
    for state, outcome in _OUTCOMES.items():
        for one in reading.technique:
            if one.state is state:
                yield TechniqueRow(
                    kind=state.value,
                    check=printable(one.check),
                    outcome=outcome,
                    found=printable(one.found),
                    expected=printable(one.expected),
                    unit=printable(one.unit),
                    bias=printable(one.bias or ""),
                    source=printable(one.source),
                )


def technique_count(reading: Reading) -> str:
    """How many checks came out how."""
    counts = [
        (sum(one.state is state for one in reading.technique), outcome)
        for state, outcome in _OUTCOMES.items()
    ]
    found = ", ".join(f"{count} {outcome}" for count, outcome in counts if count)
    return f"Of {len(reading.technique)} checks: {found}."


def file_facts(source: Source) -> tuple[Fact, ...]:
    """Name the sound and the log of a recording, each with its hash."""
    return (
        Fact(name="Sound file", value=printable(source.audio_name)),
        Fact(name="SHA-256 of the sound", value=printable(source.audio_sha256), exact=True),
        Fact(name="Cuff log", value=printable(source.cuff_name)),
        Fact(name="SHA-256 of the log", value=printable(source.cuff_sha256), exact=True),
    )


def origin_facts(recording: Recording, settings: Settings) -> Iterator[Fact]:
    """Yield files with their hashes, what was chosen, and the version of the program."""
    source = recording.source
    if source is None:
        yield Fact(name="Files", value="none: the recording was made in memory")
    else:
        yield from file_facts(source)
    seconds = recording.samples.size / recording.rate_hz
    yield Fact(
        name="Recording",
        value=f"{seconds:.1f} s of sound at {recording.rate_hz:g} Hz, "
        f"{recording.cuff.time_s.size} rows of cuff pressure",
    )
    lag = "estimated" if settings.lag_s is None else f"given as {settings.lag_s:g} s"
    error = "not given" if settings.manometer_mmhg is None else f"±{settings.manometer_mmhg:g} mmHg"
    yield Fact(
        name="Settings",
        value=f"diastolic at {words.RULE_WORDS[settings.diastolic]}; lag {lag}; manometer's "
        f"error {error}; measurements of {settings.longest_s:g} s at most",
    )
    yield Fact(name="Program", value=f"tapfall {__version__}")
