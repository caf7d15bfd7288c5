"""Read a recording from its files and draw it.

Run it with ``python examples/read_one.py``; a folder may follow, where the
figure is left. Without one it goes into a new temporary folder.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import tapfall
from tapfall.show.figure import draw_reading

fixtures = Path(__file__).parents[1] / "synth_fixtures"
folder = Path(sys.argv[1] if len(sys.argv) > 1 else tempfile.mkdtemp(prefix="tapfall-"))

recording = tapfall.load(fixtures / "ordinary.flac", fixtures / "ordinary.csv")
reading = tapfall.take_reading(recording)
draw_reading(recording, reading, folder / "ordinary.png", title="an ordinary recording")

for name, one in (("systolic", reading.systolic), ("diastolic", reading.diastolic)):
    print(f"{name:<10} {one.mmhg:.0f} mmHg, 95 % from {one.low_mmhg:.0f} to {one.high_mmhg:.0f}")
print(f"status     {reading.status}")
print(f"figure     {folder / 'ordinary.png'}")
