"""Where options may stand on the command line."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.cli.options import _COMMANDS, _parser, parsed
from tapfall.cli.parser import Usage

Output = pytest.CaptureFixture[str]


@pytest.mark.parametrize(
    "given",
    [
        ["read", "arm.wav", "--json", "out.json", "arm.csv"],
        ["read", "--lag", "0", "arm.wav", "--diastolic", "k4", "arm.csv", "--json", "out.json"],
        ["check-device", "arm.wav", "--lag", "0", "arm.csv", "--json", "out.json"],
        ["visit", "arm.wav", "--arm", "left", "arm.csv", "--json", "out.json"],
    ],
)
def test_options_between_the_files(arm: Path, capsys: Output, given: list[str]) -> None:
    assert main(given) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "arm.wav" in out
    assert "arm.csv" in Path("out.json").read_text()


def test_options_between_the_files_of_a_replay(arm: Path, capsys: Output) -> None:
    assert main(["listen", "--replay", "arm.wav", "--diastolic", "k4", "arm.csv"]) == 0
    start = json.loads(capsys.readouterr().out.splitlines()[0])
    assert start["source"]["cuff_name"] == "arm.csv"
    assert start["settings"]["diastolic"] == "k4"


def test_options_between_a_set_and_its_ratings() -> None:
    args = parsed(["lesson", "rate", "set", "--key", "other.json", "sheet.csv"])
    assert (args.ratings, args.others) == (["sheet.csv"], ["other.json"])


def test_behind_two_dashes_a_name_may_begin_with_one() -> None:
    args = parsed(["read", "--lag", "1", "--", "-arm.wav", "-arm.csv"])
    assert (args.audio, args.cuff, args.lag) == ("-arm.wav", "-arm.csv", 1.0)


@pytest.mark.parametrize(
    ("given", "left"),
    [
        (["read", "a.wav", "--json", "o.json", "a.csv", "b.csv"], "b.csv"),
        (["read", "a.wav", "--bogus", "a.csv"], "--bogus a.csv"),
        (["check-device", "a.wav", "--bogus"], "--bogus"),
        (["visit", "a.json", "--bogus", "b.json"], "--bogus b.json"),
        (["lesson", "make", "more", "--grade", "1", "-o", "set"], "more"),
    ],
)
def test_what_is_left_over_is_named(given: list[str], left: str) -> None:
    with pytest.raises(Usage, match=f"unrecognized arguments: {left} .see tapfall {given[0]}"):
        parsed(given)


def test_files_without_a_replay(capsys: Output) -> None:
    assert main(["listen", "arm.wav"]) == 2
    assert "unrecognized arguments: arm.wav (see tapfall listen" in capsys.readouterr().err


def every_option(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """The options and files of a command, and of what it can do."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                yield from every_option(inner)
        else:
            yield action


@pytest.mark.parametrize("name", _COMMANDS)
def test_every_option_has_a_text_beside_its_default(name: str) -> None:
    (commands,) = (
        one for one in _parser(name)._actions if isinstance(one, argparse._SubParsersAction)
    )
    found = list(every_option(commands.choices[name]))
    assert found
    for one in found:
        assert re.sub(r"\(.*\)", "", one.help or "").strip(), one.dest


def test_the_help_of_read_tells_the_exit_codes(capsys: Output) -> None:
    assert main(["read", "--help"]) == 0
    assert "Exit codes: 0 done, 1 done but unreadable, 2 bad input" in capsys.readouterr().out
