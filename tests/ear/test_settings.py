"""What the user may choose: the rule of the diastolic, the lag, the manometer's error."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache

import pytest

from tapfall.ear import take_reading
from tapfall.model import (
    CuffLog,
    Diastolic,
    Flag,
    Reading,
    Reason,
    Recording,
    Rule,
    Settings,
    State,
    Status,
    Threshold,
)
from tests.ear.heard import FOLDER, fixture, fixture_reading

#: Fixtures in which an attentive listener finds both values at once.
CLEAR = ("ordinary", "weak", "fast_deflation", "slow_rounded_log", "clock_lag")


@lru_cache(maxsize=64)
def read(name: str, chosen: Settings) -> Reading:
    """A fixture's reading with settings."""
    return take_reading(fixture(name), chosen)


def truth(name: str) -> dict[str, dict[str, dict[str, float | None]]]:
    """The fixture's truth as it stands in its file."""
    text = (FOLDER / f"{name}.truth.json").read_text(encoding="utf-8")
    found: dict[str, dict[str, dict[str, float | None]]] = json.loads(text)
    return found


@pytest.mark.parametrize("name", CLEAR)
def test_the_diastolic_follows_the_chosen_rule(name: str) -> None:
    last = read(name, Settings(diastolic=Rule.LAST_SOUND))
    silence = read(name, Settings(diastolic=Rule.FIRST_SILENCE))
    muffling = read(name, Settings(diastolic=Rule.K4))
    assert last == fixture_reading(name)
    assert [one.diastolic.rule for one in (last, silence, muffling)] == [
        Rule.LAST_SOUND,
        Rule.FIRST_SILENCE,
        Rule.K4,
    ]
    # All three stand in every result; only `diastolic` is another.
    for one in (silence, muffling):
        assert one.systolic == last.systolic
        assert one.first_silence == last.first_silence
        assert one.muffling == last.muffling
        assert one.beats == last.beats
        assert one.diastolic.k5_mmhg == last.diastolic.mmhg
    assert _plain(silence.diastolic) == last.first_silence
    assert _plain(muffling.diastolic) == last.muffling


def _plain(one: Diastolic) -> Threshold:
    """The threshold without its rule."""
    return Threshold(
        state=one.state,
        mmhg=one.mmhg,
        low_mmhg=one.low_mmhg,
        high_mmhg=one.high_mmhg,
        confidence=one.confidence,
        time_s=one.time_s,
        reason=one.reason,
    )


@pytest.mark.parametrize("name", CLEAR)
def test_the_first_silence_is_the_next_expected_beat(name: str) -> None:
    reading = fixture_reading(name)
    last_s, silence_s = reading.diastolic.time_s, reading.first_silence.time_s
    assert last_s is not None
    assert silence_s is not None
    assert reading.pulse_per_min is not None
    assert silence_s - last_s == pytest.approx(60 / reading.pulse_per_min, rel=0.35)
    step_mmhg = reading.quality.deflation_mmhg_per_beat
    assert step_mmhg is not None
    assert reading.diastolic.mmhg is not None
    fall = reading.diastolic.mmhg - (reading.first_silence.mmhg or 0.0)
    assert 0.3 * step_mmhg < fall < 2.0 * step_mmhg


@pytest.mark.parametrize("rule", Rule)
def test_an_unreadable_reading_names_its_rule(rule: Rule) -> None:
    assert read("no_sounds", Settings(diastolic=rule)).diastolic.rule is rule


def test_muffling_that_is_not_found_is_undetermined_by_the_rule_for_it() -> None:
    # Where the diastolic follows K4 and none was found, there is no number.
    for name in CLEAR:
        reading = read(name, Settings(diastolic=Rule.K4))
        found = reading.muffling.state is State.OBSERVED
        assert (reading.diastolic.mmhg is not None) == found
        if not found:
            assert reading.diastolic.reason is Reason.NO_MUFFLING
            assert reading.status is Status.REVIEW


@pytest.mark.parametrize(
    ("name", "lag_s"),
    [
        ("clock_lag", 1.1),
        ("clock_lag", 1.05),
        ("ordinary", 0.0),
        ("ordinary", 0.06),
        ("ordinary", -0.06),
    ],
)
def test_a_given_lag_is_obeyed(name: str, lag_s: float) -> None:
    reading = read(name, Settings(lag_s=lag_s))
    assert reading.lag is not None
    assert reading.lag.seconds == lag_s
    assert reading.lag.low_s <= lag_s <= reading.lag.high_s
    assert reading.lag.high_s - reading.lag.low_s < 0.5
    assert not reading.lag.estimated
    assert Flag.LAG_UNCERTAIN not in reading.flags


@pytest.mark.parametrize("lag_s", [0.0, 0.6, -0.8])
def test_a_false_lag_is_not_mended(lag_s: float) -> None:
    reading = read("clock_lag", Settings(lag_s=lag_s))
    assert reading.lag is None or reading.lag.seconds == lag_s
    assert reading.lag is not None or reading.status is Status.UNREADABLE


def test_an_estimated_lag_says_so_and_a_true_one_given_reads_alike() -> None:
    found = fixture_reading("clock_lag")
    given = read("clock_lag", Settings(lag_s=1.1))
    assert found.lag is not None
    assert found.lag.estimated
    assert found.lag.low_s <= 1.1 <= found.lag.high_s
    for name in ("systolic", "diastolic"):
        true_mmhg = truth("clock_lag")["in_quiet"][name]["mmHg"]
        assert true_mmhg is not None
        assert getattr(given, name).mmhg == pytest.approx(true_mmhg, abs=4.0)


@pytest.mark.parametrize("lag_s", [-30.0, -4.0, 4.0, 30.0])
def test_a_given_lag_of_any_size_allowed_is_obeyed(lag_s: float) -> None:
    # The log's clock is moved by a known lag; with it given, the reading is the same.
    recording = fixture("ordinary")
    log = CuffLog(time_s=recording.cuff.time_s + lag_s, pressure_mmhg=recording.cuff.pressure_mmhg)
    moved = Recording(samples=recording.samples, rate_hz=recording.rate_hz, cuff=log)
    reading = take_reading(moved, Settings(lag_s=lag_s))
    plain = read("ordinary", Settings(lag_s=0.0))
    for name in ("systolic", "diastolic"):
        one, other = getattr(reading, name), getattr(plain, name)
        assert one.state is State.OBSERVED
        assert one.mmhg == pytest.approx(other.mmhg, abs=4.0)
        assert one.time_s == pytest.approx(other.time_s, abs=1.5)


@pytest.mark.parametrize("error_mmhg", [0.0, 3.0, 8.0])
@pytest.mark.parametrize("name", ["ordinary", "no_sounds", "under_inflated"])
def test_the_manometer_stands_beside_the_interval_never_inside(
    name: str, error_mmhg: float
) -> None:
    reading = read(name, Settings(manometer_mmhg=error_mmhg))
    assert reading.manometer_mmhg == error_mmhg
    assert reading == replace(fixture_reading(name), manometer_mmhg=error_mmhg)
    assert fixture_reading(name).manometer_mmhg is None
