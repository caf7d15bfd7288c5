"""Deflations cut short while their first sounds come, for the fits of what is told live."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tapfall.synth.streams import stream
from tests.calibrate.gather import Known, simulated_and_known, sounding, watching

#: Cuts of one recording after sounds, and anywhere; how many sounds before a cut at most.
CUTS_AT_SOUNDS, CUTS_ANYWHERE, MOST_BEFORE = 6, 2, 12
#: Sound after the first audible beat from which the promise of a systolic is learned, and cuts
#: of it in one recording.
EARLY_S, EARLY_CUTS = 10.0, 10


def cut_at_sounds(known: Known, length_s: float, rng: np.random.Generator) -> np.ndarray:
    """Times of cuts: a while after some of the first sounds, and anywhere."""
    cuts_s = rng.uniform(0.2, 0.9, CUTS_ANYWHERE) * length_s
    sounds_s = known.time_s[known.noisy][: MOST_BEFORE + 1]
    if sounds_s.size > 2:
        after = rng.integers(1, sounds_s.size, CUTS_AT_SOUNDS)
        interval_s = float(np.median(np.diff(sounds_s)))
        more_s = sounds_s[after] + rng.uniform(0.05, 1.0, CUTS_AT_SOUNDS) * interval_s
        cuts_s = np.concatenate([cuts_s, more_s])
    return np.sort(cuts_s)


def judged_at(recording: Any, times_s: Sequence[float]) -> Iterator[tuple[Any, Any]]:
    """Hand and judgement at some times of a stream, as the listener that announces has them."""
    from tapfall.ear import Listener, live
    from tapfall.ear.hand import LOOK_S, Hand

    listener = Listener(rate_hz=recording.rate_hz, announce=False)
    last_s = max(times_s) + 1.0
    kept = recording.cuff.time_s <= last_s
    listener.push_cuff(recording.cuff.time_s[kept], recording.cuff.pressure_mmhg[kept])
    listener.push_audio(recording.samples[: round(last_s * recording.rate_hz)])
    course, now = listener._course, listener._now
    memory = listener._memory
    state, level_mmhg, begun_s, at_s = None, 0.0, None, 0.0
    for wanted_s in times_s:
        rows = int(np.searchsorted(memory.log_s, wanted_s, side="right"))
        found = course._measurements(rows)
        if not found or found[-1].rested:
            continue
        begin_s = float(memory.log_s[found[-1].begin])
        if begin_s != begun_s:
            state, begun_s, at_s = live.Live(hand=Hand(begin_s=begin_s)), begin_s, begin_s
        while at_s + LOOK_S <= wanted_s:
            first, stop = np.searchsorted(memory.log_s, (at_s, at_s + LOOK_S), side="right")
            at_s += LOOK_S
            if stop > first:
                level_mmhg = float(np.mean(memory.log_mmhg[first:stop]))
            state, _ = live.look(state, at_s, level_mmhg, None)
        here = replace(found[-1], stop=rows, end=rows)
        yield state.hand, course._judged(now, here, wanted_s)


def starting(case: tuple[str, int], wide: bool) -> dict[str, Any]:
    """Measures of the beats of starts, with their truth."""
    from tapfall.ear import judge

    simulation, known = simulated_and_known(case, wide)
    recording = simulation.recording
    rng = stream(case[1], "starts")
    length_s = recording.samples.size / recording.rate_hz
    rounds: list[Any] = []
    cuts_s = cut_at_sounds(known, length_s, rng) + known.origin_s
    with watching(judge, "_hear", rounds):
        list(judged_at(recording, cuts_s.tolist()))
    heard_in = [
        (found.evidence.measures, *sounding(known, found.onset_s))
        for (arguments, found) in rounds
        if arguments[-1] == "start"
    ]
    return {"group": case[0], "seed": case[1], "rounds": heard_in}


def started(case: tuple[str, int], wide: bool) -> dict[str, Any]:
    """What early systolics rest on, and whether the reading at the end keeps them."""
    from tapfall.ear import announcer, early, take_reading
    from tapfall.ear.hand import LOOK_S

    simulation, known = simulated_and_known(case, wide)
    recording = simulation.recording
    sounds_s = known.time_s[known.noisy] + known.origin_s
    length_s = recording.samples.size / recording.rate_hz
    rng = stream(case[1], "early")
    begin_s = sounds_s[0] if sounds_s.size else rng.uniform(0.2, 0.7) * length_s
    looks_s = begin_s + LOOK_S * np.arange(round(EARLY_S / LOOK_S))
    looks_s = np.sort(rng.choice(looks_s, EARLY_CUTS, replace=False))
    looks_s = looks_s[looks_s < length_s - 1.0]
    final = take_reading(recording)
    values: list[Any] = []
    seen: list[Any] = []
    with watching(early, "early_measures", seen):
        for hand, _ in judged_at(recording, looks_s.tolist()):
            if seen and not hand.again:
                arguments, measures = seen[-1]
                values.append((measures, announcer.kept(arguments[1].mmhg, final.systolic)))
            seen.clear()
    return {"group": case[0], "seed": case[1], "values": values}
