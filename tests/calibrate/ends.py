"""What the networks of the first and last sound learn from: recordings, whole and cut short."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapfall.ear.values import ZERO_MMHG
from tapfall.ear.verdict import TOLERANCE_MMHG
from tapfall.model import Recording, State
from tests.accuracy.scoring import score
from tests.calibrate.gather import Known, simulated_and_known, watching

#: Share of recordings that are also cut short, as a listener hears them on the way.
CUT_SHORT = 0.45
#: Half of the cuts come so soon after the third sound, the others anywhere up to so long
#: after the last, seconds.
SOON_S, AFTER_S = 9.0, 8.0
#: A cut recording tells of the last sound if it goes on for so long after it, seconds.
SILENCE_S = 2.5
#: A beat this near to a true threshold is the right one, mmHg.
SAME_MMHG = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """Beats of one recording, one of which is to be chosen; arrays of shape ``(n,)``.

    ``share`` is that of the stories, ``near`` marks beats within 4 mmHg of the truth that
    some story names, ``same`` the right ones among them.
    """

    measures: np.ndarray
    share: np.ndarray
    near: np.ndarray
    same: np.ndarray


def _cut(
    recording: Recording, sounds_s: Sequence[float], lag_s: float, seed: int
) -> tuple[Recording, float] | None:
    """The recording up to some time after its third sound, and that time; or ``None``."""
    rng = np.random.default_rng((seed, 9))
    end_s = recording.samples.size / recording.rate_hz
    if len(sounds_s) < 4 or rng.random() >= CUT_SHORT:
        return None
    last_s = sounds_s[2] + SOON_S if rng.random() < 0.5 else sounds_s[-1] + AFTER_S
    until_s = float(rng.uniform(sounds_s[2] + 0.3, min(last_s, end_s)))
    rows = recording.cuff.time_s <= until_s + lag_s
    cuff = replace(
        recording.cuff,
        time_s=recording.cuff.time_s[rows],
        pressure_mmhg=recording.cuff.pressure_mmhg[rows],
    )
    samples = recording.samples[: int(until_s * recording.rate_hz)]
    return replace(recording, samples=samples, cuff=cuff), until_s


def _truths(value: Any) -> list[float]:
    """Both truths of a threshold, none where one of them is not there to be read."""
    truths = [one.mmhg for one in (value.quiet, value.noise) if one.state is State.OBSERVED]
    return truths if value.wanted and len(truths) == 2 else []


def _ends_to_zero(known: Known) -> list[float]:
    """Where sounds go on to zero: the last ones, or whatever a reading takes for zero."""
    if not (known.noisy.any() and known.quiet.any()):
        return []
    last = [float(known.cuff_mmhg[heard][-1]) for heard in (known.quiet, known.noisy)]
    return [min(last), max(*last, ZERO_MMHG - TOLERANCE_MMHG)]


def _choice(
    measures: np.ndarray, share: np.ndarray, cuff_mmhg: np.ndarray, truths: Sequence[float]
) -> Choice | None:
    """One threshold's beats; ``None`` where it has no truth or no story comes near."""
    if not truths:
        return None
    away = np.maximum(min(truths) - cuff_mmhg, cuff_mmhg - max(truths))
    away = np.where(share > 0, np.maximum(away, 0.0), np.inf)
    near = away <= TOLERANCE_MMHG
    if not near.any():
        return None
    same = away <= max(SAME_MMHG, float(away.min()) + 0.01)
    return Choice(measures=measures, share=share, near=near, same=same)


def begun(case: tuple[str, int], wide: bool) -> dict[str, Any]:
    """Choices of the first and of the last sound of one recording, whole and cut short."""
    from tapfall.ear import taking, told, weighed

    simulation, known = simulated_and_known(case, wide)
    sounds_s = [beat.time_s for beat in simulation.truth.beats if beat.audible_in_noise]
    cut = _cut(simulation.recording, sounds_s, known.lag_s, case[1])
    parts = [(simulation.recording, np.inf), *([cut] if cut else [])]
    choices: dict[str, list[Choice]] = {"first_sound": [], "last_sound": []}
    truth: Any = None
    for recording, until_s in parts:
        drawn: list[Any] = []
        put: list[Any] = []
        with watching(told, "drawn_anew", drawn), watching(weighed, "tell", put):
            reading = taking.take_reading(recording)
        if truth is None:  # the whole recording comes first
            truth = score(simulation.truth, reading, group=case[0], seed=case[1], seconds=0.0)
        if not put:
            continue
        (_, (first, last), measures), cuff_mmhg = drawn[-1][0], put[-1][1].cuff_mmhg
        truths = _truths(truth.systolic)
        found = {"first_sound": _choice(measures, first, cuff_mmhg, truths)}
        if sounds_s and until_s > sounds_s[-1] + SILENCE_S:
            # The diastolic of sounds that go on to zero is no last sound.
            to_zero = case[0] == "to_zero"
            truths = _ends_to_zero(known) if to_zero else _truths(truth.diastolic)
            found["last_sound"] = _choice(measures, last, cuff_mmhg, truths)
        for kind, one in found.items():
            if one is not None:
                choices[kind].append(one)
    return {"group": case[0], "seed": case[1], "choices": choices}
