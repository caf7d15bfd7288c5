"""Every field of a scenario changes truth, sound or log; the seed changes all."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from tapfall.synth import Cuff, Noise, Person, Room, Scenario, Sensor, Simulation, Sound, simulate

PARTS: dict[str, type] = {
    "person": Person,
    "cuff": Cuff,
    "sound": Sound,
    "sensor": Sensor,
    "room": Room,
}

BASE = Scenario(
    seed=3,
    cuff=Cuff(rest_before_s=1.0, rest_after_s=1.0, deflation_mmhg_per_s=4.0),
    sensor=Sensor(rate_hz=1000.0),
    room=Room(noises=(Noise(kind="pink", snr_db=20.0), Noise(kind="heart", snr_db=20.0))),
)

#: What else has to be so for a field to matter.
CONTEXT: dict[str, dict[str, dict[str, Any]]] = {
    "person.fibrillation_share": {"person": {"rhythm": "atrial_fibrillation"}},
    "person.ectopics_per_min": {"person": {"rhythm": "ectopics"}},
    "person.ectopic_coupling": {"person": {"rhythm": "bigeminy"}},
    "person.ectopic_pair_share": {"person": {"rhythm": "bigeminy"}},
    "person.intervals_s": {"person": {"rhythm": "series", "intervals_s": (0.7, 0.9)}},
    "cuff.run_up_rest_s": {"cuff": {"run_up_mmhg": 100.0}},
    "cuff.pause_at_mmhg": {"cuff": {"pause_s": 3.0}},
    "cuff.pause_s": {"cuff": {"pause_at_mmhg": 100.0}},
    "cuff.reinflate_at_mmhg": {"cuff": {"reinflate_by_mmhg": 30.0}},
    "cuff.reinflate_by_mmhg": {"cuff": {"reinflate_at_mmhg": 100.0}},
    "cuff.bump_mmhg": {"cuff": {"bumps_per_min": 20.0}},
    "cuff.dropout_s": {"cuff": {"dropouts_per_min": 10.0}},
    "cuff.pulse_floor_share": {"cuff": {"top_mmhg": 220.0}},
    "sound.gap_bottom_mmhg": {"sound": {"gap_top_mmhg": 110.0, "gap_bottom_mmhg": 90.0}},
    "sound.gap_top_mmhg": {"sound": {"gap_top_mmhg": 110.0, "gap_bottom_mmhg": 90.0}},
    "sound.gap_depth_db": {"sound": {"gap_top_mmhg": 110.0, "gap_bottom_mmhg": 90.0}},
    "sound.gap_fade_mmhg": {"sound": {"gap_top_mmhg": 110.0, "gap_bottom_mmhg": 90.0}},
    "sound.to_zero": {"cuff": {"end_mmhg": 20.0}},
    "sensor.gain_s": {"sensor": {"gain_swing_db": 12.0}},
    "sensor.rate_hz": {},
}

#: Where the middle of the range is not another value that may be used.
OTHER: dict[str, Any] = {
    "person.rhythm": "bigeminy",
    "person.intervals_s": (0.8, 0.9),
    "person.systolic_mmhg": 130.0,
    "person.diastolic_mmhg": 70.0,
    "cuff.inflation": "pump",
    "cuff.top_mmhg": 160.0,
    "cuff.end_mmhg": 60.0,
    "cuff.pulse_width_50_mmhg": 50.0,
    "cuff.pause_at_mmhg": 100.0,
    "cuff.reinflate_at_mmhg": 100.0,
    "sound.gap_top_mmhg": 105.0,
    "sound.gap_bottom_mmhg": 95.0,
    "sound.high_hz": 180.0,
    "sound.murmur_low_hz": 120.0,
    "sensor.response": "bell",
    "sensor.rate_hz": 1500.0,
    "sensor.clip_share": 0.05,
    "sensor.bits": 12.0,
    "room.noises": (Noise(kind="pink", snr_db=10.0),),
}

NAMES = [f"{part}.{item.name}" for part, cls in PARTS.items() for item in fields(cls)]


def changed(scenario: Scenario, part: str, values: dict[str, Any]) -> Scenario:
    return replace(scenario, **{part: replace(getattr(scenario, part), **values)})


@cache
def made(scenario: Scenario) -> Simulation:
    return simulate(scenario)


def same(one: Simulation, two: Simulation) -> bool:
    a, b = one.recording, two.recording
    return (
        one.truth == two.truth
        and a.rate_hz == b.rate_hz
        and np.array_equal(a.samples, b.samples)
        and np.array_equal(a.cuff.time_s, b.cuff.time_s)
        and np.array_equal(a.cuff.pressure_mmhg, b.cuff.pressure_mmhg)
    )


@pytest.mark.parametrize("name", NAMES)
def test_every_field_matters(name: str) -> None:
    part, field = name.split(".")
    base = BASE
    for where, values in CONTEXT.get(name, {}).items():
        base = changed(base, where, values)
    if name in OTHER:
        other = OTHER[name]
    elif isinstance(getattr(getattr(base, part), field), bool):
        other = not getattr(getattr(base, part), field)
    else:
        (item,) = (item for item in fields(PARTS[part]) if item.name == field)
        share = 0.55 if item.name == "gap_depth_db" else 0.45
        other = (1 - share) * item.metadata["low"] + share * item.metadata["high"]
    assert other != getattr(getattr(base, part), field)
    assert not same(made(base), made(changed(base, part, {field: other})))


@pytest.mark.parametrize("field", ["kind", "snr_db", "tone_hz", "path"])
def test_every_field_of_a_noise_matters(field: str, tmp_path) -> None:  # type: ignore[no-untyped-def]
    import soundfile

    for name in ("a.wav", "b.wav"):
        wave = np.sin(np.arange(8000) ** 1.5 / (50 + len(name) + ord(name[0])))
        soundfile.write(tmp_path / name, wave, 2000)
    one = {
        "kind": Noise(kind="pink"),
        "snr_db": Noise(kind="pink"),
        "tone_hz": Noise(kind="hum"),
        "path": Noise(kind="file", path=str(tmp_path / "a.wav")),
    }[field]
    other = {
        "kind": replace(one, kind="white") if field == "kind" else one,
        "snr_db": replace(one, snr_db=3.0),
        "tone_hz": replace(one, tone_hz=60.0),
        "path": replace(one, path=str(tmp_path / "b.wav")) if field == "path" else one,
    }[field]
    a, b = (changed(BASE, "room", {"noises": (noise,)}) for noise in (one, other))
    assert not same(made(a), made(b))


def test_the_seed_changes_truth_sound_and_log() -> None:
    one, two = made(BASE), made(replace(BASE, seed=4))
    assert one.truth != two.truth
    n = min(one.recording.samples.size, two.recording.samples.size)
    assert not np.allclose(one.recording.samples[:n], two.recording.samples[:n])
    m = min(one.recording.cuff.time_s.size, two.recording.cuff.time_s.size)
    a, b = one.recording.cuff.pressure_mmhg, two.recording.cuff.pressure_mmhg
    assert not np.array_equal(a[:m], b[:m])


def test_the_same_scenario_gives_the_same_again() -> None:
    assert same(simulate(BASE), simulate(BASE))


def test_words_change_nothing() -> None:
    assert same(made(BASE), simulate(replace(BASE, name="x", description="y")))


@pytest.mark.parametrize(
    ("part", "values"),
    [
        ("room", {"noises": ()}),
        ("room", {"noises": (*BASE.room.noises, Noise(kind="hum"))}),
        ("room", {"inflation_noise_db": 10.0}),
        ("sensor", {"response": "bell"}),
        ("cuff", {"noise_sd_mmhg": 1.0}),
        ("cuff", {"bumps_per_min": 9.0}),
        ("sound", {"murmur_db": -30.0}),
    ],
)
def test_one_part_leaves_the_others_beats_alone(part: str, values: dict[str, Any]) -> None:
    one, two = made(BASE), made(changed(BASE, part, values))
    for a, b in zip(one.truth.beats, two.truth.beats, strict=True):
        assert (a.time_s, a.cuff_mmhg, a.systolic_mmhg) == (b.time_s, b.cuff_mmhg, b.systolic_mmhg)
    same_log = np.array_equal(one.recording.cuff.pressure_mmhg, two.recording.cuff.pressure_mmhg)
    assert same_log == (part != "cuff")


def test_another_noise_is_added_to_the_same_sound() -> None:
    two = changed(BASE, "room", {"noises": (Noise(kind="hum"), *BASE.room.noises)})
    hum = made(two).recording.samples - made(BASE).recording.samples
    power = np.abs(np.fft.rfft(hum)) ** 2
    hz = np.fft.rfftfreq(hum.size, 1 / 1000.0)
    lines = np.abs(hz - 50 * np.round(hz / 50)) < 1.0
    assert power[lines].sum() / power.sum() > 0.99
