"""The page of a reading in a real browser: quiet, playable, printable, accessible.

Needs Chromium on the machine and the extra ``browser`` of this package; skipped
where either is missing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tapfall.model import Finding, FindingState, Flag, Settings, Source
from tapfall.show.report import write_report
from tests.browser import BROWSER, Seen, launched
from tests.show import made

api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

if BROWSER is None:
    pytest.skip("no Chromium on this machine", allow_module_level=True)

SOURCE = Source(
    audio_name="<script>alert(1)</script>arm.wav",
    audio_sha256="0a" * 32,
    cuff_name="a rather long name of a cuff log, left arm, third time.csv",
    cuff_sha256="1b" * 32,
)


def findings(count: int) -> tuple[Finding, ...]:
    """Checks of the technique, a quarter of each outcome."""
    states = list(FindingState)
    return tuple(
        Finding(
            check=f"check number {index}",
            state=states[index % 4],
            found="6.1",
            expected="2 to 3",
            unit="mmHg/s",
            source="a guideline of some years ago with a long title, section 4",
            bias="systolic 2 to 5 mmHg too low (a paper)",
        )
        for index in range(count)
    )


READINGS = {
    "ordinary": made.ordinary(),
    "bounded": made.bounded(),
    "unreadable": made.unreadable(),
    "busy": replace(made.with_gap(), flags=tuple(Flag)[:12], technique=findings(20)),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One page of each reading."""
    folder = tmp_path_factory.mktemp("pages")
    recording = replace(made.recording(lag_s=0.4), source=SOURCE)
    for name, reading in READINGS.items():
        write_report(folder / f"{name}.html", recording, reading, Settings(manometer_mmhg=3.0))
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with api.sync_playwright() as tool:
        browser = launched(tool, "--autoplay-policy=no-user-gesture-required")
        yield browser
        browser.close()


@pytest.mark.parametrize(
    ("name", "width"),
    [("ordinary", 1280), ("busy", 360), ("bounded", 360), ("unreadable", 360)],
)
def test_it_is_shown_without_complaint(browser, folder, name, width) -> None:
    with Seen(browser, folder / f"{name}.html", viewport={"width": width, "height": 800}) as seen:
        assert seen.faults == []
        assert [url for url in seen.asked if not url.startswith("data:")] == [
            (folder / f"{name}.html").as_uri()
        ]
        wide = seen.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width
        box = seen.page.locator("svg").bounding_box()
        assert box["height"] > 250


def test_no_script_runs_in_it(browser, folder) -> None:
    with Seen(browser, folder / "ordinary.html") as seen:
        seen.page.evaluate(
            "document.body.append(Object.assign(document.createElement('script'),"
            "{textContent: 'window.ran = true'}))"
        )
        assert seen.page.evaluate("window.ran") is None
        assert any("Content Security Policy" in fault for fault in seen.faults)


def test_the_sound_plays(browser, folder) -> None:
    with Seen(browser, folder / "ordinary.html") as seen:
        length_s = seen.page.evaluate(
            """async () => {
                const audio = document.querySelector('audio');
                audio.currentTime = 20;
                await audio.play();
                await new Promise(done => audio.addEventListener('timeupdate', done, {once: true}));
                audio.pause();
                return audio.error ? -1 : audio.duration;
            }"""
        )
        assert length_s == pytest.approx(56.0, abs=0.1)
        assert seen.faults == []


@pytest.mark.parametrize("name", READINGS)
def test_it_prints_on_one_page(browser, folder, name) -> None:
    with Seen(browser, folder / f"{name}.html") as seen:
        printed = seen.page.pdf(prefer_css_page_size=True, print_background=True)
        pages = re.findall(rb"/Type\s*/Page\b", printed)
        (box,) = set(re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", printed))
    assert len(pages) == 1
    assert [float(side) for side in box] == pytest.approx([595.3, 841.9], abs=1.0)


def test_print_leaves_out_what_paper_cannot_do(browser, folder) -> None:
    with Seen(browser, folder / "busy.html") as seen:
        seen.page.emulate_media(media="print")
        for hidden in ("nav", "audio", ".beats table", ".technique .ok"):
            assert not seen.page.locator(hidden).first.is_visible()
        for shown in ("h1", ".values table", "svg", ".technique .fault", ".caution", "footer"):
            assert seen.page.locator(shown).first.is_visible()
        figure = seen.page.locator("svg").bounding_box()
        below = seen.page.locator(".technique").bounding_box()
        assert figure["y"] + figure["height"] <= below["y"] + 1


def test_the_keyboard_goes_through_it_in_order(browser, folder) -> None:
    with Seen(browser, folder / "ordinary.html") as seen:
        names = []
        for _ in range(12):
            seen.page.keyboard.press("Tab")
            names.append(
                seen.page.evaluate(
                    "(one => one.getAttribute('aria-label') || one.textContent)"
                    "(document.activeElement)"
                )
            )
            outline = seen.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert outline != "none", names[-1]
        assert names == [
            "Skip to the content",
            "Values",
            "How they came about",
            "Figure",
            "Sound",
            "Technique",
            "Beats",
            "Origin",
            "Table of values",
            "Figure of the reading",
            "Sound of the recording",
            "Sound of the recording",
        ]


def test_the_skip_link_skips(browser, folder) -> None:
    with Seen(browser, folder / "ordinary.html") as seen:
        seen.page.keyboard.press("Tab")
        assert seen.page.locator(".skip").bounding_box()["x"] >= 0
        seen.page.keyboard.press("Enter")
        assert seen.page.evaluate("document.activeElement.id") == "content"


@pytest.mark.parametrize(
    ("name", "scheme"), [("ordinary", "dark"), ("busy", "light"), ("unreadable", "light")]
)
def test_it_is_accessible(browser, folder, name, scheme) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is missing")
    # The page's own rule against scripts would keep the checker out.
    how = {"bypass_csp": True, "color_scheme": scheme, "viewport": {"width": 700, "height": 800}}
    with Seen(browser, folder / f"{name}.html", **how) as seen:
        found = axe.Axe().run(seen.page)
        assert found.response["passes"]
        assert found.violations_count == 0, found.generate_report()


def test_light_and_dark_differ(browser, folder) -> None:
    grounds = []
    for scheme in ("light", "dark"):
        with Seen(browser, folder / "ordinary.html", color_scheme=scheme) as seen:
            grounds.append(seen.page.evaluate("getComputedStyle(document.body).backgroundColor"))
    assert grounds == ["rgb(251, 250, 246)", "rgb(21, 25, 31)"]
