"""How a reading came about, in plain sentences: which beats decided, and what lies around them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tapfall.model import (
    REASON_SENTENCES,
    Beat,
    Diastolic,
    Flag,
    Gap,
    Reading,
    Rule,
    State,
    Status,
    Threshold,
)
from tapfall.show.words import SILENT, SOUNDS, lag_unseen
from tapfall.wording import chance, whole

#: A threshold's beat is the one at its time, but for rounding.
_SAME_BEAT_S = 0.05
#: A value that lies no further from its beat was read at it: the trend is rounded.
_SAME_MMHG = 0.5

_LAST = {
    Rule.LAST_SOUND: "the last sound of the last run of beats that sound",
    Rule.FIRST_SILENCE: "the first beat without a sound after the last one with, as asked for",
    Rule.K4: "where the sounds muffle, as asked for",
}


def heard_word(beat: Beat) -> str:
    """Whether a beat sounds, in one word, as in the figure.

    Examples
    --------
    >>> from tapfall.model import Phase
    >>> heard_word(Beat(time_s=9.0, cuff_mmhg=99.0, heard=0.5, phase=Phase.K1))
    'unsure'
    """
    if beat.heard >= SOUNDS:
        return "sounds"
    return "silent" if beat.heard < SILENT else "unsure"


def deciding_beat(reading: Reading, threshold: Threshold) -> int | None:
    """Which beat a threshold was read at, counted from 0; None where none was.

    Parameters
    ----------
    reading
        The reading.
    threshold
        One of its thresholds.
    """
    time_s = threshold.time_s
    if threshold.mmhg is None or time_s is None or not reading.beats:
        return None
    index = min(range(len(reading.beats)), key=lambda one: abs(reading.beats[one].time_s - time_s))
    return index if abs(reading.beats[index].time_s - time_s) <= _SAME_BEAT_S else None


def lies_between(reading: Reading, threshold: Threshold) -> bool:
    """Whether a value lies between beats that may be the deciding one, and not at one.

    Parameters
    ----------
    reading
        The reading.
    threshold
        One of its thresholds.
    """
    index = deciding_beat(reading, threshold)
    if index is None or threshold.mmhg is None:
        return False
    return abs(reading.beats[index].cuff_mmhg - threshold.mmhg) > _SAME_MMHG


def tally(beats: Sequence[Beat]) -> str:
    """How many beats there are, between which pressures, and how many of them sound.

    Examples
    --------
    >>> from tapfall.model import Phase
    >>> beats = [Beat(time_s=t, cuff_mmhg=150 - 3 * t, heard=h, phase=Phase.K1)
    ...          for t, h in ((1.0, 0.9), (2.0, 0.9), (3.0, 0.5))]
    >>> tally(beats), tally(beats[:2]), tally(beats[:1]), tally(())
    ('3 beats from 147 to 141 mmHg: 2 sound, 1 unsure', \
'2 beats from 147 to 144 mmHg, all sound', '1 beat at 147 mmHg, which sounds', 'no beat')
    """
    if not beats:
        return "no beat"
    kinds = [heard_word(beat) for beat in beats]
    first, last = whole(beats[0].cuff_mmhg), whole(beats[-1].cuff_mmhg)
    if len(beats) == 1:
        one = {"sounds": "which sounds", "silent": "which is silent", "unsure": "which is unsure"}
        return f"1 beat at {first} mmHg, {one[kinds[0]]}"
    place = f"at {first} mmHg" if first == last else f"from {first} to {last} mmHg"
    counts = [
        (kinds.count(kind), word)
        for kind, word in (("sounds", "sound"), ("silent", "silent"), ("unsure", "unsure"))
    ]
    found = [(count, word) for count, word in counts if count]
    if len(found) == 1:
        return f"{len(beats)} beats {place}, all {found[0][1]}"
    return f"{len(beats)} beats {place}: " + ", ".join(f"{count} {word}" for count, word in found)


def systolic_account(reading: Reading) -> tuple[str, ...]:
    """Which beat the systolic was read at, and what lies above it.

    Returns
    -------
    tuple of str
        Sentences; the reason where there is no value.
    """
    one = reading.systolic
    if one.mmhg is None:
        return _missing("systolic", one)
    index = deciding_beat(reading, one)
    if Flag.ALTERNATING in reading.flags:
        rule = "the first of the beats that sound, on every second beat at first"
    else:
        rule = "the first beat that sounds and whose next beat sounds too"
    told = [f"Systolic {whole(one.mmhg)} mmHg: {_placed(reading, one, rule)}."]
    if index is not None:
        told.append(f"Above it: {tally(reading.beats[:index])}.")
    return (*told, *_trust(one, "the sounds begin"))


def diastolic_account(reading: Reading) -> tuple[str, ...]:
    """Which beat the diastolic was read at, by which rule, and what lies below it.

    Returns
    -------
    tuple of str
        Sentences; the reason where there is no value.
    """
    one: Diastolic = reading.diastolic
    if one.mmhg is None:
        return _missing("diastolic", one)
    index = deciding_beat(reading, one)
    to_zero = one.rule is Rule.K4 and one.k5_mmhg == 0.0
    rule = "the sounds go on to zero, so it is where they muffle" if to_zero else _LAST[one.rule]
    told = [f"Diastolic {whole(one.mmhg)} mmHg: {_placed(reading, one, rule)}."]
    top = deciding_beat(reading, reading.systolic)
    if index is not None:
        if top is not None and index - top > 1:
            told.append(f"Between the two: {tally(reading.beats[top + 1 : index])}.")
        told.append(f"Below it: {tally(reading.beats[index + 1 :])}.")
    ends = "the sounds muffle" if one.rule is Rule.K4 else "the sounds end"
    return (*told, *_trust(one, ends))


def other_account(reading: Reading) -> tuple[str, ...]:
    """Gaps, the other two rules, clocks and manometer.

    Returns
    -------
    tuple of str
        Sentences; empty where there is nothing of the kind.
    """
    return (
        *(_gap(gap) for gap in reading.gaps),
        *_beside(reading),
        *_clocks(reading),
        *_measured(reading),
    )


def _placed(reading: Reading, one: Threshold, rule: str) -> str:
    """The rule and the beat it chose, or the likeliest of those it may choose."""
    at = _at(reading, deciding_beat(reading, one))
    if lies_between(reading, one):
        return f"between the beats that may be {rule}; the likeliest{at}"
    return f"{rule}{at}"


def _at(reading: Reading, index: int | None) -> str:
    if index is None:
        return ""
    beat = reading.beats[index]
    return (
        f" (beat {index + 1}, at {beat.time_s:.1f} s and {beat.cuff_mmhg:.0f} mmHg, "
        f"heard with probability {chance(beat.heard)})"
    )


def _missing(name: str, one: Threshold) -> tuple[str, ...]:
    why = f": {REASON_SENTENCES[one.reason]}" if one.reason is not None else ""
    if one.state is State.NOT_REACHED and one.low_mmhg is not None:
        bound = f"at least {whole(one.low_mmhg)} mmHg, the highest pressure with a sound"
        return (f"{name.capitalize()} {bound}{why}.",)
    if one.state is State.NOT_REACHED and one.high_mmhg is not None:
        bound = f"at most {whole(one.high_mmhg)} mmHg, the lowest pressure with a sound"
        return (f"{name.capitalize()} {bound}{why}.",)
    return (f"No {name} is given{why}.",)


def _trust(one: Threshold, event: str) -> Iterator[str]:
    if one.low_mmhg is not None and one.high_mmhg is not None:
        yield (
            f"The pressure at which {event} lies between {whole(one.low_mmhg)} and "
            f"{whole(one.high_mmhg)} mmHg with a probability of 95 %."
        )
    if one.confidence is not None:
        yield f"Confidence {chance(one.confidence)}."


def _gap(gap: Gap) -> str:
    return (
        f"Silent gap from {whole(gap.upper_mmhg)} mmHg, the last sound above it "
        f"({whole(gap.upper_low_mmhg)} to {whole(gap.upper_high_mmhg)} with 95 %), down to "
        f"{whole(gap.lower_mmhg)} mmHg, the first sound below it ({whole(gap.lower_low_mmhg)} to "
        f"{whole(gap.lower_high_mmhg)}); confidence {chance(gap.confidence)}."
    )


def _beside(reading: Reading) -> Iterator[str]:
    if reading.status is Status.UNREADABLE:
        return
    for name, one, rule in (
        ("first silent beat after the sounds", reading.first_silence, Rule.FIRST_SILENCE),
        ("muffling (K4)", reading.muffling, Rule.K4),
    ):
        if one.mmhg is not None and reading.diastolic.rule is not rule:
            yield f"The {name} is at {whole(one.mmhg)} mmHg."


def _clocks(reading: Reading) -> Iterator[str]:
    lag = reading.lag
    if lag is None:
        return
    if lag_unseen(reading):
        yield (
            "Whether the clocks of log and sound agree is not known, for the log shows no pulse: "
            "they are taken to agree."
        )
        return
    how = "found" if lag.estimated else "given"
    span = f"{lag.low_s:.2f} to {lag.high_s:.2f} s".replace("-", "\N{MINUS SIGN}")
    if round(lag.seconds, 2) == 0.0:
        yield f"The clocks of log and sound agree ({how}; {span})."
    else:
        side = "late" if lag.seconds > 0.0 else "early"
        yield (
            f"The log's times are {abs(lag.seconds):.2f} s {side} ({how}; {span}) and were moved "
            "onto the clock of the sound."
        )


def _measured(reading: Reading) -> Iterator[str]:
    per_s, per_beat = (
        reading.quality.deflation_mmhg_per_s,
        reading.quality.deflation_mmhg_per_beat,
    )
    if per_s is not None:
        beat = "" if per_beat is None else f", {per_beat:.1f} mmHg from beat to beat"
        yield f"The cuff fell by {per_s:.1f} mmHg a second{beat}."
    if reading.manometer_mmhg is not None:
        yield (
            f"The manometer's stated error of ±{reading.manometer_mmhg:g} mmHg is not in the "
            "ranges: it comes on top."
        )
