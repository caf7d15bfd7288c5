"""A listening page in a real Chromium: begun, answered, saved."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tests.browser

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


class Seen(tests.browser.Seen):
    """A listening page that is open."""

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
