"""A closer listening, once the sounds have become the clock: what speaks for a sound near a beat.

Beyond the sounds a clock made of them is some hundredths of a second off, and more with each
beat, so that a faint first or last sound lies beside where it is looked for.  A network of its
own sees the map and the marks to either side of each beat, and what was heard at the likeliest
place there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.delaymap import DelayMap
from tapfall.ear.evidence import MEASURES, MOVED_S, Evidence, Expectation, Learned, over_floor
from tapfall.model import FloatArray

#: The map is read so much later than each beat, s: a heart that breathes is a fifth of a second
#: off after a few beats.
AROUND_OFFSETS_S: FloatArray = np.arange(-10.0, 11.0) * 0.02
#: Names of the measures, in order: those of the evidence, the map, the marks, the likeliest place.
CLOSER = (
    *MEASURES[:-1],
    *(f"around_{round(1000 * offset_s):+d}_ms" for offset_s in AROUND_OFFSETS_S.tolist()),
    *(f"marked_{round(1000 * offset_s):+d}_ms" for offset_s in AROUND_OFFSETS_S.tolist()),
    "likeliest_s",
    "likeliest_own_over_floor",
    "likeliest_rest_over_floor",
    "likeliest_leader_over_floor",
    MEASURES[-1],
)


def listen_closer(
    evidence: Evidence,
    learned: Learned,
    expected: Expectation,
    charts: tuple[DelayMap, DelayMap],
) -> Evidence:
    """Weigh each beat anew by what is heard around it.

    Parameters
    ----------
    evidence
        What speaks for a sound at each beat.
    learned
        Sound, noise and waveforms of the recording.
    expected
        Where each sound was looked for.
    charts
        Two maps of delays after the reference: of beats among beats, and of the marks.

    Returns
    -------
    Evidence
        With log odds and measures of its own; all else is as before.
    """
    around, marked = (one.around(expected.delay_s, AROUND_OFFSETS_S) for one in charts)
    off_s = AROUND_OFFSETS_S[(around + marked).argmax(axis=1)]
    expected_s = expected.reference_s + expected.delay_s
    likeliest = over_floor(learned, expected_s + off_s, learned.noise.at(expected_s))
    before = evidence.measures
    measures = np.concatenate(
        [
            before[:, :-1],
            around,
            marked,
            np.stack([off_s / MOVED_S, *likeliest], axis=1),
            before[:, -1:],
        ],
        axis=1,
    )
    log_odds = CALIBRATION.closer.log_odds(measures)
    return replace(evidence, log_odds=log_odds, measures=measures)
