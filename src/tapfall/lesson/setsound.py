"""The sounds of a set's folder, made ready for its page."""

from __future__ import annotations

from dataclasses import dataclass

from tapfall.errors import InputError, shown
from tapfall.files.audio import read_sound
from tapfall.files.names import PathLike, label_of
from tapfall.lesson.nouns import LessonSet
from tapfall.lesson.sound import at_page_rate, equal, gain_db, packed
from tapfall.study.places import place_of

#: A sound may differ so much from the length that the set states, seconds.
_TOLERANCE_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSounds:
    """Sounds for a page, FLAC in base64 in the order of the items, all equally large.

    ``simulated`` where every one of them says so of itself.
    """

    sounds: tuple[str, ...]
    simulated: bool


def set_sounds(lesson: LessonSet, folder: PathLike) -> SetSounds:
    """Return the sounds of a set for its page, each brought to a level that can be heard.

    With one gain for all, sounds that are 28 dB fainter than those of the loudest item
    would lie below the threshold of hearing at a volume that suits that one.  Faint sounds
    stay as faint against their own noise as they are.

    Parameters
    ----------
    lesson
        The set.
    folder
        Where its sounds lie.

    Returns
    -------
    SetSounds
        The sounds, and whether they are simulated.

    Raises
    ------
    InputError
        A sound is not there, cannot be read, or is not as long as the set says.
    """
    sounds: list[str] = []
    simulated = True
    for item in lesson.items:
        try:
            place = place_of(folder, item.file, allow_outside=False)
        except InputError as fault:
            raise InputError(f"{label_of(folder)}: {item.name}: {fault}") from None
        sound = read_sound(place)
        found_s = sound.samples.size / sound.rate_hz
        if abs(found_s - item.seconds) > _TOLERANCE_S:
            raise InputError(
                f"{label_of(folder)}: {shown(item.file)}: found {found_s:.1f} s of sound; allowed "
                f"{item.seconds:.1f} s, as the set says"
            )
        simulated = simulated and sound.simulated
        samples = at_page_rate(sound.samples, sound.rate_hz)
        sounds.append(packed(samples, gain_db(samples, item.dial)))
    return SetSounds(sounds=equal(sounds), simulated=simulated)
