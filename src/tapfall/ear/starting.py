"""Listening while the first sounds come: what few sounds have taught.

The evidence is learned from whole deflations.  Held against waveforms that two or three
others taught, with nothing but silence above them, the first sounds look like noise to it; a
network of its own, learned from deflations that were cut short there, weighs them instead.
"""

from __future__ import annotations

from dataclasses import replace

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.evidence import Evidence

#: Most sounds of a start: from there on they teach as much as those of a whole deflation do
#: (our choice; the network is fitted on as many and some more).
MOST_SOUNDS = 8
#: Beats from this likely to sound on teach in a start where too few are likelier than not
#: (our choice: whatever is taught is weighed).
LEAST_HEARD = 0.2


def weigh_start(evidence: Evidence) -> Evidence:
    """Weigh each beat anew, as one of a start.

    Parameters
    ----------
    evidence
        What speaks for a sound at each beat.

    Returns
    -------
    Evidence
        With log odds of its own; all else is as before.
    """
    return replace(evidence, log_odds=CALIBRATION.starting.log_odds(evidence.measures))
