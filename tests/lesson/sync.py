"""How far sound and needle are apart: ``python -m tests.lesson.sync 90`` measures it.

The sound of the page carries a burst every second; its age in what the loudspeaker is
sent tells the sound's time, the angle of a needle that falls steadily tells the needle's.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from tapfall.lesson.face import FIRST_DEG
from tapfall.lesson.page import Choices, page_html
from tests.browser import launched
from tests.lesson import made
from tests.lesson.browser import TAP, Seen


def apart_s(browser: Any, folder: Path, seconds: float) -> list[tuple[float, float]]:
    """Play a page and return, for each frame, the sound's time and needle minus sound."""
    lesson = made.lesson(1, seconds, replays=None)
    path = folder / "sync.html"
    path.write_text(page_html(lesson, made.sounds(lesson), Choices()), encoding="utf-8")
    with Seen(browser, path, TAP) as seen:
        page = seen.begin()
        page.click("#play")
        page.get_by_text("The sound has ended").wait_for(timeout=(seconds + 20) * 1000)
        frames = page.evaluate("window.frames_seen")
        assert seen.faults == []
    found = []
    for frame in frames:
        if frame["since_s"] is None or frame["degrees"] is None or not frame["time_s"]:
            continue
        needle_s = (made.TOP_MMHG - (frame["degrees"] - FIRST_DEG)) / made.FALL_MMHG_PER_S
        # What is heard now was sent so much earlier.
        part_s = frame["since_s"] + 0.5 - frame["latency_s"]
        whole = round(needle_s - part_s)
        sound_s = whole + part_s
        if 0.6 < sound_s < seconds - 0.2:
            found.append((sound_s, needle_s - sound_s))
    return found


def main(seconds: float) -> None:
    """Print the distances over so many seconds."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as tool:
        browser = launched(tool)
        found = apart_s(browser, Path(folder), seconds)
        browser.close()
    apart_ms = sorted(1000 * one for _, one in found)
    late = [1000 * one for at, one in found if at > seconds - 10]
    print(f"{len(found)} frames over {seconds:g} s: needle minus sound, ms")
    for name, share in (("least", 0.0), ("1 %", 0.01), ("median", 0.5), ("99 %", 0.99)):
        print(f"{name:>8} {apart_ms[int(share * (len(apart_ms) - 1))]:+7.1f}")
    print(f"{'most':>8} {apart_ms[-1]:+7.1f}")
    print(f"median of the last 10 s {sorted(late)[len(late) // 2]:+.1f}")


if __name__ == "__main__":
    main(float(sys.argv[1]))
