"""A page in a real Chromium, quiet and alone."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

#: A browser under test calls nobody: not for updates, not for anything.
QUIET = [
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
NAMES = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "/snap/bin/chromium",
    "/opt/google/chrome/chrome",
)
BROWSER = next((found for name in NAMES if (found := shutil.which(name))), None)

#: Taps what the page sends to the loudspeaker, and notes for every frame how old the last
#: burst in it is: a second clock, that of the sound itself.
TAP = """
(() => {
  const Real = window.AudioContext;
  const frames = window.frames_seen = [];
  window.AudioContext = class extends Real {
    constructor(...how) {
      super(...how);
      const context = this;
      const make = this.createBufferSource.bind(this);
      this.createBufferSource = () => {
        const source = make();
        const tap = context.createAnalyser();
        tap.fftSize = 32768;
        source.connect(tap);
        watch(context, tap);
        return source;
      };
    }
  };
  function watch(context, tap) {
    const wave = new Float32Array(tap.fftSize);
    const look = () => {
      tap.getFloatTimeDomainData(wave);
      let last = wave.length - 1;
      while (last >= 0 && Math.abs(wave[last]) < 0.02) last -= 1;
      // Back over the burst of 10 ms to its first loud sample.
      let first = last;
      for (let at = last; at >= 0 && last - at < 0.02 * context.sampleRate; at -= 1) {
        if (Math.abs(wave[at]) >= 0.02) first = at;
      }
      const shown = document.getElementById("needle").getAttribute("transform");
      const dial = document.getElementById("dial");
      frames.push({
        since_s: first < 0 ? null : (wave.length - first) / context.sampleRate,
        latency_s: context.outputLatency || context.baseLatency,
        degrees: shown ? Number(shown.slice(7, -1)) : null,
        time_s: dial.dataset.time_s === "" ? null : Number(dial.dataset.time_s),
        at_ms: performance.now(),
      });
      requestAnimationFrame(look);
    };
    // Begun a little later: in each frame the page has its turn first.
    setTimeout(() => requestAnimationFrame(look), 100);
  }
})();
"""


def launched(tool: Any) -> Any:
    """Start the browser."""
    # Chromium's own walls do not stand for the superuser of a container.
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    return tool.chromium.launch(executable_path=BROWSER, args=[*QUIET, *root])


class Seen:
    """A page that is open, and all it complained of or asked for."""

    def __init__(self, browser: Any, path: Path, script: str = "", **how: Any) -> None:
        self.context = browser.new_context(accept_downloads=True, **how)
        self.page = self.context.new_page()
        if script:
            self.page.add_init_script(script)
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.faults.append(message.text))
        self.page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        self.page.on("dialog", lambda dialog: self.faults.append(dialog.message))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())

    def __enter__(self) -> Seen:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()

    def begin(self, code: str = "anna-1") -> Any:
        """Give a code and go to the first item."""
        if self.page.locator("#code").is_visible():
            self.page.fill("#code", code)
        self.page.click("#begin")
        return self.page

    def answer(self, systolic: str, diastolic: str) -> None:
        """Type both values and keep them."""
        self.page.fill("#systolic", systolic)
        self.page.fill("#diastolic", diastolic)
        self.page.click("#keep")

    def saved(self, kind: str = "json") -> str:
        """Save the answers and return what stands in the file."""
        with self.page.expect_download() as waited:
            self.page.click(f"#save-{kind}")
        return Path(waited.value.path()).read_text(encoding="utf-8")
