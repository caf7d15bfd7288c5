"""The page of marks in a real browser: quiet, accessible, at home on a narrow screen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tapfall.lesson import Mode
from tapfall.lesson.marks_page import write_marks
from tests.browser import BROWSER, Seen, launched
from tests.lesson.test_mark_tables import marked_class

api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
if BROWSER is None:
    pytest.skip("no Chromium on this machine", allow_module_level=True)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a class, with links to the sounds."""
    home = tmp_path_factory.mktemp("marks")
    write_marks(home / "marks.html", marked_class(4), home / "set")
    return home / "marks.html"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with api.sync_playwright() as tool:
        browser = launched(tool)
        yield browser
        browser.close()


@pytest.mark.parametrize("width", [1280, 360])
def test_it_is_shown_without_complaint(browser: Any, page: Path, width: int) -> None:
    with Seen(browser, page, viewport={"width": width, "height": 800}) as seen:
        assert seen.faults == []
        assert seen.asked == [page.as_uri()]
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_table_of_all_fits_a_window_of_1000(browser: Any, tmp_path: Path) -> None:
    marked = marked_class(4)
    sessions = tuple(
        replace(one, set_id="01a2cd71c86a", mode=Mode.PRACTISE, learner=f"{'M' * 19}{n}")
        for n, one in enumerate(marked.sessions)
    )
    write_marks(tmp_path / "m.html", replace(marked, sessions=sessions), tmp_path / "set")
    with Seen(browser, tmp_path / "m.html", viewport={"width": 1000, "height": 800}) as seen:
        table = seen.page.get_by_role("region", name="Sessions of each learner")
        assert table.evaluate("one => one.scrollWidth - one.clientWidth") <= 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_is_accessible(browser: Any, page: Path, scheme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is missing")
    # The page's own rule against scripts would keep the checker out.
    how = {"bypass_csp": True, "color_scheme": scheme, "viewport": {"width": 700, "height": 800}}
    with Seen(browser, page, **how) as seen:
        found = axe.Axe().run(seen.page)
        assert found.response["passes"]
        assert found.violations_count == 0, found.generate_report()


def test_a_link_leads_to_the_second(browser: Any, page: Path) -> None:
    with Seen(browser, page) as seen:
        link = seen.page.locator("td a").first
        assert link.inner_text().startswith("item-")
        at_s = float(link.inner_text().split(" at ")[1].removesuffix(" s"))
        place, start = link.evaluate("one => one.href").split("#t=")
        assert place.startswith((page.parent / "set").as_uri())
        assert place.endswith(".flac")
        assert float(start) == pytest.approx(max(at_s - 3.0, 0.0), abs=0.11)
