"""What sound and log may hold, whether they are read from a file or pushed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Lowest sampling rate: a Korotkoff sound needs 25-250 Hz and a margin (our choice).
LOWEST_RATE_HZ = 1000
#: Sound further than this beyond full scale, 1.0, is none: integers left unscaled stay far
#: below it, and its energy is still a number in float32 (our choice).
LARGEST_SAMPLE = 1e12
#: Lowest and highest pressure of a log (our choice: beyond any cuff and its zero error).
LOWEST_MMHG, HIGHEST_MMHG = -20.0, 400.0
#: A log in mmHg whose highest value lies between these looks like kPa: a cuff inflated to
#: 60-337 mmHg (our choice). Below the first the cuff was at rest.
KPA_LIKE_MMHG = (8.0, 45.0)


def first_no_sound(samples: NDArray[np.generic]) -> int | None:
    """Index of the first sample that is no finite number, or beyond :data:`LARGEST_SAMPLE`.

    Examples
    --------
    >>> first_no_sound(np.array([0.1, np.nan])), first_no_sound(np.array([0.1, -1e12]))
    (1, None)
    """
    with np.errstate(invalid="ignore"):  # some of what is no number signals
        bad = ~(np.abs(samples) <= LARGEST_SAMPLE)
    return int(np.argmax(bad)) if bad.any() else None
