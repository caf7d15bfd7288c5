"""The page of a visit in a real browser: quiet, narrow, accessible, its summary one sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tapfall.cli import main
from tests.browser import Seen

reports = pytest.importorskip("tests.show.test_report_browser", reason="no browser")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
browser = reports.browser
FIXTURES = Path(__file__).parents[2] / "synth_fixtures"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("visit")
    given = []
    for name in ("ordinary", "silent_gap"):
        given += [str(FIXTURES / f"{name}.flac"), str(FIXTURES / f"{name}.csv")]
    weak = str(home / "weak.json")
    named = [str(FIXTURES / "weak.flac"), str(FIXTURES / "weak.csv")]
    assert main(["read", *named, "--json", weak]) == 0
    assert main(["visit", *given, weak, "--arm", "left", "--report", str(home / "v.html")]) == 0
    return home / "v.html"


@pytest.mark.parametrize("width", [1280, 360])
def test_it_is_quiet_and_no_wider_than_the_window(browser: Any, page: Path, width: int) -> None:
    with Seen(browser, page, viewport={"width": width, "height": 800}) as seen:
        assert seen.faults == []
        assert [url for url in seen.asked if not url.startswith("data:")] == [page.as_uri()]
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_is_accessible(browser: Any, page: Path, scheme: str) -> None:
    # The page's own rule against scripts would keep the checker out.
    with Seen(browser, page, bypass_csp=True, color_scheme=scheme) as seen:
        found = axe.Axe().run(seen.page)
        assert found.response["passes"]
        assert found.violations_count == 0, found.generate_report()


def test_the_summary_ends_before_the_first_reading(browser: Any, page: Path) -> None:
    # A4 less the margins of the print style is some 1,000 px high at 96 px an inch.
    with Seen(browser, page, viewport={"width": 720, "height": 1000}) as seen:
        seen.page.emulate_media(media="print")
        top = seen.page.locator("article").first.bounding_box()["y"]
        assert top <= 1040
