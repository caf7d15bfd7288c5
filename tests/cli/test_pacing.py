"""From which of two inputs to take next: files, sources that deliver in time, lost ones."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from tapfall.cli.pacing import (
    FURTHEST_S,
    LEAD_S,
    PATIENCE_S,
    TAIL_S,
    Standing,
    Step,
    Supply,
    choose,
)

PIECE_S = 0.25


def played(
    sound_s: float, rows_s: list[float], *, wall_s: float = 0.0
) -> tuple[list[tuple[float, float]], Step]:
    """Standings of sound and log while both inputs hold all they have, and the last step."""
    course = []
    at_s, log_s, row = 0.0, 0.0, 0
    while True:
        over = at_s >= sound_s
        step = choose(
            Standing(
                sound=Supply.OVER if over else Supply.HELD,
                cuff=Supply.HELD if row < len(rows_s) else Supply.OVER,
                sound_s=at_s,
                log_s=log_s,
                row_s=rows_s[row] if row < len(rows_s) else None,
                wall_s=wall_s,
            )
        )
        if step is Step.SOUND:
            at_s += PIECE_S
        elif step is Step.ROWS:
            log_s = rows_s[row]
            row += 1
        else:
            return course, step
        course.append((at_s, log_s))


@pytest.mark.parametrize("spacing_s", [0.05, 1.0])
def test_files_go_side_by_side_and_are_used_up(spacing_s: float) -> None:
    rows_s = [spacing_s * k for k in range(round(60 / spacing_s) + 1)]
    course, end = played(60.0, rows_s)
    assert end is Step.END
    assert course[-1] == (60.0, 60.0)
    assert max(abs(at_s - log_s) for at_s, log_s in course) <= LEAD_S + spacing_s


def test_sound_ends_soon_after_the_log() -> None:
    course, end = played(60.0, [0.1 * k for k in range(301)])
    assert end is Step.END
    assert course[-1][1] == pytest.approx(30.0)
    assert 30.0 + TAIL_S < course[-1][0] <= 30.0 + TAIL_S + PIECE_S


def test_the_log_beyond_the_sound_is_taken_up_to_half_the_memory() -> None:
    course, end = played(30.0, [float(k) for k in range(1000)])
    assert end is Step.END
    assert course[-1] == (30.0, 30.0 + FURTHEST_S)


def test_a_hole_in_the_log_is_gone_through() -> None:
    course, end = played(400.0, [0.0, 1.0, 200.0, 201.0, 390.0])
    assert end is Step.END
    assert Counter(log_s for _, log_s in course).keys() >= {200.0, 201.0, 390.0}
    assert max(at_s - log_s for at_s, log_s in course) <= FURTHEST_S + 2 * PIECE_S


ONLY_SOUND = Standing(
    sound=Supply.HELD, cuff=Supply.AWAITED, sound_s=10.0, log_s=0.0, row_s=None, wall_s=0.5
)


def test_sound_faster_than_time_waits_for_the_log() -> None:
    assert choose(ONLY_SOUND) is Step.WAIT
    assert choose(replace(ONLY_SOUND, log_s=10.0 - LEAD_S)) is Step.SOUND


def test_sound_in_time_is_never_held_back() -> None:
    # Not taking it would make a sound card lose samples, and every time would be wrong.
    for at_s in (0.0, 10.0, FURTHEST_S):
        assert choose(replace(ONLY_SOUND, sound_s=at_s, wall_s=at_s)) is Step.SOUND


def test_a_clock_that_is_fast_is_not_held_back() -> None:
    day_s = 86_400.0
    now = replace(ONLY_SOUND, sound_s=1.0005 * day_s, log_s=day_s, wall_s=day_s)
    assert choose(now) is Step.SOUND


def test_rows_in_time_are_taken_while_the_sound_is_missing() -> None:
    now = Standing(
        sound=Supply.AWAITED, cuff=Supply.HELD, sound_s=0.0, log_s=9.0, row_s=10.0, wall_s=10.0
    )
    assert choose(now) is Step.ROWS
    assert choose(replace(now, wall_s=1.0)) is Step.WAIT


def test_a_dead_input_is_told_before_the_memory_is_full() -> None:
    late_s = FURTHEST_S + 1.0
    assert choose(replace(ONLY_SOUND, sound_s=late_s, wall_s=late_s)) is Step.NO_ROWS
    now = Standing(
        sound=Supply.AWAITED, cuff=Supply.HELD, sound_s=0.0, log_s=9.0, row_s=late_s, wall_s=late_s
    )
    assert choose(now) is Step.NO_SOUND


@pytest.mark.parametrize("over", ["sound", "cuff"])
def test_patience_with_the_second_input_ends(over: str) -> None:
    supply = {"sound": Supply.AWAITED, "cuff": Supply.AWAITED, over: Supply.OVER}
    now = Standing(**supply, sound_s=20.0, log_s=20.0, row_s=None, wall_s=20.0)
    assert choose(now) is Step.WAIT
    assert choose(replace(now, waited_s=PATIENCE_S + 0.1)) is Step.END


def test_a_sensor_that_goes_on_without_sound_is_not_heard_for_ever() -> None:
    now = Standing(
        sound=Supply.OVER, cuff=Supply.HELD, sound_s=20.0, log_s=24.0, row_s=25.0, wall_s=25.0
    )
    assert choose(now) is Step.ROWS
    assert choose(replace(now, waited_s=PATIENCE_S + 0.1)) is Step.END


def test_nothing_from_either_is_waited_for() -> None:
    assert choose(replace(ONLY_SOUND, sound=Supply.AWAITED, wall_s=1e6)) is Step.WAIT
