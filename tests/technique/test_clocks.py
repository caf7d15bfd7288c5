"""Clocks further apart than the search for a lag reaches, told of a reading."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tapfall.ear import take_reading
from tapfall.model import (
    CuffLog,
    Finding,
    Flag,
    Lag,
    Reading,
    Recording,
    Settings,
    Status,
)
from tapfall.summary import summary_text
from tapfall.technique import check_technique, with_technique
from tests.ear.heard import NAMES, fixture, fixture_reading, log_of
from tests.technique.made import found, reading_of

WHERE = "tapfall.technique.clocks.heard_lag"
LAG = Lag(seconds=0.7, low_s=0.6, high_s=0.8, drift_ppm=None, estimated=True)


def apart(by_s: float) -> Recording:
    """A fixture whose log was stamped later."""
    return replace(fixture("ordinary"), cuff=log_of(fixture("ordinary"), shift_s=by_s))


def clocks(recording: Recording, reading: Reading) -> Finding:
    """What is said of the clocks."""
    (one,) = (each for each in check_technique(recording, reading) if each.check == "clocks")
    return one


@pytest.mark.parametrize(
    ("by_s", "told"),
    [
        (5.0, "inflation and release heard 4.5 s earlier than a lag of 0.7 s has them"),
        (-4.5, "inflation and release heard 3.2 s later than a lag of -1.0 s has them"),
    ],
)
def test_values_that_look_right_with_clocks_seconds_apart(by_s: float, told: str) -> None:
    recording = apart(by_s)
    reading = take_reading(recording)
    one = clocks(recording, reading)
    # Nothing else tells that these values are wrong: so even a rhythm looks the same a beat away.
    assert (reading.status, one.state, one.found) == ("ok", "fault", told)
    assert one.bias is not None
    assert one.bias.startswith("values may be wrong by whole beats: give the lag")
    text = summary_text(replace(reading, technique=(one,)))
    assert f"clocks: {told}, expected at most 2 off; values may" in " ".join(text.split())


@pytest.mark.parametrize(
    ("by_s", "given_s", "state"),
    [(5.0, 5.0, "ok"), (40.0, 40.0, "ok"), (5.0, -1.0, "fault"), (0.0, 2.6, "fault")],
)
def test_a_lag_that_is_given_is_held_against_what_is_heard(
    by_s: float, given_s: float, state: str
) -> None:
    recording = apart(by_s)
    assert clocks(recording, take_reading(recording, Settings(lag_s=given_s))).state == state


@pytest.mark.parametrize("name", NAMES)
def test_no_fixture_has_clocks_apart(name: str) -> None:
    one = clocks(fixture(name), fixture_reading(name))
    assert one.state in ("ok", "unknown")
    assert one.bias is None
    unheard = {"no_sounds", "noisy", "sounds_to_zero"}
    assert (one.state == "unknown") == (name in unheard)


def test_a_log_that_ends_before_the_release_tells_nothing() -> None:
    whole = fixture("ordinary")
    time_s, mmhg = whole.cuff.time_s, whole.cuff.pressure_mmhg
    kept = time_s < time_s[mmhg > 60.0][-1]
    recording = replace(whole, cuff=CuffLog(time_s=time_s[kept], pressure_mmhg=mmhg[kept]))
    one = clocks(recording, fixture_reading("ordinary"))
    assert (one.state, one.found) == ("unknown", "inflation and release are not clearly heard")


def test_without_a_deflation_or_a_lag_nothing_is_told() -> None:
    rest = CuffLog(time_s=np.arange(0.0, 20.0, 0.1), pressure_mmhg=np.zeros(200))
    assert found("clocks", rest).found == "no deflation on the log"
    assert found("clocks", reading=reading_of(lag=None)).found == "no lag is known"


def test_of_two_measurements_that_of_the_reading_is_judged() -> None:
    # The log's clock was set between them.
    one, later_s = fixture("ordinary"), 60.0
    rate_hz = one.rate_hz
    pause = np.zeros(round(later_s * rate_hz) - one.samples.size, one.samples.dtype)
    log = one.cuff
    both = replace(
        one,
        samples=np.concatenate([one.samples, pause, one.samples]),
        cuff=CuffLog(
            time_s=np.concatenate([log.time_s, log.time_s + later_s + 5.0]),
            pressure_mmhg=np.concatenate([log.pressure_mmhg, log.pressure_mmhg]),
        ),
    )
    first = fixture_reading("ordinary")
    assert clocks(both, first) == clocks(one, first)
    beats = tuple(replace(beat, time_s=beat.time_s + later_s) for beat in first.beats)
    told = clocks(both, replace(first, beats=beats))
    assert (told.state, told.found[:30]) == ("fault", "inflation and release heard 5.")


@pytest.mark.parametrize(
    ("off_s", "told"),
    [
        (0.0, ("ok", "0.0 off")),
        (2.0, ("ok", "2.0 off")),
        (-2.0, ("ok", "2.0 off")),
        (2.1, ("fault", "inflation and release heard 2.1 s earlier than a lag of 0.7 s has them")),
        (-2.1, ("fault", "inflation and release heard 2.1 s later than a lag of 0.7 s has them")),
        (None, ("unknown", "inflation and release are not clearly heard")),
    ],
)
def test_clocks_are_apart_beyond_2_s(
    off_s: float | None, told: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(WHERE, lambda *_: off_s)
    one = found("clocks", reading=reading_of(lag=LAG))
    assert (one.state, one.found) == told
    assert (one.expected, one.unit) == ("at most 2 off", "s")


def test_the_rows_are_those_of_the_measurement_in_audio_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    seen: list[CuffLog] = []
    monkeypatch.setattr(WHERE, lambda *given: seen.append(given[2]))
    found("clocks", reading=reading_of(lag=LAG))
    (log,) = seen
    # The last row at rest is among them: there the inflation begins.
    assert log.pressure_mmhg[0] < 15.0 <= log.pressure_mmhg[1]
    assert log.time_s[0] + 0.7 == pytest.approx(5.55, abs=0.06)
    assert log.time_s[-1] + 0.7 == pytest.approx(57.7, abs=0.06)


@pytest.mark.parametrize("by_s", [0.0, 5.0, -4.5])
def test_a_reading_with_clocks_seconds_apart_is_for_a_person_to_look_at(by_s: float) -> None:
    recording = apart(by_s)
    reading = take_reading(recording)
    findings = check_technique(recording, reading)
    checked = with_technique(reading, findings)
    assert reading.status is Status.OK
    assert checked.technique == findings
    assert (Flag.LAG_UNCERTAIN in checked.flags) is (by_s != 0.0)
    assert checked.status is (Status.OK if by_s == 0.0 else Status.REVIEW)
    for name in ("systolic", "diastolic", "first_silence", "muffling"):
        one, other = getattr(reading, name), getattr(checked, name)
        assert other == replace(one, confidence=other.confidence)
        assert other.confidence == (one.confidence if by_s == 0.0 else 0.5)
