"""The page of a reading: what it says, what it keeps out, and that it stands by itself."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from tapfall import __version__
from tapfall.cli import main
from tapfall.errors import InputError
from tapfall.files import save
from tapfall.model import (
    CAUTION,
    FLAG_SENTENCES,
    REASON_SENTENCES,
    Finding,
    FindingState,
    Flag,
    Reading,
    Reason,
    Recording,
    Rule,
    Settings,
    Source,
    State,
    Threshold,
)
from tapfall.show import account, playback
from tapfall.show.inline import element
from tapfall.show.part import part_of
from tapfall.show.report import MEANING, PROOF, report_html, write_report
from tapfall.show.rows import beat_rows
from tests.show import made

SOURCE = Source(
    audio_name="arm.wav", audio_sha256="0a" * 32, cuff_name="arm.csv", cuff_sha256="1b" * 32
)
#: What a page may load from nowhere but itself.
LOADS = {"src", "srcset", "href", "poster", "data", "action", "formaction", "background", "style"}


class Page(HTMLParser):
    """Tags with their attributes, and the text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.inside: list[str] = []
        self.feed(text)
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.inside and self.inside.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not {"style", "svg"} & set(self.inside):
            self.words.append(data)

    def all(self, name: str) -> list[dict[str, str]]:
        return [attributes for tag, attributes in self.tags if tag == name]


def exact(reading: Reading, recording: Recording) -> Reading:
    """The reading with its thresholds at times and pressures of beats, as the ear gives them."""
    first = next(one for one in reading.beats if one.heard >= 0.8)
    last = [one for one in reading.beats if one.heard >= 0.8][-1]
    moved = {
        first: replace(first, cuff_mmhg=reading.systolic.mmhg),
        last: replace(last, cuff_mmhg=reading.diastolic.mmhg),
    }
    return replace(
        reading,
        beats=tuple(moved.get(beat, beat) for beat in reading.beats),
        systolic=replace(reading.systolic, time_s=first.time_s),
        diastolic=replace(reading.diastolic, time_s=last.time_s),
    )


@pytest.fixture(scope="module")
def recording() -> Recording:
    return replace(made.recording(lag_s=0.4), source=SOURCE)


@pytest.fixture(scope="module")
def page(recording: Recording) -> str:
    return report_html(recording, exact(made.ordinary(), recording), Settings(manometer_mmhg=3.0))


@pytest.fixture(scope="module")
def parsed(page: str) -> Page:
    return Page(page)


def test_it_says_the_values_and_the_cautions(parsed: Page) -> None:
    for sentence in (
        "127/83 mmHg",
        "both pressures were observed and nothing asks for a person",
        "Systolic 127 mmHg 126 to 130 0.97 first sound, K1",
        "Diastolic 83 mmHg 80 to 83 0.93 last sound, K5",
        "Pulse 71 per minute",
        FLAG_SENTENCES[Flag.LAG_CORRECTED],
        CAUTION,
        MEANING,
        PROOF,
        "The recording may hold speech.",
        "Turn the volume down before you press play, above all with headphones,",
    ):
        assert sentence in parsed.text


def test_it_tells_which_beats_decided_and_what_lies_around(parsed: Page) -> None:
    for sentence in (
        "Systolic 127 mmHg: the first beat that sounds and whose next beat sounds too "
        "(beat 21, at 26.6 s and 127 mmHg, heard with probability 0.97).",
        "Above it: 20 beats from 169 to 128 mmHg, all silent.",
        "The pressure at which the sounds begin lies between 126 and 130 mmHg with a "
        "probability of 95 %.",
        "(beat 41, at 43.6 s and 83 mmHg, heard with probability 0.97).",
        "Between the two: 19 beats from 124 to 86 mmHg, all sound.",
        "Below it: 5 beats from 81 to 73 mmHg: 3 silent, 2 unsure.",
        "The log's times are 0.40 s late (found; 0.30 to 0.50 s)",
        "The manometer's stated error of ±3 mmHg is not in the ranges",
        "The muffling (K4) is at 91 mmHg.",
    ):
        assert sentence in parsed.text


def test_the_beats_stand_in_a_table(parsed: Page) -> None:
    assert "21 26.60 127.4 sounds (0.97) K1 systolic" in parsed.text
    assert "42 44.45 81.4 unsure (0.45) silent" in parsed.text
    rows = [attributes for tag, attributes in parsed.tags if tag == "tr"]
    assert sum("read" in row.get("class", "") for row in rows) == 2


def test_it_tells_where_it_comes_from(parsed: Page) -> None:
    for fact in (
        f"tapfall {__version__}",
        "arm.wav",
        "0a" * 32,
        "arm.csv",
        "1b" * 32,
        "56.0 s of sound at 4000 Hz, 1120 rows of cuff pressure",
        "diastolic at last sound, K5; lag estimated; manometer's error ±3 mmHg",
    ):
        assert fact in parsed.text


@pytest.mark.parametrize(
    ("reading", "sentences"),
    [
        (
            made.with_gap(),
            [
                "Silent gap 116 to 100 mmHg 114 to 118 and 99 to 102 0.88",
                "Silent gap from 116 mmHg, the last sound above it (114 to 118 with 95 %), down "
                "to 100 mmHg, the first sound below it (99 to 102); confidence 0.88.",
            ],
        ),
        (
            made.bounded(),
            [
                "At least 167 / at most 72 mmHg",
                "Systolic at least 167 mmHg, the highest pressure with a sound: "
                + REASON_SENTENCES[Reason.SOUNDS_FROM_TOP],
                "Diastolic at most 72 mmHg, the lowest pressure with a sound: ",
                FLAG_SENTENCES[Flag.DIASTOLIC_NOT_REACHED],
                "a person should listen and decide",
            ],
        ),
        (
            made.to_zero(),
            [
                "127/91/0 mmHg",
                "the sounds go on to zero, so it is where they muffle",
                "The pressure at which the sounds muffle lies between 86 and 95 mmHg",
            ],
        ),
        (
            made.unreadable(),
            [
                "Unreadable",
                "No value is given: none was observed.",
                "No sounds in step with the heart were found while the cuff fell.",
                "No systolic is given.",
                "No beats were found.",
            ],
        ),
        (
            replace(
                made.ordinary(),
                systolic=Threshold(state=State.UNDETERMINED, reason=Reason.TOO_UNCERTAIN),
            ),
            [
                "Systolic not determined",
                "No systolic is given: several values explain the sounds about equally well.",
                "Systolic: several values explain the sounds about equally well.",
            ],
        ),
        (
            replace(made.ordinary(), systolic=replace(made.ordinary().systolic, mmhg=190.0)),
            ["Very high (above 180 or 120 mmHg): repeat after a few minutes"],
        ),
    ],
    ids=["gap", "bounded", "zero", "unreadable", "undetermined", "high"],
)
def test_every_kind_of_reading(recording, reading, sentences) -> None:
    text = Page(report_html(recording, reading)).text
    for sentence in (*sentences, CAUTION):
        assert sentence in text


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (Rule.FIRST_SILENCE, "the first beat without a sound after the last one with, as asked"),
        (Rule.K4, "where the sounds muffle, as asked for"),
    ],
)
def test_the_rule_of_the_diastolic_is_said(rule: Rule, words: str) -> None:
    reading = made.ordinary()
    reading = replace(reading, diastolic=replace(reading.diastolic, rule=rule))
    assert words in " ".join(account.diastolic_account(reading))


def test_a_value_between_two_beats_is_told_as_one() -> None:
    reading = exact(made.ordinary(), made.recording())
    index = account.deciding_beat(reading, reading.systolic)
    assert index is not None
    assert not account.lies_between(reading, reading.systolic)
    beat = reading.beats[index]
    between = replace(reading.systolic, mmhg=beat.cuff_mmhg + 2.6)
    told = account.systolic_account(replace(reading, systolic=between))[0]
    assert told.startswith(f"Systolic {beat.cuff_mmhg + 2.6:.0f} mmHg: between the beats that may")
    assert f"the likeliest (beat {index + 1}, at {beat.time_s:.1f} s" in told
    rows = list(beat_rows(replace(reading, systolic=between)))
    assert rows[index].read_here == "systolic, likeliest"
    assert list(beat_rows(reading))[index].read_here == "systolic"


def test_alternating_beats_follow_their_own_rule() -> None:
    reading = replace(made.ordinary(), flags=(Flag.ALTERNATING,))
    assert "on every second beat at first" in account.systolic_account(reading)[0]


def test_a_time_without_a_beat_decides_nothing() -> None:
    reading = made.ordinary()
    away = replace(reading.systolic, time_s=26.2)
    assert account.deciding_beat(reading, away) is None
    assert not any("Above it" in told for told in account.systolic_account(reading))


def finding(state: FindingState, check: str, **more: str | None) -> Finding:
    fields = {"found": "6", "expected": "2 to 3", "unit": "mmHg/s", "source": "our choice"}
    return Finding(check=check, state=state, **(fields | more))


def test_the_technique_is_told_faults_first(recording: Recording) -> None:
    reading = replace(
        made.ordinary(),
        technique=(
            finding(FindingState.OK, "zero"),
            finding(FindingState.UNKNOWN, "arm", found="not stated"),
            finding(FindingState.FAULT, "deflation", bias="systolic too low"),
        ),
    )
    text = Page(report_html(recording, reading)).text
    assert "deflation fault 6 2 to 3 mmHg/s systolic too low our choice zero ok" in text
    assert "arm not known not stated 2 to 3 mmHg/s \N{EN DASH} our choice" in text
    assert "Of 3 checks: 1 fault, 1 ok, 1 not known." in text


def test_without_checks_it_says_so(parsed: Page) -> None:
    assert "This reading holds no check of the technique." in parsed.text


def test_a_simulated_recording_is_called_so(recording: Recording, parsed: Page) -> None:
    text = Page(report_html(replace(recording, simulated=True), made.ordinary())).text
    assert "no person was measured" in text
    assert "no person was measured" not in parsed.text


HOSTILE = "\x1b[2J<img src=x onerror=alert(1)>\"'></title><script>alert(2)</script>\u202e{{ 7*7 }}"


@pytest.fixture(scope="module")
def hostile(recording: Recording) -> str:
    source = Source(
        audio_name=f"../../etc/{HOSTILE}.wav",
        audio_sha256=HOSTILE,
        cuff_name=f"http://evil.example/{HOSTILE}\n\ud800",
        cuff_sha256="</code><iframe src='http://evil.example'>",
    )
    reading = replace(
        made.ordinary(),
        technique=(
            Finding(
                check=HOSTILE,
                state=FindingState.FAULT,
                found=HOSTILE,
                expected=HOSTILE,
                unit=HOSTILE,
                source=HOSTILE,
                bias=HOSTILE,
            ),
        ),
    )
    return report_html(replace(recording, source=source), reading)


def test_hostile_names_make_no_markup(hostile: str, page: str) -> None:
    allowed = {tag for tag, _ in Page(page).tags}
    tags = Page(hostile).tags
    assert {tag for tag, _ in tags} <= allowed | {"td", "th"}
    assert not any(name.startswith("on") for _, attributes in tags for name in attributes)
    assert len([1 for tag, _ in tags if tag == "title"]) == 1


def test_hostile_names_are_shown_as_they_are_written(hostile: str) -> None:
    text = Page(hostile).text
    assert "\\x1b[2J<img src=x onerror=alert(1)>" in text
    assert "\\u202e{{ 7*7 }}" in text
    assert "../../etc/" in text


def test_no_control_character_reaches_the_page(hostile: str) -> None:
    assert not [ch for ch in hostile if not ch.isprintable() and ch != "\n"]
    hostile.encode("utf-8")


def test_hostile_names_are_nobodys_path(recording: Recording, tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    source = replace(SOURCE, audio_name="../outside.html", cuff_name="/tmp/outside.html")
    write_report(inner / "a.html", replace(recording, source=source), made.ordinary())
    assert [path.name for path in tmp_path.rglob("*")] == ["inner", "a.html"]


def test_only_the_figure_is_not_escaped() -> None:
    templates = Path(playback.__file__).parent / "templates"
    text = "\n".join(path.read_text(encoding="utf-8") for path in templates.glob("*.j2"))
    # One in the page of a reading, of an agreement, of a visit, and of a study's table.
    found = re.findall(r"\{\{[^}]*\|\s*safe[^}]*\}\}", text)
    assert sorted(found) == [
        "{{ figure|safe }}",
        *["{{ part.figure|safe }}"] * 2,
        "{{ table.figure|safe }}",
    ]
    assert "autoescape" not in text


def addresses(parsed: Page) -> Iterator[str]:
    for tag, attributes in parsed.tags:
        for name, value in attributes.items():
            if name in LOADS and not (tag == "a" and value.startswith("#")):
                yield value


def test_nothing_is_loaded_from_elsewhere(page: str, parsed: Page) -> None:
    found = list(addresses(parsed))
    assert any(value.startswith("data:audio/wav") for value in found)
    assert any(value.startswith("data:image/png") for value in found)
    for value in found:
        if not value.startswith(("data:image/png;base64,", "data:audio/wav;base64,", "#")):
            assert "://" not in value
            assert re.findall(r"url\(\s*[^#]", value) == []
    assert re.search(r"https?:", page) is None
    assert not {"script", "link", "iframe", "object", "embed", "base", "form"} & {
        tag for tag, _ in parsed.tags
    }
    (policy,) = [one for one in parsed.all("meta") if "http-equiv" in one]
    assert policy["content"].startswith("default-src 'none'; ")
    assert "script-src" not in policy["content"]


def test_ids_are_told_apart_and_found(page: str, parsed: Page) -> None:
    ids = [attributes["id"] for _, attributes in parsed.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    used = re.findall(r'(?:href|xlink:href)="#([^"]+)"|url\(#([^)]+)\)', page)
    used += [(name, "") for name in re.findall(r'aria-(?:labelledby|describedby)="([^"]+)"', page)]
    assert used
    assert {one or other for one, other in used} <= set(ids)


def test_two_readings_can_share_a_page(recording: Recording) -> None:
    parts = [
        part_of(recording, made.ordinary(), Settings(), prefix=prefix) for prefix in ("a-", "b-")
    ]
    ids = [set(re.findall(r'\bid="([^"]+)"', part.figure)) for part in parts]
    assert ids[0]
    assert not ids[0] & ids[1]


def test_headings_tables_and_landmarks(parsed: Page) -> None:
    tags = [tag for tag, _ in parsed.tags]
    assert parsed.all("html") == [{"lang": "en", "class": "roomy"}]
    for landmark in ("header", "nav", "main", "footer", "h1"):
        assert tags.count(landmark) == 1
    assert tags.count("caption") == tags.count("table") == 2
    assert all(one["scope"] in ("col", "row") for one in parsed.all("th"))
    levels = [int(tag[1]) for tag in tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_the_figure_says_what_it_shows(parsed: Page) -> None:
    (svg,) = parsed.all("svg")
    assert svg["role"] == "img"
    for words in (
        "waveform, spectrogram, phases of the beats, and cuff pressure",
        "46 beats from 169 to 73 mmHg: 21 sound, 23 silent, 2 unsure.",
        "the phases are silent, K1, K2, K3, K4, silent.",
        "Lines mark systolic 127 mmHg and diastolic 83 mmHg.",
    ):
        assert words in svg["aria-label"]


def test_the_figure_keeps_its_references() -> None:
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
        '<path id="a"/><use xlink:href="#a" style="clip-path: url(#c)"/>'
        '<image xlink:href="data:image/png;base64,\nAA\nBB"/></svg>'
    )
    turned = element(svg, "x-", 'a "b"')
    assert '<path id="x-a" />' in turned
    assert '<use href="#x-a" style="clip-path: url(#x-c)" />' in turned
    assert 'href="data:image/png;base64,AABB"' in turned
    assert 'aria-label="a &quot;b&quot;"' in turned


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("scheme", [0, 1, 2], ids=["light", "dark", "print"])
def test_every_tone_of_text_can_be_read(page: str, scheme: int) -> None:
    blocks = re.findall(r":root \{(.*?)\}", page, re.DOTALL)
    tones = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", blocks[scheme]))
    for ground in ("paper", "ask-ground"):
        for tone in ("ink", "slate", "link", "ask"):
            light, dark = sorted((luminance(tones[ground]), luminance(tones[tone])), reverse=True)
            assert (light + 0.05) / (dark + 0.05) >= 4.5, (ground, tone)


def test_equal_readings_are_equal_pages(recording: Recording, page: str) -> None:
    again = exact(made.ordinary(), recording)
    assert report_html(recording, again, Settings(manometer_mmhg=3.0)) == page


def test_an_older_report_is_replaced_and_nothing_else_is_left(recording, tmp_path) -> None:
    (tmp_path / "a.html").write_text("old")
    write_report(tmp_path / "a.html", recording, made.ordinary())
    assert [path.name for path in tmp_path.iterdir()] == ["a.html"]
    assert (tmp_path / "a.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>\n")


def test_a_missing_folder_is_named(recording, tmp_path) -> None:
    with pytest.raises(InputError, match=r"nowhere.*cannot be written"):
        write_report(tmp_path / "nowhere" / "a.html", recording, made.ordinary())


def test_an_ordinary_page_is_small(page: str) -> None:
    assert 200_000 < len(page.encode("utf-8")) < 2_500_000


# On the command line.


@pytest.fixture
def arm(recording: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    short = replace(recording, samples=recording.samples[: int(54 * recording.rate_hz)])
    save(short, tmp_path / "arm.wav", tmp_path / "arm.csv")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_command_writes_it(arm: Path, capsys) -> None:
    argv = ["read", "arm.wav", "arm.csv", "--diastolic", "first-silence", "--report", "arm.HTML"]
    assert main(argv) in (0, 1)
    assert capsys.readouterr().err == ""
    text = Page(Path("arm.HTML").read_text(encoding="utf-8")).text
    assert "arm.wav" in text
    assert "Settings diastolic at first silence;" in text


@pytest.mark.parametrize(
    ("argv", "text"),
    [
        (["--report", "o.pdf"], "--report: found o.pdf; allowed a name that ends in .html"),
        (["--report", "-"], "--report: found -; allowed a name that ends in .html"),
        (["--report", ""], "--report: found ''; allowed a name that ends in .html"),
        (
            ["--json", "o.html", "--report", "./o.html"],
            "o.html: found two outputs under one name; allowed a name for each",
        ),
        (
            ["--figure", "link.png", "--report", "o.html"],
            "link.png: found two outputs under one name; allowed a name for each",
        ),
        (
            ["--report", "none/o.html"],
            "none/o.html: cannot be written (No such file or directory); "
            "allowed a file in a writable folder",
        ),
    ],
)
def test_names_that_are_refused(arm: Path, capsys, argv: list[str], text: str) -> None:
    (arm / "link.png").symlink_to("o.html")
    assert main(["read", "arm.wav", "arm.csv", *argv]) == 2
    assert capsys.readouterr().err == f"tapfall: {text}\n"


def test_the_input_is_never_overwritten(arm: Path, capsys) -> None:
    (arm / "arm.csv").rename(arm / "log.html")
    assert main(["read", "arm.wav", "log.html", "--report", "log.html"]) == 2
    assert "found an input" in capsys.readouterr().err
