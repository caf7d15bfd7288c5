"""What sound and log may hold, whether they are read from a file or pushed."""

from __future__ import annotations

#: Lowest sampling rate: a Korotkoff sound needs 25-250 Hz and a margin (our choice).
LOWEST_RATE_HZ = 1000
#: Sound further than this beyond full scale, 1.0, is none: integers left unscaled stay far
#: below it, and its energy is still a number in float32 (our choice).
LARGEST_SAMPLE = 1e12
#: Lowest and highest pressure of a log (our choice: beyond any cuff and its zero error).
LOWEST_MMHG, HIGHEST_MMHG = -20.0, 400.0
