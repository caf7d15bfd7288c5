"""What stands in a listening page, and what does not."""

from __future__ import annotations

import base64
import hashlib
import html
import io
import json
import re
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
import soundfile

from tapfall.errors import InputError, SettingError
from tapfall.lesson import page as page_module
from tapfall.lesson.face import POINTERS
from tapfall.lesson.nouns import Dial, Mode
from tapfall.lesson.page import Choices, page_html
from tapfall.lesson.sound import STEPS, TONE_LOUD, at_page_rate, packed
from tapfall.lesson.texts import RULES, languages, words_of
from tapfall.model import CAUTION
from tapfall.show.playback import RATE_HZ
from tests.lesson import made

SET = made.lesson()
KEY = made.key(SET)


def page_of(choices: Choices | None = None, **changes: object) -> str:
    lesson = replace(SET, **changes)
    return page_html(lesson, made.sounds(lesson), choices or Choices())


def data_of(page: str) -> dict[str, object]:
    (text,) = re.findall(r'<script type="application/json" id="set">(.*?)</script>', page, re.S)
    return json.loads(text)


def test_an_examination_holds_no_answer() -> None:
    page = page_of()
    data = data_of(page)
    assert set(data) == {"set_id", "mode", "replays", "learner", "words", "tone", "dial", "items"}
    assert {name for item in data["items"] for name in item} == {
        "name",
        "seconds",
        "step_s",
        "mmhg",
    }
    assert [item["name"] for item in data["items"]] == ["item-01", "item-02"]
    # Sound is letters by chance: it is looked at apart.
    sound_or_style = r'<script type="text/plain".*?</script>|<style>.*?</style>'
    plain = re.sub(sound_or_style, "", page, flags=re.S)
    for name in RULES:  # what counts is told to everybody
        assert plain.count(words_of("en")[0][name]) == 2
        plain = plain.replace(words_of("en")[0][name], "")
    for word in ("habit", "rounds", "offset", "beats", "K1", "gap", "muffled"):
        assert not re.search(rf"(?<![a-z]){word}(?![a-z])", plain), word
    for item in data["items"]:
        del item["mmhg"]
    for number in (made.SECRET, "123", "77", "130", "84", "7.0", "88", "95"):
        assert number not in json.dumps(data), number
    # Nor does anything in it hang on the key: no code of it, no hash.
    assert "feedback = (" not in page
    hashes = set(re.findall(r"sha256-[\w+/=]+", page))
    inside = re.findall(r"<script>(.*?)</script>|<style>(.*?)</style>", page, re.S)
    own = {
        "sha256-" + base64.b64encode(hashlib.sha256("".join(one).encode()).digest()).decode()
        for one in inside
    }
    assert hashes == own


def test_the_same_page_whatever_the_key() -> None:
    assert page_of(Choices(mode=Mode.EXAMINE)) == page_of()
    assert page_of(Choices(key=KEY)) != page_of()


@pytest.mark.parametrize("mode", [Mode.LEARN, Mode.PRACTISE])
def test_learning_needs_the_key(mode: Mode) -> None:
    with pytest.raises(SettingError, match=rf"found mode {mode} without a key; allowed"):
        page_of(Choices(mode=mode))
    page = page_of(Choices(mode=mode, key=KEY))
    assert "This page contains the answers." in page
    (first, _) = data_of(page)["key"]
    # As the dial shows it: its displaced zero included.
    assert (first["systolic"], first["diastolic"], first["k4"]) == (130.4, 84.7, 95.8)
    assert first["gaps"] == [[118.1, 106.9]]
    assert made.SECRET not in page


@pytest.mark.parametrize("language", languages())
def test_the_two_values_on_the_dial_are_told_apart_by_shape_and_name(language: str) -> None:
    page = page_of(Choices(mode=Mode.LEARN, key=KEY, language=language))
    _, run = words_of(language)
    shapes = {}
    for name in ("systolic", "diastolic"):
        on_dial, in_key = re.findall(rf'class="pointer {name}" d="([^"]+)"', page)
        assert on_dial == in_key
        shapes[name] = on_dial
        assert re.search(rf'id="{name}-pointer" hidden>.*</svg> {run[name]}</span>', page)
    assert shapes["systolic"] != shapes["diastolic"]
    assert "pointer systolic" not in page_of()


@pytest.mark.parametrize(
    ("change", "words"),
    [({"set_id": "set-8"}, "the set 'set-8'; allowed that of 'set-7'"), ({"items": ()}, "0 items")],
)
def test_the_key_of_another_set(change: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=f"found a key of {words}"):
        page_of(Choices(key=replace(KEY, **change)))


def test_everything_is_escaped() -> None:
    evil = '"></script><script>alert(1)</script><!--'
    item = replace(SET.items[0], name=evil)
    choices = Choices(observer=evil)
    page = page_of(choices, set_id=evil, items=(item,))
    assert "alert(1)</script>" not in page
    assert html.escape(evil, quote=False).replace('"', "&#34;") in page
    assert data_of(page)["set_id"] == evil
    assert data_of(page)["items"][0]["name"] == evil


def test_only_its_own_script_and_style_are_not_escaped() -> None:
    folder = files("tapfall.lesson") / "templates"
    text = (folder / "page.html.j2").read_text(encoding="utf-8")
    assert re.findall(r"\{\{[^}]*\|\s*safe[^}]*\}\}", text) == [
        "{{ style|safe }}",
        "{{ script|safe }}",
    ]
    for name in (*[f"{part}.js" for part in page_module._PARTS], "style.css"):
        assert "</" not in (folder / name).read_text(encoding="utf-8"), name


def test_it_may_load_nothing() -> None:
    page = page_of()
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]*)"', page)
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    assert rules.pop("default-src") == "'none'"
    assert set(rules) == {"script-src", "style-src", "base-uri", "form-action"}
    assert all(rule == "'none'" or rule.startswith("'sha256-") for rule in rules.values())
    assert re.findall(r"\b(?:src|href)=\"([^#][^\"]*)", page) == []
    script = re.findall(r"<script>(.*?)</script>", page, re.S)[0]
    for word in ("fetch(", "XMLHttpRequest", "WebSocket", "sendBeacon", "import(", "eval("):
        assert word not in script


@pytest.mark.parametrize("language", languages())
def test_what_every_page_says(language: str) -> None:
    words, _ = words_of(language)
    page = page_of(Choices(language=language))
    text = html.unescape(page)
    assert f'<html lang="{language}">' in page
    for name in ("caution", "simulated", "honest", "headphones", "random_zero", "mode_examine"):
        assert words[name] in text
    # The caution stands there once, in the language of the page.
    assert text.count(words["caution"]) == 1
    assert (CAUTION in text) is (language == "en")
    assert words["may_speak"] not in text
    real = html.unescape(page_of(Choices(language=language, simulated=False)))
    assert words["simulated"] not in real
    assert words["may_speak"] in real
    plain = html.unescape(page_of(Choices(language=language), random_zero=False))
    assert words["random_zero"] not in plain


def test_the_caution_is_that_of_the_house() -> None:
    assert words_of("en")[0]["caution"] == CAUTION


@pytest.mark.parametrize("language", languages())
def test_each_language_has_every_word_and_every_gap(language: str) -> None:
    for mine, theirs in zip(words_of(language), words_of("en"), strict=True):
        assert set(mine) == set(theirs)
        for name, text in mine.items():
            assert text.strip() == text != ""
            assert sorted(re.findall(r"\{\w+\}", text)) == sorted(
                re.findall(r"\{\w+\}", theirs[name])
            ), name


@pytest.mark.parametrize("language", languages())
def test_a_help_names_its_button(language: str) -> None:
    words, _ = words_of(language)
    assert words["mark"] in words["mark_help"]
    assert words["tell_help"].startswith(f"{words['tell']}: ")


def test_every_word_is_used_and_every_used_word_is_there() -> None:
    folder = files("tapfall.lesson") / "templates"
    markup = (folder / "page.html.j2").read_text(encoding="utf-8")
    script = "".join(
        (folder / f"{part}.js").read_text(encoding="utf-8") for part in page_module._PARTS
    )
    page, run = words_of("en")
    used = set(re.findall(r"words\.(\w+)", markup)) | {"systolic", "diastolic"}
    used |= {"title", "title_observe", "mode_observe", *(f"mode_{mode}" for mode in Mode), *RULES}
    assert used == set(page)
    assert {name for name in run if f'"{name}"' not in script} == set()
    assert set(re.findall(r'words_of\("(\w+)"', script)) <= set(run)


def test_a_language_that_is_not_there() -> None:
    with pytest.raises(SettingError, match=r"--language: found 'xx'; allowed en, de"):
        page_of(Choices(language="xx"))


def test_the_sound_is_small_named_by_nothing_and_never_too_loud() -> None:
    time_s = np.arange(4000 * 3) / 4000
    sound = at_page_rate((30000 * np.sin(300 * time_s)).astype(np.int16), 4000)
    assert sound.size == 3 * RATE_HZ
    data = base64.b64decode(packed(sound, 0.0))
    assert re.findall(rb"TITLE|DATE|ARTIST|COMMENT", data) == []
    with soundfile.SoundFile(io.BytesIO(data)) as track:
        assert (track.format, track.samplerate, track.channels) == ("FLAC", RATE_HZ, 1)
        held = track.read(dtype="float64")
    assert np.abs(held).max() <= TONE_LOUD
    assert np.abs(held).max() > 0.9 * TONE_LOUD
    assert np.all(held * STEPS == np.round(held * STEPS))


def test_ten_items_of_a_minute_and_a_half_stay_below_8_mb() -> None:
    # Noise as loud as the loudest sounds: no real sound packs worse.
    rng = np.random.default_rng(5)
    noise = rng.normal(size=90 * RATE_HZ).astype(np.float32)
    spectrum = np.fft.rfft(noise)
    spectrum[np.fft.rfftfreq(noise.size, 1 / RATE_HZ) > 2000.0] = 0.0  # of a 4 kHz recording
    noise = np.fft.irfft(spectrum).astype(np.float32)
    text = packed(0.03 * noise / noise.std(), 0.0)
    assert 10 * len(text) < 7_800_000


def test_a_covered_needle_is_null() -> None:
    item = replace(SET.items[0], dial=Dial(step_s=0.05, mmhg=(None, 31.25, None)))
    assert data_of(page_of(items=(item,)))["items"][0]["mmhg"] == [None, 31.2, None]


def test_the_systolic_pointer_is_long_and_points_inwards() -> None:
    parts = re.split("[MLZ]", POINTERS["systolic"])
    corners = [tuple(map(float, one.split())) for one in parts if one]
    (tip, low), (left, high), (right, other) = corners
    assert (tip, left, other) == (0.0, -right, high)
    assert low - high > 2.0 * (right - left)
    boxes = re.findall(r'<svg viewBox="(-\d+ -\d+ \d+ \d+)"', page_of(Choices(key=KEY)))
    (box,) = set(boxes) - {"-200 -200 400 400"}
    x, y, width, height = map(float, box.split())
    assert x < left < right < x + width
    assert y < high < low <= y + height


@pytest.mark.parametrize("language", languages())
def test_what_counts_stands_on_every_page_but_an_observers(language: str) -> None:
    words, run = words_of(language)
    page = html.unescape(page_of(Choices(language=language)))
    observers = html.unescape(page_of(Choices(language=language, observer="OBS-A")))
    for name in RULES:
        assert words[name] in page
        assert words[name] not in observers
    assert run["found_alone"] not in page


def test_a_page_tells_where_a_sound_before_the_systolic_does_not_count() -> None:
    first = KEY.items[0]
    early = replace(first.beats[0], time_s=0.1, mmhg=130.0)
    key = replace(KEY, items=(replace(first, beats=(early, *first.beats)), *KEY.items[1:]))
    data = data_of(page_of(Choices(key=key, mode=Mode.PRACTISE)))
    assert [one["alone"] for one in data["key"]] == [True, False]
