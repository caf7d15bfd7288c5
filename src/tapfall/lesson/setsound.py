"""The sounds of a set's folder, made ready for its page."""

from __future__ import annotations

from tapfall.errors import InputError, shown
from tapfall.files.audio import read_sound
from tapfall.files.names import PathLike, label_of
from tapfall.lesson.nouns import LessonSet
from tapfall.lesson.sound import at_page_rate, equal, gain_db, packed
from tapfall.study.places import place_of

#: A sound may differ so much from the length that the set states, seconds.
_TOLERANCE_S = 0.1


def set_sounds(lesson: LessonSet, folder: PathLike) -> tuple[str, ...]:
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
    tuple of str
        FLAC in base64, in the order of the items, all equally large.

    Raises
    ------
    InputError
        A sound is not there, cannot be read, or is not as long as the set says.
    """
    sounds: list[str] = []
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
        samples = at_page_rate(sound.samples, sound.rate_hz)
        sounds.append(packed(samples, gain_db(samples, item.dial)))
    return equal(sounds)
