"""A study's recordings as a blinded set, and its answers back into the study."""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tapfall.errors import InputError, SettingError
from tapfall.files import save
from tapfall.lesson.blind import Blinded, blind, dial_of, measured_span_s, observer_code
from tapfall.lesson.blindkey import read_blind_key, write_blind_key
from tapfall.lesson.nouns import Answer, Answers, Mode
from tapfall.lesson.observe import Heard, heard_by, write_observed
from tapfall.lesson.page import Choices, page_html
from tapfall.model import Recording
from tapfall.show.playback import RATE_HZ
from tapfall.study import read_manifest, run
from tapfall.study.marks import read_marks
from tapfall.synth import Cuff, Person, Scenario, Truth, simulate
from tests.study.made import HEADER, Counting, rows_of, write_manifest

SHORT = Scenario(
    person=Person(systolic_mmhg=115.0, diastolic_mmhg=82.0, heart_rate_per_min=80.0),
    cuff=Cuff(top_mmhg=140.0, end_mmhg=60.0, deflation_mmhg_per_s=3.0),
)
NAMES = ("ward-7-mrs-x", "=second", "third")


@pytest.fixture(scope="session")
def recordings() -> list[tuple[Recording, Truth]]:
    made = [simulate(replace(SHORT, seed=seed)) for seed in range(3)]
    return [(one.recording, one.truth) for one in made]


@pytest.fixture
def manifest_path(recordings: list[tuple[Recording, Truth]], tmp_path: Path) -> Path:
    rows = []
    for n, (name, (recording, _)) in enumerate(zip(NAMES, recordings, strict=True)):
        save(recording, tmp_path / f"r{n}.wav", tmp_path / f"r{n}.csv")
        rows.append((name, f"person-{n}", f"r{n}.wav", f"r{n}.csv", "31.5", "-note"))
    return write_manifest(tmp_path / "study.csv", (*HEADER, "arm_cm", "notes"), *rows)


def seeded(seed: int):
    rng = np.random.default_rng(seed)
    return lambda top: int(rng.integers(top))


def answers_of(made: Blinded, *given: Answer, learner: str | None = None) -> Answers:
    return Answers(
        set_id=made.lesson.set_id,
        learner=learner or made.key.observer,
        saved="2026-03-01T10:00:00Z",
        mode=Mode.EXAMINE,
        answers=given,
    )


def faithful(made: Blinded, recordings: list[tuple[Recording, Truth]]) -> Answers:
    """Answers of one who hears everything: what the dial shows at the true pressures."""
    truths = dict(zip(NAMES, (truth for _, truth in recordings), strict=True))
    given = []
    for item in made.key.items:
        truth = truths[item.recording]
        high, low = truth.in_quiet.systolic.mmhg, truth.in_quiet.diastolic.mmhg
        assert high is not None
        assert low is not None
        given.append(
            Answer(
                item=item.name,
                systolic_mmhg=round(high + item.offset_mmhg),
                diastolic_mmhg=round(low + item.offset_mmhg),
                marks_s=tuple(
                    beat.time_s - item.start_s + 0.2
                    for beat in truth.beats
                    if beat.audible_in_quiet
                ),
                replays=0,
            )
        )
    return answers_of(made, *given)


def test_nothing_in_the_page_names_a_recording(manifest_path: Path) -> None:
    made = blind(read_manifest(manifest_path), "obs-1")
    page = page_html(made.lesson, made.sounds, Choices(observer=made.key.observer))
    for word in (
        *NAMES,
        "person-",
        "r0.wav",
        "study.csv",
        *(i.audio_sha256 for i in made.key.items),
    ):
        assert word not in page
    assert sorted(item.recording for item in made.key.items) == sorted(NAMES)
    assert [item.name for item in made.lesson.items] == ["item-01", "item-02", "item-03"]
    assert made.lesson.random_zero
    assert made.simulated


def test_each_observer_has_an_order_and_zeros_of_their_own(manifest_path: Path) -> None:
    manifest = read_manifest(manifest_path)
    seen = [blind(manifest, "a", below=seeded(seed)).key for seed in range(8)]
    assert len({tuple(item.recording for item in key.items) for key in seen}) > 2
    assert len({item.offset_mmhg for key in seen for item in key.items}) > 8
    assert all(0 <= item.offset_mmhg <= 20 for key in seen for item in key.items)
    assert blind(manifest, "a").key.set_id != blind(manifest, "a").key.set_id


def test_the_dial_is_the_log_moved_up(
    manifest_path: Path, recordings: list[tuple[Recording, Truth]]
) -> None:
    made = blind(read_manifest(manifest_path), "a", below=seeded(3))
    item, private = made.lesson.items[0], made.key.items[0]
    log = recordings[NAMES.index(private.recording)][0].cuff
    shown = [(n, mmhg) for n, mmhg in enumerate(item.dial.mmhg) if mmhg is not None]
    true = np.interp(
        [private.start_s + n * item.dial.step_s for n, _ in shown], log.time_s, log.pressure_mmhg
    )
    apart = np.array([mmhg for _, mmhg in shown]) - true
    assert np.abs(apart - private.offset_mmhg).max() <= 0.051
    assert min(mmhg for _, mmhg in shown) >= 30.0
    with soundfile.SoundFile(io.BytesIO(base64.b64decode(made.sounds[0]))) as track:
        assert len(track) / RATE_HZ == pytest.approx(item.seconds)
    assert len(item.dial.mmhg) * item.dial.step_s >= item.seconds


def test_where_the_needle_vanishes_tells_nothing() -> None:
    """It goes at one shown pressure, whatever the displacement."""
    log_s = np.arange(0.0, 60.0, 0.05)
    log_mmhg = 100.0 - 1.6 * log_s
    last = [
        [one for one in dial_of(log_s, log_mmhg, 60.0, offset).mmhg if one is not None][-1]
        for offset in (0.0, 7.0, 20.0)
    ]
    assert max(last) - min(last) <= 0.1


def test_a_hole_in_the_log_covers_the_needle() -> None:
    log_s = np.array([0.0, 1.0, 2.0, 6.0, 7.0])
    dial = dial_of(log_s, np.full(5, 90.0), 7.0, 0.0)
    covered = [n * 0.05 for n, one in enumerate(dial.mmhg) if one is None]
    assert (min(covered), max(covered)) == (pytest.approx(2.05), pytest.approx(6.0))


def test_a_known_lag_moves_the_needle() -> None:
    log_s = np.arange(0.0, 20.0, 0.05)
    falling = 120.0 - 3.0 * log_s
    plain, moved = dial_of(log_s, falling, 10.0, 0.0), dial_of(log_s - 1.0, falling, 10.0, 0.0)
    assert plain.mmhg[40] == 114.0
    assert moved.mmhg[40] == 111.0


def test_only_the_last_measurement_is_heard() -> None:
    time_s = np.arange(0.0, 100.0, 0.1)
    on = ((time_s > 10) & (time_s < 40)) | ((time_s > 60) & (time_s < 90))
    start_s, end_s = measured_span_s(time_s, np.where(on, 90.0, 2.0), 100.0)
    assert (start_s, end_s) == (pytest.approx(57.1), pytest.approx(92.9))
    assert measured_span_s(time_s, np.full(time_s.size, 2.0), 100.0) == (0.0, 100.0)


@pytest.mark.parametrize("code", ["", "-a", "a b", "é", "a" * 21, "=1"])
def test_codes_that_cannot_be(code: str) -> None:
    with pytest.raises(SettingError, match="--observer: found "):
        observer_code(code)


def test_a_recording_too_long(manifest_path: Path) -> None:
    rate_hz, log_s = 4000, np.arange(0.0, 320.0)
    soundfile.write(manifest_path.parent / "r0.wav", np.sin(np.arange(320 * rate_hz)), rate_hz)
    lines = [f"{time},{mmhg}" for time, mmhg in zip(log_s, 180 - 0.4 * log_s, strict=True)]
    text = "time_s,pressure_mmHg\n" + "\n".join(lines)
    (manifest_path.parent / "r0.csv").write_text(text)
    with pytest.raises(InputError, match=r"recording 'ward-7-mrs-x': found 320 s to hear"):
        blind(read_manifest(manifest_path), "a")


def test_answers_flow_into_the_study(
    manifest_path: Path, recordings: list[tuple[Recording, Truth]], tmp_path: Path
) -> None:
    manifest = read_manifest(manifest_path)
    observers = []
    for number, code in enumerate(("anna", "bert")):
        made = blind(manifest, code, below=seeded(number))
        write_blind_key(tmp_path / f"{code}.json", made.key)
        key = read_blind_key(tmp_path / f"{code}.json")
        assert key == made.key
        observers.append((key, heard_by(key, faithful(made, recordings), delay_s=0.2)))
    merged = write_observed(tmp_path / "heard.csv", manifest, manifest_path, observers)
    assert (merged.recordings, merged.answered, len(merged.marks_files)) == (3, (3, 3), 6)
    again = read_manifest(tmp_path / "heard.csv")
    for entry, (_, truth) in zip(again.entries, recordings, strict=True):
        for observer in entry.observers:
            assert observer.systolic_mmhg == pytest.approx(truth.in_quiet.systolic.mmhg, abs=0.51)
            assert observer.diastolic_mmhg == pytest.approx(truth.in_quiet.diastolic.mmhg, abs=0.51)
            wanted = [beat.time_s for beat in truth.beats if beat.audible_in_quiet]
            marks = [mark.time_s for mark in read_marks(observer.marks)]
            assert marks == pytest.approx(wanted, abs=0.002)
    assert [entry.cells[:4] for entry in again.entries][1][0] == "'=second"
    study = run(again, tmp_path / "out", executor=Counting())
    assert study.read == 3
    pairs = rows_of(tmp_path / "out" / "pairs.csv")
    assert len(pairs) == 6
    assert all(abs(float(row["reference"]) - float(row["estimate"])) < 6 for row in pairs)
    hits = [row for row in rows_of(tmp_path / "out" / "beats.csv") if "tapfall" in str(row)]
    assert hits
    assert sum(int(row["hits"]) for row in hits) > 30


def test_what_was_not_answered_stays_empty(
    manifest_path: Path, recordings: list[tuple[Recording, Truth]], tmp_path: Path
) -> None:
    manifest = read_manifest(manifest_path)
    made = blind(manifest, "a", below=seeded(1))
    (name,) = (item.name for item in made.key.items if item.recording == "third")
    answer = Answer(item=name, systolic_mmhg=None, diastolic_mmhg=100.0, marks_s=(), replays=2)
    heard = heard_by(made.key, answers_of(made, answer))
    write_observed(tmp_path / "heard.csv", manifest, manifest_path, [None, (made.key, heard)])
    rows = rows_of(tmp_path / "heard.csv")
    assert "observer_1_systolic_mmHg" not in rows[0]
    values = [(row["observer_2_systolic_mmHg"], row["observer_2_diastolic_mmHg"]) for row in rows]
    (offset,) = (item.offset_mmhg for item in made.key.items if item.name == name)
    assert values == [("", ""), ("", ""), ("", f"{100 - offset:g}")]
    assert [row["observer_2_marks"] for row in rows] == ["", "", ""]
    assert not (tmp_path / "heard-marks").exists()


def changed(made: Blinded, **what: object) -> Answers:
    base = Answer(item="item-01", systolic_mmhg=130.0, diastolic_mmhg=90.0, marks_s=(), replays=0)
    return answers_of(made, replace(base, **what))


@pytest.fixture
def one(manifest_path: Path) -> Iterator[Blinded]:
    yield blind(read_manifest(manifest_path), "anna", below=lambda top: min(7, top - 1))


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ({"item": "item-09"}, "'item-09': found no such item in the key"),
        (
            {"systolic_mmhg": 3.0, "diastolic_mmhg": None},
            "item-01: found 3 on a dial displaced by 7",
        ),
        ({"systolic_mmhg": 308.0}, "found 308 on a dial displaced by 7; allowed 0 to 300"),
        ({"diastolic_mmhg": 130.0}, "item-01: found 130 beside a systolic of 130"),
        ({"marks_s": (1e4,)}, "item-01: found a mark outside the"),
    ],
)
def test_answers_that_cannot_be(one: Blinded, what: dict[str, object], words: str) -> None:
    with pytest.raises(InputError) as caught:
        heard_by(one.key, changed(one, **what))
    assert words in str(caught.value)


def test_answers_of_another(one: Blinded) -> None:
    with pytest.raises(InputError, match="found answers of the observer 'BERT'; allowed those of"):
        heard_by(one.key, answers_of(one, learner="BERT"))
    with pytest.raises(InputError, match="found answers of the set 'x'"):
        heard_by(one.key, replace(changed(one), set_id="x"))
    twice = changed(one).answers * 2
    with pytest.raises(InputError, match="'item-01': found twice"):
        heard_by(one.key, answers_of(one, *twice))
    with pytest.raises(SettingError, match="found a delay of 2 s"):
        heard_by(one.key, changed(one), delay_s=2.0)


def test_manifests_that_do_not_fit(one: Blinded, manifest_path: Path, tmp_path: Path) -> None:
    manifest = read_manifest(manifest_path)
    heard = (Heard(recording="third", systolic_mmhg=1, diastolic_mmhg=None, marks_s=()),)
    both = [(one.key, heard), (one.key, heard)]
    new = tmp_path / "heard.csv"
    with pytest.raises(InputError, match="found the observer 'ANNA' twice"):
        write_observed(new, manifest, manifest_path, both)
    (tmp_path / "sub").mkdir()
    with pytest.raises(InputError, match="found another folder than the manifest's"):
        write_observed(tmp_path / "sub" / "heard.csv", manifest, manifest_path, both[:1])
    with pytest.raises(InputError, match="found an input"):
        write_observed(manifest_path, manifest, manifest_path, both[:1])
    write_observed(new, manifest, manifest_path, both[:1])
    with pytest.raises(InputError, match="found no recording '=second', which the key"):
        write_observed(tmp_path / "b.csv", read_manifest(new), new, both[:1])
    fewer = replace(manifest, entries=manifest.entries[:1])
    with pytest.raises(InputError, match="found no recording"):
        write_observed(tmp_path / "b.csv", fewer, manifest_path, both[:1])
    (tmp_path / "r2.wav").write_bytes((tmp_path / "r1.wav").read_bytes())
    with pytest.raises(InputError, match="recording 'third': found another sound"):
        write_observed(tmp_path / "b.csv", manifest, manifest_path, both[:1])


def test_what_observers_heard_before_is_kept(
    one: Blinded, manifest_path: Path, tmp_path: Path
) -> None:
    manifest, new, marks = read_manifest(manifest_path), tmp_path / "n.csv", tmp_path / "n-marks"
    told = "found there already; allowed another -o, or removing it, with all that observers heard"
    for made in (new, marks):
        made.mkdir() if made is marks else made.write_text("of another observer")
        with pytest.raises(InputError, match=f"{made.name}: {told}"):
            write_observed(new, manifest, manifest_path, [(one.key, ())])
        assert new.exists() == (made is new)
        new.unlink(missing_ok=True)
    marks.rmdir()
    write_observed(new, manifest, manifest_path, [(one.key, ())])


def test_a_second_observer_beside_the_first(one: Blinded, manifest_path: Path) -> None:
    write_manifest(
        manifest_path,
        (*HEADER, "observer_1_systolic_mmHg"),
        ("third", "p", "r2.wav", "r2.csv", "120"),
    )
    manifest = read_manifest(manifest_path)
    key = replace(one.key, items=tuple(i for i in one.key.items if i.recording == "third"))
    heard = (Heard(recording="third", systolic_mmhg=119, diastolic_mmhg=80, marks_s=()),)
    new = manifest_path.with_name("heard.csv")
    with pytest.raises(InputError, match="line 2: found values of observer 1"):
        write_observed(new, manifest, manifest_path, [(key, heard)])
    write_observed(new, manifest, manifest_path, [None, (key, heard)])
    (entry,) = read_manifest(new).entries
    assert [one.systolic_mmhg for one in entry.observers] == [120.0, 119.0]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"schema": "other/1"}, "found no schema tapfall.observer-key/1"),
        ({"observer": 3}, "found no text observer"),
        ({"lag_s": True}, "found no number lag_s"),
        ({"lag_s": 1e9}, "found lag_s 1e"),
        ({"items": {}}, "found no list of items"),
        ({"items": [3]}, "item 1: found no object"),
        ({"items": [{}]}, "item 1: found no text name"),
    ],
)
def test_keys_that_cannot_be(
    one: Blinded, tmp_path: Path, change: dict[str, object], words: str
) -> None:
    path = tmp_path / "key.json"
    write_blind_key(path, one.key)
    path.write_text(json.dumps(json.loads(path.read_text()) | change))
    with pytest.raises(InputError) as caught:
        read_blind_key(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert words in str(caught.value)


def test_what_is_no_key_at_all(one: Blinded, tmp_path: Path) -> None:
    path = tmp_path / "key.json"
    for text in ("{", "NaN", '{"schema": "tapfall.observer-key/1", "lag_s": NaN}', "[" * 100_000):
        path.write_text(text)
        with pytest.raises(InputError, match=r"found (what is not JSON|no schema)"):
            read_blind_key(path)
    key = replace(one.key, items=one.key.items[:1] * 2)
    write_blind_key(path, key)
    with pytest.raises(InputError, match="found 'item-01' twice"):
        read_blind_key(path)
