"""README, examples and continuous integration do what they say."""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.ear.rises import SLOWEST_LOG_HZ
from tapfall.files import save
from tapfall.model import CAUTION
from tapfall.synth import load_builtin, simulate

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
EXAMPLES = sorted((ROOT / "examples").glob("*.py"))


def blocks(language: str) -> list[str]:
    """Fenced blocks of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


@pytest.fixture
def arm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder that the README's examples are run in: the demonstration's recording."""
    save(simulate(load_builtin("normal")).recording, tmp_path / "arm.wav", tmp_path / "arm.csv")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_table_of_the_readme_computes_something(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (table,) = blocks("csv-example")
    (tmp_path / "pairs.csv").write_text(table)
    assert main(["agree", str(tmp_path / "pairs.csv")]) == 0
    assert "Limits of agreement" in capsys.readouterr().out


def test_two_commands_for_a_fresh_machine() -> None:
    make = "python3 -m venv .venv && .venv/bin/pip install --quiet "
    assert blocks("sh") == [
        make + ". && .venv/bin/tapfall demo\n",
        make + "-e '.[test]' && .venv/bin/python -m pytest\n",
    ]


def test_continuous_integration_runs_the_command_of_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    (pattern,) = re.findall(r'grep -m1 -F "(.*)" README\.md', script)
    found = next(line for line in README.splitlines() if pattern in line)
    assert f"{found}\n" == blocks("sh")[1]
    assert script.rstrip().endswith('bash -c "$test_command"')
    assert "pytest" not in script
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_python_of_the_readme(arm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (code,) = blocks("python")
    assert len([line for line in code.splitlines() if line]) <= 5
    exec(compile(code, "README.md", "exec"), {})  # the readme's own lines
    systolic, diastolic, status = capsys.readouterr().out.split()
    assert float(systolic) > float(diastolic)
    assert status == "ok"


def form(text: str) -> list[str]:
    """Lines without what may change when the reader gets better: numbers and confidence."""
    text = re.sub(r"confidence \w+ \(.*?\)", "confidence", text)
    return re.sub(r" +", " ", re.sub(r"[\d.]+", "0", text)).split("\n")


def test_command_of_the_readme(arm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (command,) = (line for block in blocks("console") for line in block.splitlines())
    assert command.startswith("$ tapfall read ")
    assert main(shlex.split(command)[2:]) == 0
    (shown,) = blocks("text")
    assert form(capsys.readouterr().out) == form(shown)
    assert {"arm.json", "arm.png"} <= {path.name for path in arm.iterdir()}


def test_event_of_the_readme(arm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown = json.loads(next(one for one in blocks("json") if '"kind"' in one))
    main(["listen", "--replay", "arm.wav", "arm.csv"])
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [one for one in told if one.get("kind") == shown["kind"]] == [shown]


def test_log_of_the_readme(tmp_path: Path) -> None:
    from tapfall.files import read_cuff_log

    (text,) = blocks("csv")
    (tmp_path / "arm.csv").write_text(text)
    assert read_cuff_log(tmp_path / "arm.csv").pressure_mmhg.tolist() == [181.2, 181.1]


def test_options_of_the_readme(capsys: pytest.CaptureFixture[str]) -> None:
    main(["read", "--help"])
    known = set(re.findall(r"--[a-z-]+", capsys.readouterr().out)) - {"--help", "--debug"}
    table = "\n".join(line for line in README.splitlines() if line.startswith("| `--"))
    assert set(re.findall(r"--[a-z-]+", table)) == known


def test_the_readme_is_honest() -> None:
    flat = " ".join(README.split())
    assert CAUTION in flat
    for sentence in (
        "Accuracy is shown on simulated sounds, with real beat series and real background sound",
        "the confidence is calibrated to simulation",
        "no recording of real Korotkoff sounds with cuff pressure was available",
    ):
        assert sentence in flat


#: Headings of DEVELOPERS.md under which every module of a package stands in a table.
MAPS = {
    "ear": ("Inside the ear",),
    "device": ("Inside device",),
    "technique": ("How a reading was taken",),
    "visit": ("Inside visit",),
    "files": ("Inside files",),
    "synth": ("Inside synth",),
    "study": ("Inside study",),
    "study/agreement": ("Agreement with a reference",),
    "lesson": ("Inside lesson", "The listening page"),
    "show": ("Inside show",),
    "cli": ("Inside cli",),
}


@pytest.mark.parametrize("package", MAPS)
def test_every_module_is_on_the_map(package: str) -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    sections = [
        text.partition(f"\n## {title}\n")[2].partition("\n## ")[0] for title in MAPS[package]
    ]
    lines = "\n".join(sections).splitlines()
    rows = [line.split("|")[1] for line in lines if line.startswith("| `")]
    named = [name for row in rows for name in re.findall(r"`(\w+)`", row)]
    modules = {path.stem for path in (ROOT / "src" / "tapfall" / package).glob("*.py")}
    assert sorted(named) == sorted(modules - {"__init__"})


def test_every_package_has_a_map() -> None:
    home = ROOT / "src" / "tapfall"
    packages = {str(path.parent.relative_to(home)) for path in home.rglob("__init__.py")} - {"."}
    assert packages == set(MAPS)


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_files_and_modules_that_are_named_exist(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    paths = re.findall(r"\b(?:src|tests|examples|synth_fixtures|\.ci)/[\w./-]+\w", text)
    paths += [f"{name.replace('.', '/')}/" for name in re.findall(r"-m (tests\.\w+)", text)]
    assert paths
    for path in paths:
        place = ROOT / path.rstrip("/")
        assert place.exists() or place.with_suffix(".py").exists(), path


def test_there_are_examples() -> None:
    assert EXAMPLES


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_examples_run(path: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", str(path)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout
    # What names the temporary folder may be longer.
    assert all(len(line) <= 80 or "/tapfall-" in line for line in done.stdout.splitlines())


def run_example(name: str, *given: str) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, "-W", "error", str(ROOT / "examples" / name), *given],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    return done.returncode, done.stdout, done.stderr


def test_the_first_example_reads_files_that_it_is_given(arm: Path) -> None:
    code, out, err = run_example("read_one.py", "arm.wav", "arm.csv", "-o", ".")
    assert (code, err) == (0, "")
    assert out.splitlines()[-1] == "figure     arm.png"
    assert (arm / "arm.png").is_file()
    code, out, err = run_example("read_one.py", "arm.wav")
    assert (code, out) == (2, "")
    assert err.endswith("found AUDIO without CUFFLOG; allowed both or neither\n")
    code, out, err = run_example("read_one.py", "none.wav", "arm.csv")
    assert (code, out) == (2, "")
    assert err.startswith("read_one.py: none.wav: found no such file")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("given", "fault"),
    [
        (["--people", "0"], "argument --people: found '0'; allowed 1 to 1000"),
        (["--readings", "0"], "argument --readings: found '0'; allowed 1 to 1000"),
        (["--workers", "0"], "argument --workers: found '0'; allowed 1 to 1000"),
        (
            ["-o", "/proc/none"],
            "/proc/none: cannot be made a folder (No such file or directory); allowed a folder to "
            "write in",
        ),
    ],
)
def test_the_example_of_a_study_refuses_with_a_line(given: list[str], fault: str) -> None:
    code, out, err = run_example("study.py", *given)
    assert (code, out) == (2, "")
    assert err.splitlines()[-1].endswith(fault)
    assert "Traceback" not in err


@pytest.mark.parametrize("name", ["study.py", "device.py"])
def test_examples_help_and_do_nothing_else(name: str) -> None:
    code, out, err = run_example(name, "--help")
    assert (code, err) == (0, "")
    assert out.startswith(f"usage: {name}")
    assert max(map(len, out.splitlines())) <= 80
    options = re.findall(r"^  (-.*?)(?:  +(.*))?$", out, re.MULTILINE)
    assert all(text or "FOLDER" in name for name, text in options)
    assert run_example(name, "--bogus")[0] == 2


def test_the_example_of_a_device_says_that_it_is_none() -> None:
    code, out, _ = run_example("device.py")
    assert code == 0
    assert out.startswith("Simulated: ")


def test_the_contract_for_devices_tells_when_every_event_comes() -> None:
    from tapfall.events import EventKind

    page = (ROOT / "examples" / "DEVICE.md").read_text(encoding="utf-8")
    rows = [line.split("|")[1] for line in page.splitlines() if line.startswith("| `")]
    named = [name for row in rows for name in re.findall(r"`(\w+)`", row)]
    assert sorted(named) == sorted(EventKind)
    assert CAUTION in " ".join(page.split())


def test_one_rate_is_named_from_which_a_log_shows_the_pulse() -> None:
    words = {"six": 6, "seven": 7, "eight": 8}
    named = re.findall(r"(\w+) rows a\s+second or more", README)
    assert len(named) == 2
    assert {words.get(one.lower(), one) for one in named} <= {SLOWEST_LOG_HZ, f"{SLOWEST_LOG_HZ:g}"}
