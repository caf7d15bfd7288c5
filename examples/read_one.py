"""Read a recording from its files and draw it.

    python examples/read_one.py [AUDIO CUFFLOG] [-o FOLDER]

Without files it reads a simulated one; without a folder the figure goes into a new
temporary one.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import tapfall
from tapfall.errors import TapfallError
from tapfall.show.figure import draw_reading

FIXTURES = Path(__file__).parents[1] / "synth_fixtures"

parser = argparse.ArgumentParser(
    description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
)
parser.add_argument("audio", metavar="AUDIO", nargs="?", help="a sound file")
parser.add_argument("cuff", metavar="CUFFLOG", nargs="?", help="its cuff log")
parser.add_argument("-o", "--output", metavar="FOLDER", help="where the figure goes")
args = parser.parse_args()
if args.audio is not None and args.cuff is None:
    parser.error("found AUDIO without CUFFLOG; allowed both or neither")
audio, cuff = args.audio or FIXTURES / "ordinary.flac", args.cuff or FIXTURES / "ordinary.csv"

try:
    recording = tapfall.load(audio, cuff)
    reading = tapfall.take_reading(recording)
    folder = Path(args.output or tempfile.mkdtemp(prefix="tapfall-"))
    figure = folder / f"{Path(audio).stem}.png"
    draw_reading(recording, reading, figure, title=Path(audio).name)
except TapfallError as fault:
    parser.exit(2, f"read_one.py: {fault}\n")

for name, one in (("systolic", reading.systolic), ("diastolic", reading.diastolic)):
    if one.mmhg is None:
        print(f"{name:<10} {one.state}")
    else:
        low, high = one.low_mmhg, one.high_mmhg
        print(f"{name:<10} {one.mmhg:.0f} mmHg, 95 % from {low:.0f} to {high:.0f}")
print(f"status     {reading.status}")
print(f"figure     {figure}")
