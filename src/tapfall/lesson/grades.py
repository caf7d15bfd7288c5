"""Six grades of difficulty, each defined by what can be measured in a recording.

Ranges are our choice unless a source stands beside them; that difficulty really rises from
grade to grade is measured (:mod:`tapfall.lesson.novice`), not assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.errors import SettingError, shown

Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """What the items of a grade are like.

    Parameters
    ----------
    name
        Its number, and ``title`` what it is about.
    signal_to_noise_db
        As in the definitions of the simulator, all noises together.
    peak_dbfs
        Level of the loudest sound: from person to person it varies by 28 dB (Celler 2017).
    deflation_mmhg_per_s
        2-3 is taught (AHA 2019); faster leaves fewer beats to tell a threshold by.  Not below
        2.5: every cuff starts above 220 mmHg, so that its top tells nothing.
    heart_rate_per_min
        A slow heart leaves few beats, too; fibrillation has its own, 75-115.
    muffling_mmhg
        Distance of K4 and K5; 6.3 (2.6) in Hammond 1995.
    first_db
        Level of the first and last sounds below the loudest.
    over_noise_db
        So far every sound stands out of the noise at least, before it scatters from beat to
        beat: what nobody can hear is no question.
    gap_share, gap_mmhg
        Share of items with a silent gap, and its width.
    rhythms
        Rhythm and its share of the items: ``sinus``, ``ectopics``, ``alternans``,
        ``atrial_fibrillation``.
    to_zero_share
        Share of items whose sounds go on to zero.
    distractors, distractor_share
        Noises instead of breath and hum, and the share of items that hold one of them.
    heart_below_db
        Conducted heart sounds lie so far below all other noise, where they are not the
        distractor themselves.
    """

    name: str
    title: str
    signal_to_noise_db: Range
    peak_dbfs: Range
    deflation_mmhg_per_s: Range
    heart_rate_per_min: Range
    muffling_mmhg: Range
    first_db: Range
    over_noise_db: float
    gap_share: float
    gap_mmhg: Range
    rhythms: tuple[tuple[str, float], ...]
    to_zero_share: float
    distractors: tuple[str, ...]
    distractor_share: float
    heart_below_db: float


GRADES: tuple[Grade, ...] = (
    Grade(
        name="1",
        title="clear sounds",
        signal_to_noise_db=(20.0, 23.0),
        peak_dbfs=(-14.0, -8.0),
        deflation_mmhg_per_s=(2.5, 2.6),
        heart_rate_per_min=(80.0, 100.0),
        muffling_mmhg=(2.0, 5.0),
        first_db=(-7.0, -4.0),
        over_noise_db=14.0,
        gap_share=0.0,
        gap_mmhg=(0.0, 0.0),
        rhythms=(("sinus", 1.0),),
        to_zero_share=0.0,
        distractors=(),
        distractor_share=0.0,
        heart_below_db=16.0,
    ),
    Grade(
        name="2",
        title="ordinary sounds, a long muffled end",
        signal_to_noise_db=(15.0, 18.0),
        peak_dbfs=(-18.0, -10.0),
        deflation_mmhg_per_s=(2.5, 2.9),
        heart_rate_per_min=(66.0, 95.0),
        muffling_mmhg=(5.0, 12.0),
        first_db=(-14.0, -10.0),
        over_noise_db=8.5,
        gap_share=0.0,
        gap_mmhg=(0.0, 0.0),
        rhythms=(("sinus", 1.0),),
        to_zero_share=0.0,
        distractors=(),
        distractor_share=0.0,
        heart_below_db=10.0,
    ),
    Grade(
        name="3",
        title="silent gaps",
        signal_to_noise_db=(11.0, 13.5),
        peak_dbfs=(-22.0, -12.0),
        deflation_mmhg_per_s=(2.6, 3.0),
        heart_rate_per_min=(62.0, 95.0),
        muffling_mmhg=(3.0, 10.0),
        first_db=(-15.0, -11.0),
        over_noise_db=6.5,
        gap_share=0.25,
        gap_mmhg=(14.0, 32.0),
        rhythms=(("sinus", 1.0),),
        to_zero_share=0.0,
        distractors=(),
        distractor_share=0.0,
        heart_below_db=8.0,
    ),
    Grade(
        name="4",
        title="faint sounds, early beats",
        signal_to_noise_db=(9.5, 11.5),
        peak_dbfs=(-32.0, -22.0),
        deflation_mmhg_per_s=(2.9, 3.4),
        heart_rate_per_min=(58.0, 100.0),
        muffling_mmhg=(3.0, 10.0),
        first_db=(-13.0, -9.0),
        over_noise_db=6.0,
        gap_share=0.4,
        gap_mmhg=(12.0, 28.0),
        rhythms=(("sinus", 0.5), ("ectopics", 0.5)),
        to_zero_share=0.0,
        distractors=("knocks",),
        distractor_share=0.5,
        heart_below_db=6.0,
    ),
    Grade(
        name="5",
        title="speech, rubbing and heart sounds; alternating beats",
        signal_to_noise_db=(7.0, 8.5),
        peak_dbfs=(-32.0, -16.0),
        deflation_mmhg_per_s=(3.2, 4.0),
        heart_rate_per_min=(58.0, 105.0),
        muffling_mmhg=(3.0, 10.0),
        first_db=(-11.0, -7.0),
        over_noise_db=4.5,
        gap_share=0.55,
        gap_mmhg=(10.0, 24.0),
        rhythms=(("sinus", 0.4), ("ectopics", 0.3), ("alternans", 0.3)),
        to_zero_share=0.0,
        distractors=("speech", "friction", "heart"),
        distractor_share=0.7,
        heart_below_db=6.0,
    ),
    Grade(
        name="6",
        title="all of it, in fibrillation, on a cuff that falls fast",
        signal_to_noise_db=(5.0, 7.0),
        peak_dbfs=(-34.0, -20.0),
        deflation_mmhg_per_s=(3.5, 4.8),
        heart_rate_per_min=(58.0, 110.0),
        muffling_mmhg=(3.0, 12.0),
        first_db=(-9.0, -5.0),
        over_noise_db=6.0,
        gap_share=0.65,
        gap_mmhg=(10.0, 20.0),
        rhythms=(("sinus", 0.4), ("atrial_fibrillation", 0.4), ("alternans", 0.2)),
        to_zero_share=0.1,
        distractors=("speech", "friction", "heart", "knocks"),
        distractor_share=0.7,
        heart_below_db=6.0,
    ),
)


def grade_of(name: str) -> Grade:
    """Return a grade by its number.

    Parameters
    ----------
    name
        Its number: ``1`` to ``6``.

    Returns
    -------
    Grade
        Title and rules of the grade.

    Raises
    ------
    SettingError
        There is no such grade.

    Examples
    --------
    >>> grade_of("3").title
    'silent gaps'
    """
    for grade in GRADES:
        if grade.name == name:
            return grade
    names = ", ".join(grade.name for grade in GRADES)
    raise SettingError(f"grade: found {shown(name)}; allowed {names}")
