"""What the log and the reading tell, case by case."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tapfall.errors import SettingError
from tapfall.model import (
    CuffLog,
    Diastolic,
    Finding,
    FindingState,
    Flag,
    Quality,
    Reason,
    State,
    Status,
    Threshold,
)
from tapfall.technique import Stated, check_technique, measure_cuff
from tapfall.technique.speech import voiced_share
from tests.technique.made import CORNERS, found, log_of, reading_of, recording_of

NOTHING = reading_of(
    None,
    status=Status.UNREADABLE,
    diastolic=Diastolic(state=State.UNDETERMINED, reason=Reason.NO_SOUNDS),
    beats=(),
    pulse_per_min=None,
    quality=Quality(),
)


def test_every_finding_is_whole_and_named_once() -> None:
    every = check_technique(recording_of(log_of()), reading_of())
    assert len({one.check for one in every}) == len(every)
    for one in every:
        assert isinstance(one.state, FindingState)
        assert one.found
        assert one.expected
        assert one.source


def test_the_checks_are_the_same_whatever_is_found() -> None:
    names = [one.check for one in check_technique(recording_of(log_of()), reading_of())]
    rest = CuffLog(time_s=np.arange(0.0, 20.0, 0.1), pressure_mmhg=np.zeros(200))
    for log in (rest, log_of(rate_hz=1.0), CuffLog(time_s=np.zeros(0), pressure_mmhg=np.zeros(0))):
        for reading in (reading_of(), NOTHING):
            every = check_technique(recording_of(log), reading)
            assert [one.check for one in every] == names


def test_without_a_deflation_nothing_of_it_is_told() -> None:
    rest = CuffLog(time_s=np.arange(0.0, 20.0, 0.1), pressure_mmhg=np.zeros(200))
    for check in ("zero before", "inflation", "deflation", "pauses", "listening on"):
        one = found(check, rest, NOTHING)
        assert (one.state, one.found) == ("unknown", "no deflation on the log")


def test_nothing_heard_tells_no_margins() -> None:
    for check in ("inflation", "deflation near systolic", "listening on", "deflation per beat"):
        assert found(check, reading=NOTHING).state == "unknown"
    assert found("deflation", reading=NOTHING).state == "ok"


def test_sounds_from_the_top_and_to_the_end() -> None:
    reading = reading_of(
        systolic=Threshold(state=State.NOT_REACHED, low_mmhg=149.0, reason=Reason.SOUNDS_FROM_TOP),
        diastolic=Diastolic(state=State.NOT_REACHED, high_mmhg=51.0, reason=Reason.SOUNDS_TO_END),
    )
    inflation, on = found("inflation", reading=reading), found("listening on", reading=reading)
    assert (inflation.state, on.state) == ("fault", "fault")
    assert inflation.found == "stopped at 150 mmHg with sounds already there"
    assert on.found == "sounds down to the release at 50 mmHg"
    assert "systolic reads low" in (inflation.bias or "")
    assert "diastolic reads high" in (on.bias or "")


def test_sounds_to_zero_are_no_early_release() -> None:
    corners = [*CORNERS[:4], (69.0, 5.0), (70.0, 0.0), (78.0, 0.0)]
    reading = reading_of(diastolic_mmhg=8.0, beats_s=(22.0, 67.0), flags=(Flag.SOUNDS_TO_ZERO,))
    assert found("listening on", log_of(corners), reading).state == "ok"


@pytest.mark.parametrize(("lasts_s", "state"), [(1.0, "ok"), (2.5, "look"), (5.0, "fault")])
def test_pauses(lasts_s: float, state: str) -> None:
    corners = [
        *CORNERS[:4],
        (32.0, 100.0),
        (32.0 + lasts_s, 100.0),
        (52.0 + lasts_s, 50.0),
        (53.0 + lasts_s, 0.0),
        (61.0 + lasts_s, 0.0),
    ]
    one = found("pauses", log_of(corners))
    assert one.state == state
    assert ("at 100 mmHg" in one.found) == (state != "ok")
    assert found("steps", log_of(corners)).state == "ok"


def test_steps() -> None:
    corners = [*CORNERS[:4]]
    for step in range(20):
        corners += [(12.4 + 2 * step, 145.0 - 5 * step), (14.0 + 2 * step, 145.0 - 5 * step)]
    corners += [(53.0, 0.0), (61.0, 0.0)]
    one = found("steps", log_of(corners))
    assert one.state == "fault"
    assert "about 5 mmHg apart" in one.found
    assert found("pauses", log_of(corners)).state == "ok"


@pytest.mark.parametrize("rate_hz", [1.0, 4.0])
def test_a_slow_log_tells_no_stops(rate_hz: float) -> None:
    assert found("pauses", log_of(rate_hz=rate_hz)).state == "unknown"
    assert found("steps", log_of(rate_hz=rate_hz)).state == "unknown"


def test_a_hole_in_the_log_is_no_pause() -> None:
    log = log_of()
    keep = (log.time_s < 30.0) | (log.time_s > 35.0)
    holed = CuffLog(time_s=log.time_s[keep], pressure_mmhg=log.pressure_mmhg[keep])
    assert found("pauses", holed).state == "ok"


def test_reinflation_is_told_with_its_pressures() -> None:
    corners = [
        *CORNERS[:4],
        (32.0, 100.0),
        (34.0, 140.0),
        (70.0, 50.0),
        (71.0, 0.0),
        (79.0, 0.0),
    ]
    reading = reading_of(beats_s=(40.0, 60.0))
    one = found("re-inflation", log_of(corners), reading)
    assert one.state == "fault"
    assert one.found.startswith("from 10")
    assert "congestion" in (one.bias or "")
    assert found("re-inflation").state == "ok"


@pytest.mark.parametrize("rest_s", [2.0, 12.0])
def test_a_run_up_is_no_reinflation(rest_s: float) -> None:
    run_up = [(0.0, 0.0), (5.0, 0.0), (10.0, 140.0), (11.0, 140.0), (13.0, 0.0)]
    later = [(t + 8.0 + rest_s, p) for t, p in CORNERS[1:]]
    log = log_of([*run_up, *later])
    reading = reading_of(beats_s=(30.0 + rest_s, 50.0 + rest_s))
    assert found("re-inflation", log, reading).state == "ok"
    work = measure_cuff(log, reading)
    assert work is not None
    assert work.run_up_mmhg == pytest.approx(140.0)
    assert found("wait since the reading before", log, reading).state == "unknown"


def test_the_wait_is_seen_on_the_log() -> None:
    second = [(t + 40.0 + 61.0, p) for t, p in CORNERS]
    log = log_of([*CORNERS, *second])
    reading = reading_of(beats_s=(123.0, 143.0))
    one = found("wait since the reading before", log, reading, Stated(since_last_s=600.0))
    # Below 15 mmHg from 52.7 to 106.6 s: what is seen counts, not what is stated.
    assert (one.state, one.found) == ("look", "54")
    first = found("wait since the reading before", log, reading_of())
    assert first.state == "unknown"


def test_the_reading_tells_which_measurement() -> None:
    second = [(t + 101.0, p * 1.2) for t, p in CORNERS]
    log = log_of([*CORNERS, *second])
    assert found("highest pressure", log, reading_of()).found == "150"
    later = reading_of(beats_s=(123.0, 143.0))
    assert found("highest pressure", log, later).found == "180"
    assert found("highest pressure", log, NOTHING).found == "180"


def test_no_rest_no_zero() -> None:
    log = log_of([(t - 5.0, p) for t, p in CORNERS[1:5]])
    assert found("zero before", log, reading_of(beats_s=(17.0, 37.0))).state == "unknown"
    assert found("zero after", log, reading_of(beats_s=(17.0, 37.0))).state == "unknown"


@pytest.mark.parametrize(
    ("quality", "check", "state"),
    [
        (Quality(peak_dbfs=-20.0), "sound level", "ok"),
        (Quality(peak_dbfs=-65.0), "sound level", "look"),
        (Quality(peak_dbfs=-75.0), "sound level", "fault"),
        (Quality(), "sound level", "unknown"),
        (Quality(signal_to_noise_db=8.0), "sounds over noise", "ok"),
        (Quality(signal_to_noise_db=5.0), "sounds over noise", "look"),
        (Quality(signal_to_noise_db=1.0), "sounds over noise", "fault"),
        (Quality(), "sounds over noise", "unknown"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.0005), "clipping", "ok"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.001), "clipping", "look"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.005), "clipping", "look"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.01), "clipping", "fault"),
        (Quality(peak_dbfs=-3.0, clipped_share=0.05), "clipping", "fault"),
    ],
)
def test_sound(quality: Quality, check: str, state: str) -> None:
    assert found(check, reading=reading_of(quality=quality)).state == state


def test_noise_that_hides_sounds_is_a_fault_from_where_its_source_says() -> None:
    source = found("sounds over noise").source
    (bound_db,) = (float(db) for db in re.findall(r"below (\S+) dB", source))
    for ratio_db, state in ((bound_db, "look"), (bound_db - 0.01, "fault")):
        quality = Quality(signal_to_noise_db=ratio_db)
        assert found("sounds over noise", reading=reading_of(quality=quality)).state == state


@pytest.mark.parametrize("kind", ["float32", "int16", "int32"])
def test_clipping_is_told_of_a_sound_that_was_not_judged(kind: str) -> None:
    full = np.where(np.arange(4000) % 50 == 0, -1.0, 0.1)
    whole = 1.0 if kind == "float32" else -float(np.iinfo(kind).min)
    samples = (full * whole).astype(kind)
    recording = replace(recording_of(log_of()), samples=samples)
    told = {one.check: one for one in check_technique(recording, NOTHING)}
    assert (told["clipping"].state, told["clipping"].found) == ("fault", "2")


@pytest.mark.parametrize(
    ("samples", "told"), [((), "0"), ((0.99,), "100"), ((0.99, 0.5), "50"), ((0.98,), "0")]
)
def test_few_samples_are_counted_whole(samples: tuple[float, ...], told: str) -> None:
    recording = replace(recording_of(log_of()), samples=np.array(samples))
    every = {one.check: one for one in check_technique(recording, NOTHING)}
    assert every["clipping"].found == told


def test_talking_that_is_stated_is_a_fault() -> None:
    assert found("talking", stated=Stated(talking=True)).state == "fault"


def syllables(rate_hz: float, glide: float) -> np.ndarray:
    """Twenty seconds of noise with voiced syllables of 0.2 s, their pitch gliding."""
    time_s = np.arange(round(20.0 * rate_hz)) / rate_hz
    sound = 0.01 * np.random.default_rng(3).standard_normal(time_s.size)
    for start_s in np.arange(2.0, 18.0, 1.6):
        here = (time_s >= start_s) & (time_s < start_s + 0.2)
        own_s = time_s[here] - start_s
        phase = 2 * np.pi * (140.0 * own_s + glide * own_s**2)
        sound[here] += 0.1 * sum(np.sin(n * phase) / n for n in range(1, 8))
    return sound


@pytest.mark.parametrize("rate_hz", [4000.0, 8000.0, 44100.0])
def test_syllables_are_heard_and_noise_is_not(rate_hz: float) -> None:
    heard = voiced_share(syllables(rate_hz, 60.0), rate_hz)
    assert heard is not None
    assert heard == pytest.approx(0.1, abs=0.04)
    assert voiced_share(np.random.default_rng(1).standard_normal(round(20 * rate_hz)), rate_hz) == 0


def test_taps_and_a_slow_or_short_sound_are_no_speech() -> None:
    time_s = np.arange(80000) / 4000.0
    since_s = time_s % 0.8
    taps = np.exp(-since_s / 0.015) * np.sin(2 * np.pi * 120.0 * since_s)
    assert voiced_share(taps + 0.001 * np.random.default_rng(2).standard_normal(80000), 4000.0) == 0
    assert voiced_share(taps, 1000.0) is None
    assert voiced_share(taps[:4000], 4000.0) is None


def test_speech_asks_for_a_look_and_is_no_fault() -> None:
    recording = replace(recording_of(log_of()), samples=syllables(4000.0, 60.0), rate_hz=4000.0)
    told = {one.check: one for one in check_technique(recording, NOTHING)}
    assert told["speech"].state == "look"
    silent = replace(recording, samples=np.random.default_rng(1).standard_normal(80000))
    told = {one.check: one for one in check_technique(silent, NOTHING)}
    assert told["speech"].state == "ok"


def test_no_value_changes() -> None:
    reading = reading_of()
    before = replace(reading)
    assert check_technique(recording_of(log_of()), reading, Stated(talking=True))
    assert reading == before


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("arm_cm", 7.0, "arm_cm is 7.0; allowed 8 to 80"),
        ("arm_cm", float("nan"), "arm_cm is nan; allowed 8 to 80"),
        ("arm_cm", True, "arm_cm is True; allowed 8 to 80"),
        ("arm", "third", "arm is 'third'; allowed left, right"),
        ("posture", "kneeling", "posture is 'kneeling'; allowed sitting, lying, standing"),
        ("arm_support", "", "arm_support is ''; allowed desk, lap, side"),
        ("talking", "yes", "talking is 'yes'; allowed True or False"),
        ("rested_min", -1.0, "rested_min is -1.0; allowed 0 to 1440"),
        ("since_last_s", 1e9, "since_last_s is 1000000000.0; allowed 0 to 86400"),
        ("manometer_calibrated", "2026", "manometer_calibrated is '2026'; allowed a datetime.date"),
        (
            "cuff",
            "huge",
            "cuff is 'huge'; allowed small adult, adult, large adult, thigh, or width and length "
            "of the bladder",
        ),
        ("cuff", (30.0, 12.0), "cuff is (30.0, 12.0); allowed a width up to the length"),
        ("cuff", (0.0, 12.0), "width of the bladder in cm is 0.0; allowed 2 to 80"),
    ],
)
def test_what_cannot_be_stated(field: str, value: object, message: str) -> None:
    with pytest.raises(SettingError) as caught:
        Stated(**{field: value})  # type: ignore[arg-type]
    assert str(caught.value).startswith(message)


def test_a_finding_is_made_of_words() -> None:
    one = found("talking", stated=Stated(talking=True))
    assert one == Finding(
        check="talking",
        state=FindingState.FAULT,
        found="yes",
        expected="no",
        unit="",
        source="ACC/AHA checklist",
        bias="reads 8 to 15 mmHg high (teaching page that cites Arch Intern Med 153)",
    )
