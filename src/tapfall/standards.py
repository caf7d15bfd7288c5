"""Published figures: value, unit, source.

Every number of this package that rests on a publication is here, as a frozen
object that carries its citation; our own choices stand where they are used.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One published number.

    Parameters
    ----------
    value
        The number, in ``unit``.
    unit
        The unit, as it is printed.
    source
        Where the number is published.

    Examples
    --------
    >>> KILOPASCAL.value * 16.0
    120.00992
    """

    value: float
    unit: str
    source: str


KILOPASCAL = Figure(
    value=7.50062,
    unit="mmHg per kPa",
    source=(
        "1 mmHg = 13.5951 g/cm3 x 9.80665 m/s2 x 1 mm = 133.322387 Pa; "
        "NIST Special Publication 811 (2008), appendix B.8 (from memory)"
    ),
)

CENTIMETRE_OF_WATER = Figure(
    value=0.735559,
    unit="mmHg per cmH2O",
    source=(
        "1 cmH2O = 1 g/cm3 x 9.80665 m/s2 x 1 cm = 98.0665 Pa, in mmHg of 133.322387 Pa; "
        "NIST Special Publication 811 (2008), appendix B.8 (from memory)"
    ),
)

VERY_HIGH_SYSTOLIC = Figure(
    value=180.0,
    unit="mmHg",
    source="2017 ACC/AHA guideline on high blood pressure in adults: above 180 mmHg",
)

VERY_HIGH_DIASTOLIC = Figure(
    value=120.0,
    unit="mmHg",
    source="2017 ACC/AHA guideline on high blood pressure in adults: above 120 mmHg",
)

#: Said of every value above those; worded once and used everywhere.
VERY_HIGH_CAUTION = (
    f"Very high (above {VERY_HIGH_SYSTOLIC.value:g} or {VERY_HIGH_DIASTOLIC.value:g} mmHg): "
    "repeat after a few minutes and follow the local emergency protocol."
)


def is_very_high(systolic_mmhg: float | None, diastolic_mmhg: float | None) -> bool:
    """Whether either pressure is above those; a lower bound counts like a value.

    Examples
    --------
    >>> is_very_high(180.0, 80.0), is_very_high(180.5, None), is_very_high(None, 121.0)
    (False, True, True)
    """
    return (systolic_mmhg or 0.0) > VERY_HIGH_SYSTOLIC.value or (
        diastolic_mmhg or 0.0
    ) > VERY_HIGH_DIASTOLIC.value


#: Said with every average and category.
NO_DIAGNOSIS = (
    "A single reading or a single visit is no diagnosis: guidelines want repeated visits, "
    "and readings outside the office."
)

#: Said where arms are compared or chosen.
ARMS_TO_AVOID = (
    "Arms to avoid: with an arteriovenous fistula or graft, lymphoedema, an injury or cast, "
    "an intravenous or arterial line, or recent surgery on that arm. After axillary surgery "
    "advice differs: follow the local protocol."
)

#: Said of a low average, for no scheme of categories ends downwards.
LOW_CAUTION = (
    "Low: the names of categories say nothing about low pressure; with symptoms follow the "
    "local protocol."
)

LOW_SYSTOLIC = Figure(
    value=90.0, unit="mmHg", source="common practice: below 90/60 mmHg (from memory)"
)

LOW_DIASTOLIC = Figure(
    value=60.0, unit="mmHg", source="common practice: below 90/60 mmHg (from memory)"
)

MEAN_ARTERIAL_SHARE = Figure(
    value=1.0 / 3.0,
    unit="of the pulse pressure above diastolic",
    source="textbooks: mean arterial pressure is diastolic + pulse pressure / 3 (from memory)",
)

IRREGULAR_READINGS = Figure(
    value=3.0,
    unit="readings",
    source="review of blood pressure in atrial fibrillation (discovery.researcher.life): "
    "use the mean of three readings",
)

INFLATE_ABOVE = Figure(
    value=20.0,
    unit="mmHg",
    source="ACC/AHA checklist and AHA 2019: 20 to 30 mmHg above the palpated estimate",
)

INFLATE_ABOVE_MOST = Figure(
    value=30.0,
    unit="mmHg",
    source="ACC/AHA checklist and AHA 2019: 20 to 30 mmHg above the palpated estimate",
)

INFLATE_OVER_GAP = Figure(
    value=40.0,
    unit="mmHg",
    source="general reference on the silent gap: inflate 20 to 40 mmHg above obliteration",
)

HIGHEST_CUFF = Figure(
    value=300.0,
    unit="mmHg",
    source="IEC 80601-2-30, normal use with adults: at most 300 mmHg (from memory)",
)

DEFLATION = Figure(
    value=2.0,
    unit="mmHg/s",
    source="ACC/AHA checklist and AHA 2019: 2 mmHg/s; AHA 2005: 2 to 3 (from memory)",
)

DEFLATION_MOST = Figure(
    value=3.0,
    unit="mmHg/s",
    source="ACC/AHA checklist and AHA 2019: 2 mmHg/s; AHA 2005: 2 to 3 (from memory)",
)

DEFLATION_PER_BEAT = Figure(
    value=2.0,
    unit="mmHg per beat",
    source="Korean guideline 2018, table 1: 2 mmHg per heart beat",
)

LISTEN_ON = Figure(
    value=10.0,
    unit="mmHg",
    source="AHA and survey protocols: 10 mmHg below the last sound (from memory); "
    "a teaching page says 10 to 20",
)

BETWEEN_READINGS = Figure(
    value=60.0,
    unit="s",
    source="ESC/ESH 2018, ISH 2020, ESH 2023, ACC/AHA: readings 1 min or more apart",
)

BETWEEN_SURVEY_READINGS = Figure(
    value=30.0,
    unit="s",
    source="survey protocols of the NHANES kind: 30 s apart (from memory)",
)

REST = Figure(
    value=5.0,
    unit="min",
    source="ESC/ESH 2018, table 8: 5 min; ACC/AHA checklist: more than 5 min",
)

REST_LEAST = Figure(
    value=3.0,
    unit="min",
    source="AHA 2019: 3 to 5 min without talking or moving (from a news summary)",
)

MANOMETER_ERROR = Figure(
    value=3.0,
    unit="mmHg",
    source="ISO 81060-1: error of the cuff pressure within +-3 mmHg (from memory)",
)

CALIBRATION_ANEROID = Figure(
    value=6.0,
    unit="months",
    source="maintenance advice (scribd.com/document/399817325): aneroid every 6 months, others "
    "every year",
)

CALIBRATION = Figure(
    value=12.0,
    unit="months",
    source="maintenance advice (scribd.com/document/399817325): aneroid every 6 months, others "
    "every year",
)

BLADDER_WIDTH_LEAST = Figure(
    value=0.37, unit="of the arm", source="AHA 2019, by a textbook: width 37 to 50 % of the arm"
)
BLADDER_WIDTH_MOST = Figure(
    value=0.50, unit="of the arm", source="AHA 2019, by a textbook: width 37 to 50 % of the arm"
)
BLADDER_LENGTH_LEAST = Figure(
    value=0.75, unit="of the arm", source="AHA 2019: length 75 to 100 % of the arm"
)
BLADDER_LENGTH_MOST = Figure(
    value=1.00, unit="of the arm", source="AHA 2019: length 75 to 100 % of the arm"
)

LARGEST_PULSE_SHARE = Figure(
    value=0.45,
    unit="of the way from diastolic to systolic",
    source="Chandrasekhar 2019: the cuff's pulse is largest at 0.45 SBP + 0.55 DBP",
)

SYSTOLIC_PULSE_SHARE = Figure(
    value=0.55,
    unit="of the largest pulse",
    source="Geddes 1982: the cuff's pulse at systolic is 0.55 of the largest (from memory); "
    "0.5 elsewhere",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CuffSize:
    """One row of a table of cuffs: arms, as printed in whole cm, and the bladder for them."""

    name: str
    arm_from_cm: float
    arm_to_cm: float
    width_cm: float
    length_cm: float


#: The table's arms are whole cm; between two rows see :mod:`tapfall.technique`.
CUFF_SIZES_SOURCE = "AHA 2005 (Pickering): cuffs for adults"
CUFF_SIZES: tuple[CuffSize, ...] = tuple(
    CuffSize(name=name, arm_from_cm=low, arm_to_cm=high, width_cm=width, length_cm=length)
    for name, low, high, width, length in (
        ("small adult", 22.0, 26.0, 12.0, 22.0),
        ("adult", 27.0, 34.0, 16.0, 30.0),
        ("large adult", 35.0, 44.0, 16.0, 36.0),
        ("thigh", 45.0, 52.0, 16.0, 42.0),
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What a fault of technique does to the pressures, in words as they are printed."""

    words: str
    source: str


ARM_ON_LAP = Effect(
    words="reads high: systolic +3.9 (2.5 to 5.2), diastolic +4.0 (3.1 to 5.0) mmHg",
    source="ARMS trial 2024, 133 people, against an arm on a desk",
)
ARM_AT_SIDE = Effect(
    words="reads high: systolic +6.5 (5.1 to 7.9), diastolic +4.4 (3.4 to 5.4) mmHg",
    source="ARMS trial 2024, 133 people, against an arm on a desk",
)
TALKING = Effect(
    words="reads 8 to 15 mmHg high",
    source="teaching page that cites Arch Intern Med 153",
)
BACK_UNSUPPORTED = Effect(
    words="reads 5 to 10 mmHg high",
    source="teaching page that cites J Gen Intern Med 10",
)
LEGS_CROSSED = Effect(
    words="reads about 3 to 10 mmHg high",
    source="AHA and reviews, from memory, unsure",
)
CUFF_TOO_SMALL = Effect(
    words="reads high, more so than a cuff too large reads low",
    source="AHA 2005, from memory",
)
CUFF_TOO_LARGE = Effect(words="reads slightly low", source="AHA 2005, from memory")
DEFLATED_FAST = Effect(
    words="systolic reads low, diastolic high",
    source="textbook; rate times beat interval",
)
DEFLATED_SLOWLY = Effect(words="diastolic reads high (congestion)", source="textbook")
CONGESTED = Effect(
    words="sounds are dulled, diastolic reads high (congestion)",
    source="textbooks, from memory: deflate fully and wait 15 to 60 s",
)
INFLATED_INTO_GAP = Effect(
    words="systolic reads low where sounds lie above the top or above a silent gap",
    source="general reference on the silent gap",
)
RELEASED_EARLY = Effect(
    words="diastolic reads high where sounds go on below",
    source="follows from the rule of the last sound",
)
