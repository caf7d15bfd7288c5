"""Disks that are full, places that cannot be written, two at work in one folder.

Always one line, exit code 2, and nothing half-written left behind.  A full disk is played by
the system's own bound on the size of files: writing beyond it fails in the same place.
"""

from __future__ import annotations

import errno
import os
import re
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.errors import InputError
from tapfall.lesson import Order, folder, grade_of, make_set, read_key, read_set

Output = pytest.CaptureFixture[str]

#: Runs the program with files of so many bytes at most.
BOUNDED = (
    "import resource, sys\n"
    "most = int(sys.argv[1])\n"
    "resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))\n"
    "from tapfall.cli import main\n"
    "sys.exit(main(sys.argv[2:]))\n"
)
MANIFEST = "recording,subject,audio,cuff\nr1,p1,arm.wav,arm.csv\n"
PAIRS = "reference,estimate\n120,122\n130,131\n140,138\n150,155\n"


@pytest.fixture
def home(arm: Path) -> Path:
    """A recording, its reading, a manifest, pairs and a set."""
    assert main(["read", "arm.wav", "arm.csv", "--json", "arm.json"]) == 0
    (arm / "manifest.csv").write_text(MANIFEST)
    (arm / "pairs.csv").write_text(PAIRS)
    return arm


@pytest.fixture(scope="module")
def lesson(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a set of one item, its key beside it."""
    folder = tmp_path_factory.mktemp("lesson") / "set"
    make_set(Order(grade=grade_of("1"), count=1, seed=3), folder)
    return folder


def places(folder: Path) -> set[str]:
    """Every file and folder below a folder."""
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def on_a_full_disk(most: int, *argv: str) -> tuple[int, str]:
    """Exit code and standard error."""
    done = subprocess.run(
        [sys.executable, "-c", BOUNDED, str(most), *argv],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stderr


COMMANDS = {
    "figure": (1000, "read arm.wav arm.csv --figure new.png", "new.png", set()),
    "report": (20_000, "read arm.wav arm.csv --report new.html", "new.html", set()),
    "visit": (1000, "visit arm.json --json new.json", "new.json", set()),
    "visit, page": (1000, "visit arm.json --report new.html", "new.html", set()),
    "agree": (1000, "agree pairs.csv --json new.json", "new.json", set()),
    "agree, page": (1000, "agree pairs.csv --report new.html", "new.html", set()),
    "simulate": (1000, "simulate normal -o new", "new/normal-1.toml", {"new"}),
    "simulate, later": (100_000, "simulate normal -o new", "new/normal-1.wav", {"new"}),
    "demo": (1000, "demo new", "new/recording.toml", {"new"}),
    "lesson": (20_000, "lesson make --grade 1 --count 1 -o new", "new/item-01.flac", set()),
    "page": (20_000, "lesson page {set} -o new.html", "new.html", set()),
    "observer's page": (
        2000,
        "lesson page --recordings manifest.csv --observer O1 -o new.html",
        "new.html",
        set(),
    ),
    # What a study has written so far is kept: the same command goes on there.
    "study": (
        1000,
        "study manifest.csv -o new --workers 1",
        "new/readings/r1.json",
        {"new", "new/.tapfall-study.lock", "new/readings", "new/results.csv"},
    ),
}


@pytest.mark.parametrize("name", COMMANDS)
def test_a_full_disk(home: Path, lesson: Path, name: str) -> None:
    most, command, place, kept = COMMANDS[name]
    before = places(home)
    code, told = on_a_full_disk(most, *command.format(set=lesson).split())
    assert told == (
        f"tapfall: {place}: cannot be written (File too large); "
        "allowed a file in a writable folder\n"
    )
    assert code == 2
    assert places(home) - before == kept


@pytest.mark.parametrize("last", ["key.json", "key-sheet.pdf", "set.json"])
def test_a_set_whose_disk_fills_up_late_leaves_nothing(
    home: Path, last: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = Order(grade=grade_of("1"), count=1, seed=3)
    before = places(home)
    replace = Path.replace

    def filled(draft: Path, target: Path) -> Path:
        if target.name == last:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return replace(draft, target)

    with monkeypatch.context() as world, pytest.raises(InputError) as caught:
        world.setattr(Path, "replace", filled)
        make_set(order, home / "new", home / "key.json")
    assert "cannot be written (No space left on device)" in str(caught.value)
    assert places(home) == before
    # The same command works as soon as there is room.
    make_set(order, home / "new", home / "key.json")
    assert places(home) - before == {
        "new",
        "new/answer-sheet.pdf",
        "new/item-01.flac",
        "new/level.flac",
        "new/set.json",
        "key.json",
        "key-sheet.pdf",
    }


def test_what_others_put_into_the_folder_meanwhile_stays(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def meanwhile(
        rate_hz: float, loudest: float
    ) -> None:  # called once all sounds of the set are written
        assert (home / "new" / "item-01.flac").exists()
        (home / "new" / "note.txt").write_text("mine")
        raise KeyboardInterrupt

    monkeypatch.setattr(folder, "level_tones", meanwhile)
    with pytest.raises(KeyboardInterrupt):
        make_set(Order(grade=grade_of("1"), count=1, seed=3), home / "new")
    assert places(home / "new") == {"note.txt"}


def test_an_observers_key_goes_with_its_page(home: Path) -> None:
    command = ["lesson", "page", "--recordings", "manifest.csv", "--observer", "O1"]
    assert main([*command, "-o", "new.html"]) == 0
    before = {name: (home / name).read_bytes() for name in ("new.html", "new-key.json")}
    code, _ = on_a_full_disk(2000, *command, "-o", "new.html")
    assert code == 2
    assert {name: (home / name).read_bytes() for name in before} == before


#: Commands with a folder or file that cannot be made, whoever asks.
NOWHERE = [
    "read arm.wav arm.csv --json {}.json",
    "visit arm.json --json {}.json",
    "agree pairs.csv --report {}.html",
    "study manifest.csv -o {} --workers 1",
    "simulate normal -o {}",
    "demo {}",
    "lesson make --grade 1 --count 1 -o {}",
    "lesson page {set} -o {}.html",
]


@pytest.mark.parametrize("command", NOWHERE)
@pytest.mark.parametrize("place", ["arm.csv/new", "/proc/new"])
def test_a_place_that_cannot_be_written(
    home: Path, lesson: Path, command: str, place: str, capsys: Output
) -> None:
    before = places(home)
    words = [word.replace("{set}", str(lesson)).replace("{}", place) for word in command.split()]
    capsys.readouterr()
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith(f"tapfall: {place}")
    assert "; allowed a f" in err
    assert places(home) == before


#: Inputs that would wait for ever, or for nothing.
PIPES = [
    "visit pipe.json",
    "agree pipe.csv",
    "study pipe.csv -o new",
    "lesson page pipe -o new.html",
    "lesson page --recordings pipe.csv --observer O1 -o new.html",
    "lesson mark {set}-key.json pipe.json",
    "lesson mark pipe.json pipe.json",
    "simulate pipe.toml -o new",
]


@pytest.mark.parametrize("command", PIPES)
def test_a_pipe_that_nobody_fills_is_not_waited_for(
    arm: Path, lesson: Path, command: str, capsys: Output
) -> None:
    for suffix in ("", ".json", ".csv", ".toml"):
        os.mkfifo(arm / f"pipe{suffix}")
    assert main(command.format(set=lesson).split()) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("tapfall: pipe")
    assert err.count("\n") == 1


@pytest.mark.parametrize("command", PIPES)
def test_a_link_round_in_circles(arm: Path, lesson: Path, command: str, capsys: Output) -> None:
    for suffix in ("", ".json", ".csv", ".toml"):
        (arm / f"pipe{suffix}").symlink_to(f"pipe{suffix}")
    assert main(command.format(set=lesson).split()) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("tapfall: pipe")
    assert err.count("\n") == 1


def test_of_two_sets_made_in_one_folder_one_is_whole(tmp_path: Path) -> None:
    folder, met = tmp_path / "set", threading.Barrier(2)
    faults: list[InputError] = []

    def make(seed: int) -> None:
        met.wait(10.0)
        try:
            make_set(Order(grade=grade_of("1"), count=1, seed=seed), folder)
        except InputError as fault:
            faults.append(fault)

    both = [threading.Thread(target=make, args=(seed,)) for seed in (3, 4)]
    for one in both:
        one.start()
    for one in both:
        one.join(60.0)
    (fault,) = faults
    held = r" \(\.making, of a run that goes on or was cut off\)"  # unless the other is done
    told = rf"set: found a folder that holds something({held})?; allowed a new or empty one$"
    assert re.search(told, str(fault))
    assert read_set(folder).set_id == read_key(tmp_path / "set-key.json").set_id
    assert places(folder) == {"answer-sheet.pdf", "item-01.flac", "level.flac", "set.json"}


def test_a_set_that_is_being_made_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "set"
    order = Order(grade=grade_of("1"), count=2, seed=3)
    refused: list[str] = []

    def meanwhile(done: int) -> None:
        with pytest.raises(InputError) as caught:
            make_set(order, folder)
        refused.append(str(caught.value))

    make_set(order, folder, told=meanwhile)
    assert len(refused) == 2
    assert all("found a folder that holds something" in one for one in refused)
    assert len(read_set(folder).items) == 2
