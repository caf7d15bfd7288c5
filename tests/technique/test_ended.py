"""What ended a measurement is told: the hand is not to blame for what was not recorded."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapfall.ear import take_reading
from tapfall.model import CuffLog, Diastolic, Lag, Reading, Reason, State
from tapfall.summary import summary_text
from tapfall.synth import load_builtin, simulate
from tapfall.technique import check_technique
from tests.technique.made import CORNERS, found, log_of, reading_of

#: Log of an ordinary measurement (150 mmHg at 12 s, 50 at 52 s), cut at 36 s and 90 mmHg.
CUT = [*CORNERS[:4], (36.0, 90.0)]


def to_the_end(at_s: float, **changes: object) -> Reading:
    """A reading with sounds to the end."""
    lowest = Diastolic(state=State.NOT_REACHED, high_mmhg=91.0, reason=Reason.SOUNDS_TO_END)
    return reading_of(diastolic=lowest, beats_s=(22.0, at_s), **changes)


@pytest.mark.parametrize(
    ("corners", "sound_s", "state", "words", "advice"),
    [
        (CORNERS, 61.0, "fault", "sounds down to the release at 50 mmHg", "deflate further"),
        # The deflation ends at 52 s; sound that ends up to 1.5 s earlier has heard it.
        (CORNERS, 51.0, "fault", "sounds down to the release at 50 mmHg", "deflate further"),
        (CORNERS, 36.0, "look", "sounds until the recorded sound ends at 90 mmHg", "the sound"),
        (CUT, 61.0, "look", "sounds until the log ends at 90 mmHg", "let the log run on"),
        (CUT, 36.0, "look", "sounds until the recording ends at 90 mmHg", "record on"),
    ],
)
def test_what_ended_is_told(
    corners: list[tuple[float, float]], sound_s: float, state: str, words: str, advice: str
) -> None:
    one = found("listening on", log_of(corners), to_the_end(35.0), sound_s=sound_s)
    assert (one.state, one.found) == (state, words)
    assert advice in (one.bias or "")
    assert ("deflate further" in (one.bias or "")) == (state == "fault")


def test_the_lag_counts_for_the_end_of_the_sound() -> None:
    # 36 s of sound end at 44 s of the log, where the cuff is at 70 mmHg.
    lag = Lag(seconds=8.0, low_s=7.9, high_s=8.1, drift_ppm=None, estimated=True)
    one = found("listening on", log_of(), to_the_end(35.0, lag=lag), sound_s=36.0)
    assert one.found == "sounds until the recorded sound ends at 70 mmHg"


@pytest.mark.parametrize(
    ("corners", "sound_s", "state", "words"),
    [
        ([*CORNERS[:4], (49.0, 57.5), (49.5, 0.0), (58.0, 0.0)], 58.0, "ok", "18"),
        ([*CORNERS[:4], (44.0, 70.0), (44.5, 0.0), (53.0, 0.0)], 53.0, "fault", "5"),
        (CORNERS, 44.0, "look", "5, where the recorded sound ends"),
        ([*CORNERS[:4], (44.0, 70.0)], 61.0, "look", "5, where the log ends"),
    ],
)
def test_too_little_below_the_last_sound(
    corners: list[tuple[float, float]], sound_s: float, state: str, words: str
) -> None:
    reading = reading_of(beats_s=(22.0, 41.9))
    one = found("listening on", log_of(corners), reading, sound_s=sound_s)
    assert (one.state, one.found) == (state, words)


@pytest.mark.parametrize("cut", ["sound", "log", "both", "none"])
def test_the_summary_blames_no_hand_for_what_was_not_recorded(cut: str) -> None:
    # "stopped_early" lets the cuff go at 88 mmHg; "normal" goes down to 50.
    scenario = load_builtin("stopped_early" if cut == "none" else "normal")
    recording = simulate(scenario).recording
    log, last = recording.cuff, round(35.0 * recording.rate_hz)
    if cut in ("sound", "both"):
        recording = replace(recording, samples=recording.samples[:last])
    if cut in ("log", "both"):
        kept = log.time_s <= 35.0
        part = CuffLog(time_s=log.time_s[kept], pressure_mmhg=log.pressure_mmhg[kept])
        recording = replace(recording, cuff=part)
    reading = take_reading(recording)
    assert reading.diastolic.state is State.NOT_REACHED
    technique = check_technique(recording, reading)
    text = " ".join(summary_text(replace(reading, technique=technique)).split())
    ends = {"sound": "the recorded sound ends", "log": "the log ends", "both": "the recording ends"}
    if cut == "none":
        assert "sounds down to the release at 88 mmHg" in text
        assert "deflate further next time" in text
        return
    assert f"sounds until {ends[cut]} at " in text
    assert "deflate further" not in text
    assert "release at" not in text
