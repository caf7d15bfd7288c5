"""``tapfall lesson page`` and ``lesson observe``, run as a user runs them."""

from __future__ import annotations

import base64
import html
import importlib
import json
import re
import sys
import types
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tapfall.cli import main
from tapfall.errors import InputError
from tapfall.files import save
from tapfall.files.audio import sound_bytes
from tapfall.lesson.nouns import Key
from tapfall.lesson.texts import words_of
from tapfall.model import CAUTION, Recording
from tapfall.study import read_manifest
from tests.lesson import made
from tests.study.made import HEADER, write_manifest

Output = pytest.CaptureFixture[str]


@pytest.fixture
def folder(simulated: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with a study of two recordings."""
    rows = []
    for name in ("left", "right"):
        save(simulated, tmp_path / f"{name}.wav", tmp_path / f"{name}.csv")
        rows.append((name, "p1", f"{name}.wav", f"{name}.csv"))
    write_manifest(tmp_path / "study.csv", HEADER, *rows)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def data_of(path: Path) -> dict[str, Any]:
    (text,) = re.findall(r'id="set">(.*?)</script>', path.read_text(encoding="utf-8"), re.S)
    found: dict[str, Any] = json.loads(text)
    return found


def page(*more: str) -> list[str]:
    return ["lesson", "page", "--recordings", "study.csv", "-o", "obs-a.html", *more]


def test_a_page_for_an_observer(folder: Path, capsys: Output) -> None:
    assert main(page("--observer", "obs-a", "--language", "de", "--replays", "2")) == 0
    out, err = capsys.readouterr()
    assert err == ""
    lines = out.splitlines()
    assert re.fullmatch(
        r"obs-a\.html: 2 items, \d\.\d MB, mode examine, without any answer in it\.", lines[0]
    )
    assert lines[-1] == "Private key, not for the observer: obs-a-key.json"
    assert CAUTION in " ".join(out.split())
    assert max(map(len, lines)) <= 80
    data, text = data_of(folder / "obs-a.html"), (folder / "obs-a.html").read_text(encoding="utf-8")
    assert (data["learner"], data["replays"], data["mode"]) == ("OBS-A", 2, "examine")
    assert words_of("de")[0]["title_observe"] in text
    assert "left" not in [item["name"] for item in data["items"]]
    key = json.loads((folder / "obs-a-key.json").read_text())
    assert sorted(item["recording"] for item in key["items"]) == ["left", "right"]
    assert key["set_id"] == data["set_id"]
    assert sorted(path.name for path in folder.iterdir() if path.suffix in (".html", ".json")) == [
        "obs-a-key.json",
        "obs-a.html",
    ]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ([], "found --recordings without --observer; allowed together with it"),
        (["--observer", "a b"], "--observer: found 'a b'; allowed letters, digits and hyphens"),
        (["--observer", "a", "--mode", "learn"], "found --mode with --recordings; allowed with a"),
        (["--observer", "a", "--self-check"], "found --self-check with --recordings"),
        (["--observer", "a", "--language", "xx"], "--language: found 'xx'; allowed en, de"),
        (["--observer", "a", "--replays", "-1"], "argument --replays: found '-1'"),
        (["--observer", "a", "--lag", "61"], "argument --lag: found '61'; allowed seconds"),
        (["--observer", "a", "--key", "obs-a.html"], "obs-a.html: found two outputs under one"),
        (["--observer", "a", "--key", "left.wav"], "left.wav: found an input"),
        (["set", "--observer", "a"], "found both of SET_FOLDER and --recordings"),
        (
            ["--observer", "a", "-o", "a.pdf"],
            "--output: found a.pdf; allowed a name in .html or .htm",
        ),
    ],
)
def test_what_cannot_be(folder: Path, capsys: Output, given: list[str], words: str) -> None:
    assert main(page(*given)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"tapfall: {words}")
    assert err.count("\n") == 1
    assert not (folder / "obs-a.html").exists()


def test_a_key_or_page_that_stands_there_is_kept(folder: Path, capsys: Output) -> None:
    assert main(page("--observer", "obs-a")) == 0
    there = {name: (folder / name).read_bytes() for name in ("obs-a.html", "obs-a-key.json")}
    capsys.readouterr()
    assert main(page("--observer", "obs-a")) == 2
    assert capsys.readouterr().err == (
        "tapfall: obs-a-key.json: found there already; allowed another -o or --key, or removing "
        "it, which loses the answers to its page\n"
    )
    # A key put away does not make the page one that may go: answers to it may still come.
    (folder / "obs-a-key.json").rename(folder / "safe.json")
    assert main(page("--observer", "obs-a")) == 2
    assert capsys.readouterr().err == (
        "tapfall: obs-a.html: found there already; allowed another -o, or removing it: its items "
        "cannot be drawn again\n"
    )
    assert main(page("--observer", "obs-a", "-o", "b.html", "--key", "safe.json")) == 2
    assert capsys.readouterr().err.startswith("tapfall: safe.json: found there already")
    assert (folder / "obs-a.html").read_bytes() == there["obs-a.html"]
    assert (folder / "safe.json").read_bytes() == there["obs-a-key.json"]
    assert not (folder / "obs-a-key.json").exists()


def test_neither_a_set_nor_recordings(folder: Path, capsys: Output) -> None:
    assert main(["lesson", "page", "-o", "a.html"]) == 2
    assert "found neither of SET_FOLDER and --recordings" in capsys.readouterr().err
    assert main(["lesson", "page", "set", "-o", "a.html", "--lag", "1"]) == 2
    assert "found --lag without --recordings" in capsys.readouterr().err


def answered(folder: Path, code: str, offsets: dict[str, float]) -> None:
    """Make an observer's page, and the answers of one who reads 120/80 in both items."""
    given = ["--recordings", "study.csv", "--observer", code, "-o", f"{code}.html"]
    assert main(["lesson", "page", *given]) == 0
    key = json.loads((folder / f"{code}-key.json").read_text())
    record = {
        "schema": "tapfall.answers/1",
        "set_id": key["set_id"],
        "learner": code.upper(),
        "saved": "2026-03-01T10:00:00Z",
        "mode": "examine",
        "answers": [
            {
                "item": item["name"],
                "systolic_mmHg": 120 + item["offset_mmHg"],
                "diastolic_mmHg": 80 + item["offset_mmHg"],
                "marks_s": [20.0, 21.0] if item["recording"] == "left" else [],
                "replays": 0,
            }
            for item in key["items"]
        ],
    }
    offsets |= {item["recording"]: item["start_s"] for item in key["items"]}
    (folder / f"{code}.json").write_text(json.dumps(record))


def test_two_observers_into_a_study(folder: Path, capsys: Output) -> None:
    pytest.importorskip("tapfall.lesson.answers", reason="answers cannot be read yet")
    starts_s: dict[str, float] = {}
    for code in ("obs-a", "obs-b"):
        answered(folder, code, starts_s)
    capsys.readouterr()
    given = ["--observer-1", "obs-a-key.json", "obs-a.json", "--observer-2", "obs-b-key.json"]
    given += ["obs-b.json", "--delay", "0.25", "-o", "heard.csv"]
    assert main(["lesson", "observe", "study.csv", *given]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.splitlines()[:4] == [
        "observer 1: 2 of 2 recordings answered",
        "observer 2: 2 of 2 recordings answered",
        "2 files of marks",
        "In heard.csv",
    ]
    assert CAUTION in " ".join(out.split())
    for entry in read_manifest("heard.csv").entries:
        for observer in entry.observers:
            assert (observer.systolic_mmhg, observer.diastolic_mmhg) == (120.0, 80.0)
            assert (observer.marks is not None) == (entry.recording == "left")
    marks = (folder / "heard-marks" / "left-observer-1.csv").read_text().splitlines()
    first_s = round(starts_s["left"] + 19.75, 3)
    assert marks == ["time_s,heard", f"{first_s},1", f"{round(first_s + 1, 3)},1"]
    assert main(["study", "heard.csv", "-o", "out", "--workers", "1"]) == 0
    out = capsys.readouterr().out
    assert "systolic: tapfall - observers" in out
    assert "systolic: observer 2 - observer 1" in out
    # The other way round is refused.
    wrong = ["--observer-1", "obs-a-key.json", "obs-b.json", "-o", "again.csv"]
    assert main(["lesson", "observe", "study.csv", *wrong]) == 2
    assert capsys.readouterr().err.startswith("tapfall: obs-b.json: found answers of the ")
    assert not (folder / "again.csv").exists()


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["-o", "new.csv"], "found neither --observer-1 nor --observer-2"),
        (["--observer-1", "k", "a", "-o", "new.txt"], "--output: found new.txt; allowed a name"),
        (["--observer-1", "k", "a", "-o", "n.csv", "--delay", "2"], "argument --delay: found '2'"),
    ],
)
def test_observing_what_cannot_be(
    folder: Path, capsys: Output, given: list[str], words: str
) -> None:
    assert main(["lesson", "observe", "study.csv", *given]) == 2
    assert capsys.readouterr().err.startswith(f"tapfall: {words}")


@pytest.fixture
def at_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with the sounds of a set; what its JSON says is put in by hand."""
    lesson = made.lesson()
    (tmp_path / "first").mkdir()
    for item, text in zip(lesson.items, made.sounds(lesson), strict=True):
        (tmp_path / "first" / item.file).write_bytes(base64.b64decode(text))

    def read_key(path: str) -> Key:
        if not Path(path).name.startswith(("first-key", "other")):
            raise InputError(f"{path}: found no such file; allowed a key")
        key = made.key(lesson)
        return replace(key, set_id="other") if "other" in path else key

    try:
        sets = importlib.import_module("tapfall.lesson.sets")
    except ModuleNotFoundError:
        sets = types.ModuleType("tapfall.lesson.sets")
        monkeypatch.setitem(sys.modules, "tapfall.lesson.sets", sets)
    monkeypatch.setattr(sets, "read_set", lambda _: lesson, raising=False)
    monkeypatch.setattr(sets, "read_key", read_key, raising=False)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("given", "mode", "holds"),
    [
        ([], "examine", False),
        (["--key", "missing.json"], "examine", False),
        (["--self-check"], "examine", True),
        (["--mode", "practise"], "practise", True),
        (["--mode", "learn", "--key", "first-key.json"], "learn", True),
    ],
)
def test_a_page_of_a_set(
    at_set: Path, capsys: Output, given: list[str], mode: str, holds: bool
) -> None:
    assert main(["lesson", "page", "first", "-o", "page.html", *given]) == 0
    told = "with the answers" if holds else "without any answer"
    assert re.search(
        rf"page\.html: 2 items, \d\.\d MB, mode {mode}, {told} in it\.", capsys.readouterr().out
    )
    data = data_of(at_set / "page.html")
    assert data["mode"] == mode
    assert ("key" in data) == holds
    assert made.SECRET not in json.dumps(data)


@pytest.mark.parametrize("made_by_us", [True, False])
def test_recordings_may_hold_speech(
    folder: Path, at_set: Path, simulated: Recording, capsys: Output, made_by_us: bool
) -> None:
    for name in ("item-01", "item-02"):
        sound = sound_bytes(
            np.tile(np.array([0, 3000], np.int16), 4000),
            4000,
            subtype="PCM_16",
            form="FLAC",
            simulated=made_by_us or name == "item-01",
        )
        (at_set / "first" / f"{name}.flac").write_bytes(sound)
    save(replace(simulated, simulated=made_by_us), "left.wav", "left.csv")
    told = words_of("en")[0]
    for given in (["first", "-o", "set.html"], ["--recordings", "study.csv", "-o", "obs.html"]):
        more = ["--observer", "a"] if "obs.html" in given else []
        assert main(["lesson", "page", *given, *more]) == 0
        said = " ".join(capsys.readouterr().out.split())
        page = html.unescape((at_set / given[-1]).read_text(encoding="utf-8"))
        for text in (said, page):
            assert (told["may_speak"] in text) is not made_by_us
        assert (told["simulated"] in page) is made_by_us


def test_a_set_whose_key_is_missing_or_another(at_set: Path, capsys: Output) -> None:
    given = ["lesson", "page", "first", "-o", "page.html", "--mode", "learn", "--key"]
    assert main([*given, "missing.json"]) == 2
    assert capsys.readouterr().err == (
        "tapfall: missing.json: found no such file; allowed a key (a page in mode learn that "
        "tells the answers needs them)\n"
    )
    assert main([*given, "other.json"]) == 2
    assert "other.json: found a key of the set 'other'" in capsys.readouterr().err
    assert not (at_set / "page.html").exists()


@pytest.mark.parametrize("given", [["--mode", "learn"], ["--mode", "practise"], ["--self-check"]])
def test_a_page_with_answers_is_kept_out_of_the_learners_folder(
    at_set: Path, capsys: Output, given: list[str]
) -> None:
    told = "found an output with the answers in the folder of the learners; allowed elsewhere\n"
    (at_set / "first" / "deeper").mkdir()
    (at_set / "link").symlink_to("first")
    for name in ("first/x.html", "first/deeper/x.html", "link/x.html"):
        assert main(["lesson", "page", "first", "-o", name, *given]) == 2
        assert capsys.readouterr().err == f"tapfall: {name}: {told}"
        assert not (at_set / name).exists()
    (at_set / "first" / "set.json").touch()
    assert main(["lesson", "page", "first/set.json", "-o", "first/x.html", *given]) == 2
    assert main(["lesson", "page", "first", "-o", "first/x.html", "--mode", "examine"]) == 0


def test_sounds_that_are_not_those_of_the_set(at_set: Path, capsys: Output) -> None:
    rate_hz = 4000
    soundfile.write(at_set / "first" / "item-02.flac", [0.1, 0.2] * rate_hz * 2, rate_hz)
    assert main(["lesson", "page", "first", "-o", "page.html"]) == 2
    assert capsys.readouterr().err == (
        "tapfall: first: 'item-02.flac': found 4.0 s of sound; allowed 2.0 s, as the set says\n"
    )
    (at_set / "first" / "item-02.flac").unlink()
    assert main(["lesson", "page", "first", "-o", "page.html"]) == 2
    assert "first: item-02: found 'item-02.flac': no such file" in capsys.readouterr().err
