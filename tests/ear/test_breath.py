"""Silences that are the breath's, told from gaps: one case for each clause of the definition.

``x`` is a beat that sounds, ``.`` a silent one, from the top of the cuff down.  The expected
positions are counted by hand.  Breath: 8-30 a minute, so 2-8 s (common practice).
"""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.ear.rules import breath_silences


def silences(
    story: str,
    step_mmhg: float = 1.0,
    beat_s: float = 1.0,
    first: int | None = None,
    last: int | None = None,
) -> list[int]:
    """The breath's silences of one story, between its outermost sounds unless told otherwise."""
    heard = np.array([one == "x" for one in story])
    count = np.arange(len(story))
    return breath_silences(
        heard,
        150.0 - step_mmhg * count,
        beat_s * count,
        story.index("x") if first is None else first,
        story.rindex("x") if last is None else last,
    )


def test_an_unbroken_run_has_none() -> None:
    assert silences("..xxxxxxxx...") == []


def test_a_lone_silence_away_from_both_thresholds_is_none() -> None:
    # Within 15 mmHg of the first sound, but nothing comes again.
    assert silences("..xxxxxxxx.xxxxxxxxxxxxxxxxxxxx...") == []


@pytest.mark.parametrize(
    ("sounds", "step_mmhg", "own"),
    [(1, 1.5, True), (4, 1.5, True), (4, 1.6, False), (5, 1.5, False)],
)
def test_sounds_within_4_5_mmhg_of_a_threshold_and_then_a_silence(
    sounds: int, step_mmhg: float, own: bool
) -> None:
    # From the first of four sounds to the fourth: 4.5 mmHg at 1.5, 4.8 at 1.6 a beat.
    short, long = "x" * sounds, "x" * 30
    assert silences(f"..{short}.{long}...", step_mmhg) == ([2 + sounds] if own else [])
    assert silences(f"..{long}.{short}...", step_mmhg) == ([32] if own else [])


@pytest.mark.parametrize(("second", "own"), [(15, True), (16, False)])
def test_both_lie_within_15_mmhg_of_one_threshold(second: int, own: bool) -> None:
    # 1 mmHg a beat: silences of one beat 4 s apart, the further one `second` mmHg away.
    story = ["x"] * 50
    story[second] = story[second - 4] = "."
    assert silences("".join(story)) == ([second - 4, second] if own else [])
    story = story[::-1]
    assert silences("".join(story)) == ([49 - second, 53 - second] if own else [])


def test_a_silence_lies_where_its_middle_is() -> None:
    # Two silences of two beats, 5 and 6, 14 and 15, with middles 5.5 and 14.5 mmHg down.
    assert silences("xxxxx..xxxxxxx..xxxxxxxxxxxxxxxxxxxx", beat_s=0.8) == [5, 14]
    # One beat further down: 15.5.
    assert silences("xxxxxx..xxxxxxx..xxxxxxxxxxxxxxxxxxx", beat_s=0.8) == []


@pytest.mark.parametrize(
    ("beats", "beat_s", "own"),
    [
        (2, 1.0, True),  # 2.0 s: 30 a minute
        (2, 0.95, False),  # 1.9 s
        (8, 1.0, True),  # 8.0 s: 7.5 a minute
        (8, 1.05, False),  # 8.4 s
    ],
)
def test_they_come_again_with_the_breath(beats: int, beat_s: float, own: bool) -> None:
    story = ["x"] * 50
    story[6] = story[6 + beats] = "."
    assert silences("".join(story), beat_s=beat_s) == ([6, 6 + beats] if own else [])


@pytest.mark.parametrize(
    ("silent", "beat_s", "own"),
    [(3, 1.0, True), (3, 1.05, False), (4, 1.0, False), (3, 0.5, True), (6, 0.5, False)],
)
def test_half_the_longest_breath_is_the_most(silent: int, beat_s: float, own: bool) -> None:
    # From sound to sound: 4.0, 4.2, 5.0, 2.0 and 3.5 s; in the last case each silence is
    # short enough but its sounds lie 7 beats, 7 mmHg apart and the next one is not there.
    story = f"{'x' * 7}{'.' * silent}{'x' * 40}" if silent == 6 else f"xx{'.' * silent}{'x' * 40}"
    assert silences(story, beat_s=beat_s) == ([2] if own else [])


def test_a_threshold_at_which_this_story_is_silent_counts_as_a_sound() -> None:
    # The systolic beat is 2 and the last sound 17, whatever this one story holds there.
    story = "....xxxxxxxxxxxx...."
    assert silences(story, first=2, last=17) == [3, 16]
    # The sounds beyond are the thresholds themselves, however far the next beat is.
    assert silences(story, step_mmhg=5.0, first=2, last=17) == [3, 16]
    # Beats outside of the two play no part.
    assert silences("x.x." + story[4:16] + ".x.x", first=4, last=15) == []
