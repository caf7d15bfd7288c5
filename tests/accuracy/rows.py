"""One recording at a time: the row file, and truth and reading side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tapfall.model import Reading, State, Threshold
from tapfall.synth.truth import TrueThreshold, Truth
from tests.accuracy.scoring import (
    Score,
    ValueScore,
    bound_mmhg,
    match_beats,
    score,
)
from tests.running import write_csv


def pressure_text(one: Threshold | TrueThreshold | None) -> str:
    """A pressure as ``123.4``, ``>=180.0`` (not reached) or nothing."""
    if one is None:
        return ""
    if one.state is State.NOT_REACHED:
        bound = one.bound_mmhg if isinstance(one, TrueThreshold) else bound_mmhg(one)
        return "not_reached" if bound is None else f"bound {bound:.1f}"
    return "" if one.mmhg is None else f"{one.mmhg:.1f}"


def _round(value: float | None, digits: int = 2) -> float | str:
    return "" if value is None else round(value, digits)


def _value_cells(name: str, value: ValueScore) -> dict[str, Any]:
    estimate = value.estimate
    thresholds = [one.threshold_mmhg if one else None for one in (value.quiet, value.noise)]
    return {
        f"{name}_quiet": pressure_text(value.quiet),
        f"{name}_noise": pressure_text(value.noise),
        f"{name}_read": pressure_text(estimate),
        f"{name}_error": _round(value.error_mmhg),
        f"{name}_right": int(value.right) if value.wanted or value.given else "",
        f"{name}_wanted": int(value.wanted),
        f"{name}_confidence": _round(estimate.confidence if estimate else None, 4),
        f"{name}_low": _round(estimate.low_mmhg if estimate else None),
        f"{name}_high": _round(estimate.high_mmhg if estimate else None),
        f"{name}_threshold_quiet": _round(thresholds[0]),
        f"{name}_threshold_noise": _round(thresholds[1]),
        f"{name}_covered": "" if value.covered is None else int(value.covered),
        f"{name}_time_s": _round(estimate.time_s if estimate else None),
        f"{name}_reason": estimate.reason.value if estimate and estimate.reason else "",
    }


def cells(row: Score) -> dict[str, Any]:
    """One flat row of the row file."""
    return {
        "group": row.group,
        "seed": row.seed,
        "success": int(row.success),
        "status": row.status.value if row.status else "",
        **_value_cells("systolic", row.systolic),
        **_value_cells("diastolic", row.diastolic),
        "flags": " ".join(row.flags),
        "reasons": " ".join(row.reasons),
        "beats_hit": row.beats.hits,
        "beats_false": row.beats.false,
        "beats_missed": row.beats.missed,
        "gaps_true": " ".join(
            f"{gap.upper_mmhg:.0f}-{gap.lower_mmhg:.0f}" for gap in row.true_gaps
        ),
        "gaps_read": " ".join(f"{gap.upper_mmhg:.0f}-{gap.lower_mmhg:.0f}" for gap in row.gaps),
        "lag_true_s": _round(row.true_lag_s, 3),
        "lag_read_s": _round(row.lag_s, 3),
        "snr_db": _round(row.signal_to_noise_db, 1),
        "step_mmhg": _round(row.step_mmhg),
        "seconds": _round(row.seconds, 3),
        "failure": (row.failure or "").strip(),
    }


def save_rows(rows: Sequence[Score], path: Path) -> None:
    """Write one CSV line per recording, then rename into place."""
    write_csv(list(map(cells, rows)), path)


def _compare(name: str, quiet: TrueThreshold, noise: TrueThreshold, read: Threshold) -> str:
    interval = ""
    if read.low_mmhg is not None or read.high_mmhg is not None:
        low = "" if read.low_mmhg is None else f"{read.low_mmhg:.1f}"
        high = "" if read.high_mmhg is None else f"{read.high_mmhg:.1f}"
        interval = f"[{low}, {high}]"
    confidence = "" if read.confidence is None else f"{read.confidence:.3f}"
    reason = read.reason.value if read.reason else ""
    hidden = [
        "" if one.threshold_mmhg is None else f"{one.threshold_mmhg:.1f}" for one in (quiet, noise)
    ]
    return (
        f"{name:<14} {pressure_text(quiet):>12} {hidden[0]:>6} {pressure_text(noise):>12} "
        f"{hidden[1]:>6} | {pressure_text(read):>12} {interval:<16} {confidence:<6} "
        f"{read.state.value} {reason}"
    )


def side_by_side(truth: Truth, reading: Reading, *, group: str, seed: int) -> str:
    """Truth and reading of one recording, threshold by threshold and beat by beat."""
    row = score(truth, reading, group=group, seed=seed)
    lag = reading.lag
    lines = [
        f"{group} {seed}: {'right' if row.success else 'WRONG'}, status {reading.status.value}",
        f"flags    {' '.join(row.flags) or '-'}",
        f"reasons  {' '.join(row.reasons) or '-'}",
        f"rhythm   {truth.rhythm.value} | read {reading.rhythm.value}"
        + (f", {reading.pulse_per_min:.0f}/min" if reading.pulse_per_min else ""),
        f"lag      {truth.lag_s:.3f} s, drift {truth.drift_ppm:.0f} ppm | read "
        + (f"{lag.seconds:.3f} s [{lag.low_s:.3f}, {lag.high_s:.3f}]" if lag else "none"),
        f"noise    {truth.signal_to_noise_db} dB | read {reading.quality.signal_to_noise_db} dB",
        f"cuff     {truth.deflation_mmhg_per_s:.2f} mmHg/s, "
        f"{truth.deflation_mmhg_per_beat:.2f} mmHg/beat",
        f"{'':<14} {'quiet':>12} {'thresh':>6} {'noise':>12} {'thresh':>6} | {'read':>12} "
        f"{'95 %':<16} conf   state",
    ]
    quiet, noise = truth.in_quiet, truth.in_noise
    lines += [
        _compare(name, getattr(quiet, name), getattr(noise, name), getattr(reading, name))
        for name in ("systolic", "diastolic", "first_silence", "muffling")
    ]
    lines.append(
        f"error          systolic {row.systolic.error_mmhg}, diastolic {row.diastolic.error_mmhg}"
    )
    lines.append(
        f"to zero        {quiet.to_zero} / {noise.to_zero}; into a gap "
        f"{truth.inflated_into_gap}; readable {quiet.readable} / {noise.readable}"
    )
    for one, gaps in (("quiet", quiet.gaps), ("noise", noise.gaps), ("read", reading.gaps)):
        text = ", ".join(f"{gap.upper_mmhg:.1f}-{gap.lower_mmhg:.1f}" for gap in gaps)
        lines.append(f"gaps {one:<9} {text or '-'}")
    beats = row.beats
    lines.append(f"beats          hit {beats.hits}, false {beats.false}, missed {beats.missed}")
    return "\n".join([*lines, "", *_beat_table(truth, reading)])


def _beat_table(truth: Truth, reading: Reading) -> list[str]:
    """All true and read beats by time; a true and a read one within 0.3 s share a line."""
    partner = dict(match_beats(truth.beats, reading.beats))
    taken = set(partner.values())
    for index, beat in enumerate(truth.beats):
        if index in partner:
            continue
        near = [
            (abs(other.time_s - beat.time_s), other_index)
            for other_index, other in enumerate(reading.beats)
            if other_index not in taken and abs(other.time_s - beat.time_s) <= 0.3
        ]
        if near:
            partner[index] = min(near)[1]
            taken.add(min(near)[1])
    lines: list[tuple[float, str]] = []
    blank = f"{'':>8} {'':>7} {'':<7} {'':<12}"
    for index, beat in enumerate(truth.beats):
        heard = "both" if beat.audible_in_noise else "quiet" if beat.audible_in_quiet else "-"
        left = (
            f"{beat.time_s:>8.3f} {beat.cuff_mmhg:>7.1f} {beat.phase.value:<7} "
            f"{heard + ('' if beat.expected else ' ectopic'):<13}"
        )
        right = _read_cells(reading, partner.get(index), beat.time_s)
        wrong = ""
        if index in partner:
            claimed = reading.beats[partner[index]].heard >= 0.5
            if claimed != beat.audible_in_noise and claimed != beat.audible_in_quiet:
                wrong = "  <-- " + ("invented" if claimed else "missed")
        elif beat.audible_in_noise:
            wrong = "  <-- no beat"
        lines.append((beat.time_s, f"{left} | {right}{wrong}"))
    for index, other in enumerate(reading.beats):
        if index not in taken:
            mark = "  <-- no such beat" if other.heard >= 0.5 else ""
            lines.append((other.time_s, f"{blank} | {_read_cells(reading, index, None)}{mark}"))
    head = (
        f"{'time_s':>8} {'cuff':>7} {'phase':<7} {'audible':<13} | "
        f"{'time_s':>8} {'cuff':>7} {'phase':<7} {'heard':>6} {'late_ms':>7}"
    )
    return [head, *(text for _, text in sorted(lines))]


def _read_cells(reading: Reading, index: int | None, true_s: float | None) -> str:
    if index is None:
        return ""
    beat = reading.beats[index]
    late = "" if true_s is None else f"{1000 * (beat.time_s - true_s):.0f}"
    return (
        f"{beat.time_s:>8.3f} {beat.cuff_mmhg:>7.1f} {beat.phase.value:<7} "
        f"{beat.heard:>6.3f} {late:>7}"
    )
