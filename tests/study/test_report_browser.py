"""The page of a study in a real browser: quiet, no wider than its window, accessible.

Needs what the tests of the page of a reading need; skipped where that is missing.
"""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

from tests.show.test_report_browser import Seen, browser
from tests.study.test_report import home

__all__ = ["browser", "home"]


@pytest.mark.parametrize("width", [1280, 360])
def test_it_is_shown_without_complaint(browser, home: Path, width: int) -> None:
    page = home / "report.html"
    with Seen(browser, page, viewport={"width": width, "height": 800}) as seen:
        assert seen.faults == []
        assert [url for url in seen.asked if not url.startswith("data:")] == [page.as_uri()]
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_is_accessible(browser, home: Path, scheme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is missing")
    how = {"bypass_csp": True, "color_scheme": scheme, "viewport": {"width": 700, "height": 800}}
    with Seen(browser, home / "report.html", **how) as seen:
        found = axe.Axe().run(seen.page)
        assert found.response["passes"]
        assert found.violations_count == 0, found.generate_report()
