"""Fields, their ranges, TOML files and the built-in scenarios."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.errors import ScenarioError
from tapfall.model import State
from tapfall.synth import (
    Cuff,
    Noise,
    Person,
    Room,
    Scenario,
    Sensor,
    Sound,
    builtin_names,
    load_builtin,
    load_scenario,
    sample,
    save_scenario,
    scenario_from_toml,
    scenario_to_toml,
    simulate,
)
from tapfall.synth.fields import field_table

PARTS = (Person, Cuff, Sound, Sensor, Noise, Room)


@pytest.mark.parametrize("part", PARTS)
def test_every_field_is_described(part: type) -> None:
    table = {row[0]: row for row in field_table(part)}
    assert set(table) | {"noises"} == {item.name for item in fields(part)} | {"noises"}
    for name, (_, default, allowed, _, text) in table.items():
        assert default or name in ("path", "intervals_s"), name
        assert allowed
        assert text


@pytest.mark.parametrize("part", PARTS)
def test_every_number_is_held_to_its_range(part: type) -> None:
    for item in fields(part):
        if "low" not in item.metadata:
            continue
        for wrong in (item.metadata["low"] - 1, item.metadata["high"] + 1, float("nan"), "7"):
            value = (wrong,) if "each" in item.metadata else wrong
            pattern = rf"{item.name}: found {re.escape(repr(wrong))}; allowed .*numbers from"
            with pytest.raises(ScenarioError, match=pattern):
                part(**{item.name: value})


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (
            lambda: Person(rhythm="waltz"),
            "person.rhythm: found 'waltz'; allowed sinus, atrial_fibrillation, ectopics, "
            "bigeminy, series",
        ),
        (lambda: Sound(present=1), "sound.present: found 1; allowed true or false"),
        (lambda: Scenario(name=3), "scenario.name: found 3; allowed text"),
        (
            lambda: Sensor(bits=15.5),
            "sensor.bits: found 15.5; allowed whole numbers from 0 to 24 bits",
        ),
        (
            lambda: Person(systolic_mmhg=80.0, diastolic_mmhg=75.0),
            "person.systolic_mmhg: found 80; allowed at least 10 mmHg above "
            "person.diastolic_mmhg (75)",
        ),
        (
            lambda: Person(rhythm="series"),
            "person.intervals_s: found 0 intervals with rhythm 'series'; allowed some with "
            "'series', none otherwise",
        ),
        (
            lambda: Person(intervals_s=(0.8,)),
            "person.intervals_s: found 1 intervals with rhythm 'sinus'; allowed some with "
            "'series', none otherwise",
        ),
        (
            lambda: Person(rhythm="series", intervals_s=[0.8]),
            "person.intervals_s: found [0.8]; allowed a tuple of numbers",
        ),
        (
            lambda: Cuff(top_mmhg=60.0, end_mmhg=55.0),
            "cuff.end_mmhg: found 55; allowed at least 10 mmHg below cuff.top_mmhg (60)",
        ),
        (
            lambda: Cuff(pulse_width_30_mmhg=58.0),
            "cuff.pulse_width_30_mmhg: found 58; allowed at least 1.15 times "
            "cuff.pulse_width_50_mmhg (57)",
        ),
        (
            lambda: Sound(gap_top_mmhg=100.0, gap_bottom_mmhg=110.0),
            "sound.gap_bottom_mmhg: found 110; allowed at most sound.gap_top_mmhg (100)",
        ),
        (
            lambda: Sound(low_hz=120.0, high_hz=60.0),
            "sound.low_hz: found 120; allowed at most sound.high_hz (60)",
        ),
        (
            lambda: Noise(kind="file"),
            "noise.path: found '' with kind 'file'; allowed a path with 'file', none otherwise",
        ),
        (
            lambda: Noise(path="x.wav"),
            "noise.path: found 'x.wav' with kind 'pink'; allowed a path with 'file', none "
            "otherwise",
        ),
        (
            lambda: Room(noises=("pink",)),
            "room.noises: found ('pink',); allowed a tuple of Noise",
        ),
        (lambda: Scenario(seed=-1), "scenario.seed: found -1; allowed a whole number, 0 or more"),
        (
            lambda: Scenario(seed=True),
            "scenario.seed: found True; allowed a whole number, 0 or more",
        ),
    ],
)
def test_what_a_fault_says(make, text: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ScenarioError) as caught:
        make()
    assert str(caught.value) == text


@given(st.integers(0, 2**31), st.text(max_size=30), st.floats(-40, 90), st.booleans())
@settings(max_examples=60, deadline=None)
def test_toml_round_trip(seed: int, words: str, snr_db: float, switch: bool) -> None:
    scenario = sample(seed % 1000)
    noises = (Noise(kind="file", path=words or "a.wav", snr_db=snr_db), *scenario.room.noises)
    scenario = replace(
        scenario,
        seed=seed,
        description=words,
        person=replace(scenario.person, rhythm="series", intervals_s=(0.8, 1.1)),
        sound=replace(scenario.sound, present=switch),
        room=replace(scenario.room, noises=noises if switch else ()),
    )
    assert scenario_from_toml(scenario_to_toml(scenario)) == scenario


def test_file_round_trip(tmp_path: Path) -> None:
    path = tmp_path / "person.toml"
    save_scenario(sample(4), path)
    assert load_scenario(path) == sample(4)
    assert [item.name for item in tmp_path.iterdir()] == ["person.toml"]


def test_noise_files_lie_beside_the_scenario(tmp_path: Path) -> None:
    path = tmp_path / "room.toml"
    path.write_text('[[room.noises]]\nkind = "file"\npath = "talk.wav"\n')
    assert load_scenario(path).room.noises[0].path == str(tmp_path / "talk.wav")
    path.write_text('[[room.noises]]\nkind = "file"\npath = "/srv/talk.wav"\n')
    assert load_scenario(path).room.noises[0].path == "/srv/talk.wav"
    with pytest.raises(ScenarioError, match=r"^noise\.path: found '/srv/talk\.wav', which cannot"):
        simulate(load_scenario(path))


def with_file(path: str | Path) -> Scenario:
    return Scenario(room=Room(noises=(Noise(kind="file", path=str(path)),)))


def test_a_saved_scenario_finds_its_noise_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for made in ("noise", "made", "deep/er"):
        Path(made).mkdir(parents=True)
    Path("link").symlink_to("deep/er")
    Path("noise/talk.wav").write_bytes(b"talk")
    Path("noise/alias.wav").symlink_to("talk.wav")
    for name in ("noise/talk.wav", "noise/alias.wav", tmp_path / "noise/talk.wav"):
        for folder in (".", "made", "link", "deep/er", "noise", tmp_path / "made"):
            file = Path(folder, "a.toml")
            save_scenario(with_file(name), file)
            assert str(tmp_path) not in file.read_text()
            path = load_scenario(file).room.noises[0].path
            assert Path(path).read_bytes() == b"talk"
            assert Path(path).name == Path(name).name


def test_a_saved_scenario_moves_with_its_noise_files(tmp_path: Path) -> None:
    before, after = tmp_path / "before", tmp_path / "after"
    (before / "made").mkdir(parents=True)
    (before / "talk.wav").write_bytes(b"talk")
    save_scenario(with_file(before / "talk.wav"), before / "made" / "a.toml")
    before.rename(after)
    path = load_scenario(after / "made" / "a.toml").room.noises[0].path
    assert Path(path).read_bytes() == b"talk"


def test_a_noise_file_in_no_shared_folder_keeps_its_whole_path(tmp_path: Path) -> None:
    save_scenario(with_file("/srv-of-none/talk.wav"), tmp_path / "a.toml")
    assert load_scenario(tmp_path / "a.toml") == with_file("/srv-of-none/talk.wav")


def test_a_path_that_is_not_utf_8_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match=r"udcff.* as paths; allowed names in UTF-8"):
        save_scenario(with_file(tmp_path / "\udcff.wav"), tmp_path / "a.toml")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "[cuff]\ntop_mmHg = 150",
            "cuff.top_mmHg: found an unknown field; did you mean 'top_mmhg'?",
        ),
        ("sede = 3", "sede: found an unknown field; did you mean 'seed'?"),
        (
            "qqqq = 3",
            "qqqq: found an unknown field; allowed seed, name, description, person, cuff, sound, "
            "sensor, room",
        ),
        (
            '[[room.noises]]\nkind = "pink"\nsnr = 3',
            "room.noises[0].snr: found an unknown field; did you mean 'snr_db'?",
        ),
        ("person = 3", "person: found 3; allowed a table of fields"),
        ("[room]\nnoises = 3", "room.noises: found 3; allowed a list of tables"),
        (
            "[cuff]\ntop_mmhg = 999",
            "cuff.top_mmhg: found 999.0; allowed numbers from 20 to 320 mmHg",
        ),
        (
            "[cuff]\ntop_mmhg = true",
            "cuff.top_mmhg: found True; allowed numbers from 20 to 320 mmHg",
        ),
    ],
)
def test_a_wrong_file_is_refused(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(text)
    with pytest.raises(ScenarioError) as caught:
        load_scenario(path)
    assert str(caught.value) == f"{path}: {message}"


def test_what_is_not_toml_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text("top = = 3")
    with pytest.raises(ScenarioError, match=r"not TOML \(.*line 1.*\); allowed TOML"):
        load_scenario(path)
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(ScenarioError, match=r"cannot be read \(not UTF-8\); allowed a TOML file"):
        load_scenario(path)
    with pytest.raises(ScenarioError, match="found no such file; allowed a TOML file"):
        load_scenario(tmp_path / "none.toml")
    path.write_bytes(b"")
    with pytest.raises(ScenarioError, match="found 0 bytes; allowed a TOML file"):
        load_scenario(path)
    path.write_bytes(b"#" * 50_001)
    with pytest.raises(ScenarioError, match="found 50001 bytes; allowed at most 50000 bytes"):
        load_scenario(path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("seed = " + "[" * 5000, "nested too deeply"),
        ("seed = " + "[" * 5000 + "]" * 5000, "nested too deeply"),
        ("seed = " + "9" * 5000, "not TOML"),
        ("a" + ".a" * 2000 + " = 1", "a: found an unknown field"),
    ],
)
def test_hostile_toml_is_refused(text: str, message: str) -> None:
    with pytest.raises(ScenarioError, match=message):
        scenario_from_toml(text)


def test_builtin_scenarios_are_what_they_say() -> None:
    names = builtin_names()
    assert len(names) == len(set(names)) >= 12
    for name in names:
        scenario = load_builtin(name)
        assert scenario.name == name
        assert scenario.description.endswith(".")
        assert len(scenario.description) < 80


def quick(name: str):  # type: ignore[no-untyped-def]
    scenario = load_builtin(name)
    return simulate(replace(scenario, sensor=replace(scenario.sensor, rate_hz=1000.0))).truth


def test_truth_of_builtin_scenarios() -> None:
    truth = {name: quick(name) for name in builtin_names()}
    for name, one in truth.items():
        quiet = one.in_quiet
        assert quiet.readable == ("no_sounds" not in name and name != "heart_sounds_only"), name
        assert bool(quiet.gaps) == name.startswith("silent_gap"), name
        assert one.inflated_into_gap == (name == "inflated_into_gap"), name
        assert quiet.to_zero == (name == "sounds_to_zero"), name
        assert (quiet.systolic.state is State.NOT_REACHED) == (name == "under_inflated"), name
        assert (quiet.diastolic.state is State.NOT_REACHED) == (name == "stopped_early"), name
        assert quiet.alternating == (name == "alternating_pulse"), name
    assert truth["silent_gap_small"].in_quiet.gaps[0].silent_beats == 2
    assert truth["clock_lag"].lag_s == 1.1
    assert truth["clock_lag"].drift_ppm == 80.0


def test_an_unknown_builtin_is_refused() -> None:
    with pytest.raises(ScenarioError, match=r"^norml: found no .* did you mean 'normal'\?$"):
        load_builtin("norml")
    with pytest.raises(ScenarioError, match=r"^\.\./normal: found no built-in scenario"):
        load_builtin("../normal")
