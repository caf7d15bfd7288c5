"""What the user states about a measurement, checked once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from tapfall.errors import SettingError
from tapfall.standards import CUFF_SIZES

#: Words that can be stated, each list from the wanted one on.
ARMS = ("left", "right")
POSTURES = ("sitting", "lying", "standing")
ARM_SUPPORTS = ("desk", "lap", "side")
CUFFS = tuple(size.name for size in CUFF_SIZES)
#: Ranges of numbers that can be true of a person and a visit (our choice, wide).
ARM_CM = (8.0, 80.0)
BLADDER_CM = (2.0, 80.0)
RESTED_MIN = (0.0, 1440.0)
SINCE_LAST_S = (0.0, 86_400.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What the user states about how it was measured; ``None`` where nothing is said.

    Parameters
    ----------
    arm_cm
        Circumference of the upper arm, cm.
    cuff
        Width and length of the bladder in cm, or a size of the table: ``small adult``,
        ``adult``, ``large adult`` or ``thigh``.
    arm
        ``left`` or ``right``.
    posture
        ``sitting``, ``lying`` or ``standing``.
    arm_support
        Where the arm lay: ``desk`` (supported at the height of the heart), ``lap``, or
        hanging at the ``side``.
    back_supported, legs_crossed, talking
        Whether the back leant on something, the legs were crossed, somebody spoke.
    rested_min
        Minutes of rest before.
    since_last_s
        Seconds since the cuff was released after the reading before.
    manometer_calibrated
        Day of the manometer's last calibration.

    Raises
    ------
    SettingError
        A field is outside what is allowed.

    Examples
    --------
    >>> Stated(arm_cm=31.0, cuff="adult").cuff
    'adult'
    >>> Stated(posture="kneeling")
    Traceback (most recent call last):
    tapfall.errors.SettingError: posture is 'kneeling'; allowed sitting, lying, standing
    """

    arm_cm: float | None = None
    cuff: str | tuple[float, float] | None = None
    arm: str | None = None
    posture: str | None = None
    arm_support: str | None = None
    back_supported: bool | None = None
    legs_crossed: bool | None = None
    talking: bool | None = None
    rested_min: float | None = None
    since_last_s: float | None = None
    manometer_calibrated: date | None = None

    def __post_init__(self) -> None:
        for name, words in (
            ("arm", ARMS),
            ("posture", POSTURES),
            ("arm_support", ARM_SUPPORTS),
        ):
            value = getattr(self, name)
            if value is not None and value not in words:
                raise SettingError(f"{name} is {value!r}; allowed {', '.join(words)}")
        for name, span in (
            ("arm_cm", ARM_CM),
            ("rested_min", RESTED_MIN),
            ("since_last_s", SINCE_LAST_S),
        ):
            value = getattr(self, name)
            if value is not None:
                _check_number(name, value, span)
        for name in ("back_supported", "legs_crossed", "talking"):
            value = getattr(self, name)
            if value is not None and not isinstance(value, bool):
                raise SettingError(f"{name} is {value!r}; allowed True or False")
        day = self.manometer_calibrated
        if day is not None and type(day) is not date:
            raise SettingError(f"manometer_calibrated is {day!r}; allowed a datetime.date")
        _check_cuff(self.cuff)


def _check_number(name: str, value: object, span: tuple[float, float]) -> None:
    low, high = span
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not (number and math.isfinite(value) and low <= value <= high):  # type: ignore[arg-type, operator]
        raise SettingError(f"{name} is {value!r}; allowed {low:g} to {high:g}")


def _check_cuff(cuff: object) -> None:
    if cuff is None or (isinstance(cuff, str) and cuff in CUFFS):
        return
    if not isinstance(cuff, tuple) or len(cuff) != 2:
        raise SettingError(
            f"cuff is {cuff!r}; allowed {', '.join(CUFFS)}, or width and length of the bladder"
        )
    _check_number("width of the bladder in cm", cuff[0], BLADDER_CM)
    _check_number("length of the bladder in cm", cuff[1], BLADDER_CM)
    if cuff[0] > cuff[1]:
        raise SettingError(f"cuff is {cuff!r}; allowed a width up to the length, in this order")
