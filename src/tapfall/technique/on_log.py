"""Zero, inflation and deflation, as the log shows them, held against what is taught."""

from __future__ import annotations

from tapfall import standards
from tapfall.ear.cuff import FAST_MMHG_PER_S, SLOW_MMHG_PER_S
from tapfall.ear.measurement import REST_MMHG
from tapfall.ear.zero import Zero
from tapfall.model import Finding, Flag, Reading, Recording, State
from tapfall.standards import Figure
from tapfall.technique.checks import FAULT, LOOK, OK, Check, told_bias, within
from tapfall.technique.ended import By, Ended, how_it_ended
from tapfall.technique.log import CuffWork
from tapfall.technique.stillness import Stillness

#: A zero within so much is fine (half of the manometer's own error; our choice).
ZERO_MMHG = 1.5
#: Silence that was wanted and is missing by so much is not told: one beat and a breath lie
#: between the first sound and the systolic (our choice).
SLACK_MMHG = 3.0
#: Less than this above the first sound leaves no room for two silent beats (our choice).
LEAST_ABOVE_MMHG = 10.0
#: Outside of these the rate is a fault, not only off what is taught (our choice).
FAULTY_MMHG_PER_S = (1.0, 5.0)
#: A beat may span so much: what two observers may differ by (ISO 81060-2, from memory), and
#: half more.
STEP_MMHG, FAULTY_STEP_MMHG = 4.0, 6.0
#: A pause so long is a fault (our choice: a beat and a half more than the shortest pause).
FAULTY_PAUSE_S = 3.0
#: Below this sounds go on to zero and there is no listening on (the project's definition).
ZERO_SOUNDS_MMHG = 10.0

_ZERO = Check(
    name="zero before",
    expected=f"0 +-{ZERO_MMHG:g}",
    unit="mmHg",
    source=f"our choice; {standards.MANOMETER_ERROR.source}",
)
_ZERO_AFTER = Check(name="zero after", expected=_ZERO.expected, unit="mmHg", source=_ZERO.source)


def _span(low: Figure, high: Figure) -> str:
    return f"{low.value:g} to {high.value:g}"


_INFLATION = Check(
    name="inflation",
    expected=f"{_span(standards.INFLATE_ABOVE, standards.INFLATE_ABOVE_MOST)} above obliteration",
    unit="mmHg",
    source=standards.INFLATE_ABOVE.source,
)
_OVER = Check(
    name="over-inflation",
    expected=f"at most {standards.INFLATE_OVER_GAP.value:g} above obliteration",
    unit="mmHg",
    source=standards.INFLATE_OVER_GAP.source,
)
_HIGHEST = Check(
    name="highest pressure",
    expected=f"at most {standards.HIGHEST_CUFF.value:g}",
    unit="mmHg",
    source=standards.HIGHEST_CUFF.source,
)


def _rate_check(name: str) -> Check:
    return Check(
        name=name,
        expected=_span(standards.DEFLATION, standards.DEFLATION_MOST),
        unit="mmHg/s",
        source=standards.DEFLATION.source,
    )


def _step_check(name: str) -> Check:
    return Check(
        name=name,
        expected=f"{standards.DEFLATION_PER_BEAT.value:g}, at most {STEP_MMHG:g}",
        unit="mmHg per beat",
        source=f"{standards.DEFLATION_PER_BEAT.source}; the bound is our choice",
    )


_PAUSES = Check(name="pauses", expected="none", unit="", source="common practice")
_STEPS = Check(name="steps", expected="an even fall", unit="", source="common practice")
_AGAIN = Check(name="re-inflation", expected="none", unit="", source=standards.CONGESTED.source)
_ON = Check(
    name="listening on",
    expected=f"{standards.LISTEN_ON.value:g} or more below the last sound",
    unit="mmHg",
    source=standards.LISTEN_ON.source,
)

#: What helps against an end that came too early.
_NEXT_TIME = {
    By.RELEASE: "deflate further",
    By.LOG: "let the log run on to the release",
    By.SOUND: "record the sound to the release",
    By.BOTH: "record on to the release",
}

#: Where rates are judged, each in mmHg/s and in mmHg per beat.
RATES = (
    ("overall", _rate_check("deflation"), _step_check("deflation per beat")),
    (
        "systolic",
        _rate_check("deflation near systolic"),
        _step_check("deflation per beat near systolic"),
    ),
    (
        "diastolic",
        _rate_check("deflation near diastolic"),
        _step_check("deflation per beat near diastolic"),
    ),
)


def log_findings(
    work: CuffWork | None, recording: Recording, reading: Reading
) -> tuple[Finding, ...]:
    """Judge what the log shows.

    Parameters
    ----------
    work
        What was measured, ``None`` where the log holds no deflation.
    recording
        The sound, whose end counts.
    reading
        What was heard.

    Returns
    -------
    tuple of Finding
        One for each check, always the same ones.
    """
    if work is None:
        rates = [check for _, *pair in RATES for check in pair]
        every = (_ZERO, _ZERO_AFTER, _INFLATION, _OVER, _HIGHEST, *rates)
        every = (*every, _PAUSES, _STEPS, _AGAIN, _ON)
        return tuple(check.unknown("no deflation on the log") for check in every)
    return (
        _zero(_ZERO, work.zero_before),
        _zero(_ZERO_AFTER, work.zero_after),
        _inflation(work, reading),
        _over(work),
        _highest(work),
        *_rates(work, reading),
        _pauses(work),
        _steps(work),
        _again(work),
        _listening_on(reading, how_it_ended(work, recording, reading)),
    )


def _zero(check: Check, zero: Zero) -> Finding:
    mmhg = zero.mmhg
    if mmhg is None:
        return check.unknown(zero.why)
    most = standards.MANOMETER_ERROR.value
    state = within(mmhg, (-ZERO_MMHG, ZERO_MMHG), (-most, most))
    bias = None
    if state is not OK:
        side = "high" if mmhg > 0 else "low"
        bias = f"all pressures read {abs(mmhg):.1f} mmHg {side} if the shift is the same throughout"
        if mmhg >= REST_MMHG:
            # So much may also be left in a cuff; a zero is not so far off by wear.
            bias += " and the cuff was empty then"
    return check.says(state, f"{mmhg + 0.0:+.1f}", bias)


def _inflation(work: CuffWork, reading: Reading) -> Finding:
    systolic = reading.systolic
    bias = standards.INFLATED_INTO_GAP
    if systolic.state is State.NOT_REACHED:
        top = f"stopped at {work.top_mmhg:.0f} mmHg with sounds already there"
        return _INFLATION.says(FAULT, top, bias)
    wanted = standards.INFLATE_ABOVE.value
    if systolic.mmhg is not None:
        silent = work.top_mmhg - systolic.mmhg
        if silent < wanted - SLACK_MMHG:
            state = FAULT if silent < LEAST_ABOVE_MMHG else LOOK
            return _INFLATION.says(state, f"{silent:.0f} above the first sound", bias)
    found = work.obliteration
    if found is None:
        why = (
            "the log shows too little of the pulse"
            if not work.pulses.usable
            else "neither sounds nor pulse tell the obliteration"
        )
        return _INFLATION.unknown(why)
    margin = work.top_mmhg - found.mmhg
    least = work.top_mmhg - found.high_mmhg
    most = work.top_mmhg - found.low_mmhg
    span = f"{round(margin)} ({round(least)} to {round(most)})"
    words = f"{span}, by {found.basis}"
    if least >= wanted - SLACK_MMHG:
        return _INFLATION.says(OK, words)
    if systolic.mmhg is not None:
        # Silence enough above the first sound.  Sounds may lie above the silence, which
        # neither the sounds nor the pulse can prove: a matter to look at, never a fault.
        words = f"{work.top_mmhg - systolic.mmhg:.0f} above the first sound, but "
        if found.basis == "sounds":
            # The most that may be is the silence above the first sound, already told.
            words += f"perhaps only {round(max(least, 0.0))} above a hidden one"
        else:
            words += f"{span} by {found.basis}"
        return _INFLATION.says(LOOK, words, bias)
    if most < wanted - SLACK_MMHG:
        return _INFLATION.says(FAULT if most < LEAST_ABOVE_MMHG else LOOK, words, bias)
    return _INFLATION.unknown(words)


def _over(work: CuffWork) -> Finding:
    found = work.obliteration
    if found is None:
        return _OVER.unknown("the obliteration is not known")
    margin = work.top_mmhg - found.mmhg
    most = standards.INFLATE_OVER_GAP.value + SLACK_MMHG
    return _OVER.says(LOOK if margin > most else OK, f"{margin:.0f}, by {found.basis}")


def _highest(work: CuffWork) -> Finding:
    top = float(work.mmhg.max())
    state = FAULT if top > standards.HIGHEST_CUFF.value else OK
    return _HIGHEST.says(state, f"{top:.0f}")


def _interval_s(reading: Reading) -> float | None:
    return None if reading.pulse_per_min is None else 60.0 / reading.pulse_per_min


def _rates(work: CuffWork, reading: Reading) -> list[Finding]:
    interval_s = _interval_s(reading)
    findings = []
    for place, check, step_check in RATES:
        rate: float | None = work.rate_mmhg_per_s
        why = ""
        if place != "overall":
            threshold = reading.systolic if place == "systolic" else reading.diastolic
            why = f"the {place} was not observed"
            rate = None
            if threshold.mmhg is not None:
                rate = work.rate_near(threshold.mmhg)
                why = "too little of the fall was seen there"
        if rate is None:
            findings += [check.unknown(why), step_check.unknown(why)]
            continue
        findings.append(_rate(check, rate))
        if interval_s is None:
            findings.append(step_check.unknown("the heart rate is not known"))
        else:
            findings.append(_step(step_check, rate * interval_s, place))
    return findings


def _rate(check: Check, rate: float) -> Finding:
    state = within(rate, (SLOW_MMHG_PER_S, FAST_MMHG_PER_S), FAULTY_MMHG_PER_S)
    bias = None
    if state is not OK:
        fast = rate > standards.DEFLATION_MOST.value
        bias = standards.DEFLATED_FAST if fast else standards.DEFLATED_SLOWLY
    return check.says(state, f"{rate:.1f}", bias)


def _step(check: Check, step_mmhg: float, place: str) -> Finding:
    state = within(step_mmhg, (0.0, STEP_MMHG), (0.0, FAULTY_STEP_MMHG))
    bias = None
    if state is not OK:
        # The first sound lies anywhere within one beat below systolic, the last above diastolic.
        half = f"{step_mmhg / 2:.1f} mmHg on average, {step_mmhg:.1f} at most"
        parts = {"systolic": "systolic reads low", "diastolic": "diastolic reads high"}
        words = parts.get(place, "systolic reads low, diastolic high")
        bias = f"{words} by {half} (rate times beat interval)"
    return check.says(state, f"{step_mmhg:.1f}", bias)


def _pauses(work: CuffWork) -> Finding:
    if work.still is None:
        return _PAUSES.unknown("the log has too few rows to tell")
    if work.still.stepped:
        return _PAUSES.says(OK, "none apart from the steps")
    pauses = work.still.pauses
    if not pauses and work.still.hides_pauses:
        return _PAUSES.unknown(_rounded(work.still))
    if not pauses:
        return _PAUSES.says(OK, "none")
    told = ", ".join(f"{one.lasts_s:.0f} s at {one.mmhg:.0f} mmHg" for one in pauses)
    long = max(one.lasts_s for one in pauses) >= FAULTY_PAUSE_S
    return _PAUSES.says(FAULT if long else LOOK, told, standards.DEFLATED_SLOWLY)


def _rounded(still: Stillness) -> str:
    return f"rows rounded to {still.rounding_mmhg:g} mmHg explain the stops"


def _steps(work: CuffWork) -> Finding:
    still = work.still
    if still is None:
        return _STEPS.unknown("the log has too few rows to tell")
    if still.hides_steps:
        return _STEPS.unknown(_rounded(still))
    if not still.stepped:
        return _STEPS.says(OK, "an even fall")
    # In a fall by steps the short stops are steps as well.
    stops = still.stops
    span = work.top_mmhg - work.bottom_mmhg
    size = span / (len(stops) + 1)
    bias = f"systolic reads low, diastolic high, by up to a step of about {size:.0f} mmHg"
    return _STEPS.says(FAULT, f"{len(stops)} stops, about {size:.0f} mmHg apart", bias)


def _again(work: CuffWork) -> Finding:
    if not work.reinflations:
        return _AGAIN.says(OK, "none")
    told = ", ".join(
        f"from {one.from_mmhg:.0f} to {one.to_mmhg:.0f} mmHg" for one in work.reinflations
    )
    return _AGAIN.says(FAULT, told, standards.CONGESTED)


def _listening_on(reading: Reading, ended: Ended) -> Finding:
    # A hand that let the cuff down further is not to blame for what was not recorded.
    state = FAULT if ended.by is By.RELEASE else LOOK
    bias = f"{told_bias(standards.RELEASED_EARLY)}; {_NEXT_TIME[ended.by]} next time"
    if reading.diastolic.state is State.NOT_REACHED:
        verb = "down to the release" if ended.by is By.RELEASE else f"until {ended.by.value} ends"
        return _ON.says(state, f"sounds {verb} at {ended.mmhg:.0f} mmHg", bias)
    heard = [beat.cuff_mmhg for beat in reading.beats if beat.phase.sounds]
    if not heard or reading.diastolic.state is not State.OBSERVED:
        return _ON.unknown("the last sound is not known")
    if Flag.SOUNDS_TO_ZERO in reading.flags or min(heard) < ZERO_SOUNDS_MMHG:
        return _ON.says(OK, "sounds go on to zero")
    below = min(heard) - ended.mmhg
    if below >= standards.LISTEN_ON.value:
        return _ON.says(OK, f"{below:.0f}")
    words = f"{below:.0f}"
    if ended.by is not By.RELEASE:
        words += f", where {ended.by.value} ends"
    return _ON.says(state, words, bias)
