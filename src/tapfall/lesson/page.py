"""The listening page: one HTML file with sound, a manometer and a place for answers.

It works from the disk and loads nothing; a Content-Security-Policy in it forbids every
load and every script but its own.  What it holds can be analysed by a program, and it
says so.  The key is in it only where the learner is to be told what was there.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from tapfall.errors import InputError, SettingError
from tapfall.lesson.errors import NEAR_MMHG, sounds_beyond
from tapfall.lesson.face import FIRST_DEG, POINTERS, face
from tapfall.lesson.nouns import Key, KeyItem, LessonSet, Mode
from tapfall.lesson.sound import TONE_FAINT, TONE_HZ, TONE_LOUD
from tapfall.lesson.texts import RULES, words_of
from tapfall.show.report import page_templates

#: A mark belongs to a sound that began so long before it, seconds: from in step with the
#: rhythm, which comes a little early, to a slow reaction (our choice).
REACTION_S = (-0.15, 0.6)

_PARTS = ("base", "dial", "sound", "store", "feedback", "page")


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """How a page is made.

    Parameters
    ----------
    mode
        What a learner is told, and when; that of the set if None.
    language
        Code of the language, see :func:`tapfall.lesson.texts.languages`.
    key
        The answers, where they are to stand in the page.
    observer
        Code of the observer that the page is for, if it is one of a study.
    simulated
        Whether the page says that no person was measured; else it says that recordings may
        hold speech.
    """

    mode: Mode | None = None
    language: str = "en"
    key: Key | None = None
    observer: str | None = None
    simulated: bool = True


def page_html(lesson: LessonSet, sounds: Sequence[str], choices: Choices) -> str:
    """Return the listening page of a set.

    Parameters
    ----------
    lesson
        The public part of the set.
    sounds
        The sound of each item as FLAC in base64, as :func:`tapfall.lesson.sound.packed`
        makes it.
    choices
        How it is made.

    Raises
    ------
    SettingError
        Learning or practising without the key, or a language that is not there.
    InputError
        The key is that of another set.

    Examples
    --------
    >>> from tapfall.lesson.nouns import Dial, Item
    >>> item = Item(name="item-01", file="item-01.flac", seconds=1.0,
    ...             dial=Dial(step_s=0.05, mmhg=(90.0,) * 21))
    >>> lesson = LessonSet(set_id="s1", grade="first", mode=Mode.EXAMINE, replays=1,
    ...                    random_zero=False, items=(item,))
    >>> page_html(lesson, ["ZkxhQw=="], Choices()).splitlines()[0]
    '<!DOCTYPE html>'
    """
    mode = choices.mode or lesson.mode
    key = choices.key
    if key is None and mode is not Mode.EXAMINE:
        raise SettingError(
            f"found mode {mode} without a key; allowed with the set's key, which then stands "
            "in the page"
        )
    if key is not None:
        check_key(lesson, key)
    words, run = words_of(choices.language)
    observing = choices.observer is not None
    script = "\n".join(_text(f"{name}.js") for name in _PARTS if key or name != "feedback")
    style = _text("style.css")
    return (
        page_templates("tapfall.lesson")
        .get_template("page.html.j2")
        .render(
            language=choices.language,
            title=words["title_observe" if observing else "title"],
            what=words["mode_observe" if observing else f"mode_{mode}"],
            words=words,
            run=run,
            rules=RULES,
            pointers=POINTERS,
            simulated=choices.simulated,
            random_zero=lesson.random_zero,
            observer=choices.observer,
            has_key=key is not None,
            tells_at_once=key is not None and mode is not Mode.EXAMINE,
            face=face(),
            data=_data(lesson, mode, run, choices),
            sounds=sounds,
            script=script,
            script_hash=_hash(script),
            style=style,
            style_hash=_hash(style),
        )
    )


def check_key(lesson: LessonSet, key: Key) -> None:
    """Raise where a key is not that of a set.

    Raises
    ------
    InputError
        Its set or its items are others.
    """
    if key.set_id != lesson.set_id:
        raise InputError(
            f"found a key of the set '{key.set_id}'; allowed that of '{lesson.set_id}'"
        )
    found, wanted = [one.name for one in key.items], [one.name for one in lesson.items]
    if sorted(found) != sorted(wanted):
        raise InputError(
            f"found a key of {len(found)} items; allowed one with the {len(wanted)} of the set"
        )


def _data(
    lesson: LessonSet, mode: Mode, run: Mapping[str, str], choices: Choices
) -> dict[str, Any]:
    """What the script works with; nothing of the key unless it is to be told."""
    data: dict[str, Any] = {
        "set_id": lesson.set_id,
        "mode": str(mode),
        "replays": lesson.replays,
        "learner": choices.observer,
        "words": {
            name: text
            for name, text in run.items()
            if choices.key is not None or not name.startswith("found_")
        },
        "tone": {"hz": TONE_HZ, "loud": TONE_LOUD, "faint": TONE_FAINT},
        "dial": {"first_deg": FIRST_DEG},
        "items": [
            {
                "name": item.name,
                "seconds": round(item.seconds, 3),
                "step_s": item.dial.step_s,
                "mmhg": [None if one is None else round(one, 1) for one in item.dial.mmhg],
            }
            for item in lesson.items
        ],
    }
    if choices.key is not None:
        data |= {
            "near_mmHg": NEAR_MMHG,
            "reaction_s": REACTION_S,
            "key": [_on_dial(one) for one in choices.key.items],
        }
    return data


def _on_dial(item: KeyItem) -> dict[str, Any]:
    """The answers of one item as the dial shows them, its displaced zero included."""

    def shown(mmhg: float | None) -> float | None:
        return None if mmhg is None else round(mmhg + item.offset_mmhg, 1)

    return {
        "name": item.name,
        "systolic": shown(item.systolic_mmhg),
        "diastolic": shown(item.diastolic_mmhg),
        "k4": shown(item.k4_mmhg),
        "gaps": [[shown(gap.upper_mmhg), shown(gap.lower_mmhg)] for gap in item.gaps],
        "offset": item.offset_mmhg,
        "alone": bool(sounds_beyond(item, "systolic")),
        "beats": [
            {"time_s": round(beat.time_s, 3), "audible": beat.audible, "phase": str(beat.phase)}
            for beat in item.beats
        ],
    }


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return "sha256-" + base64.b64encode(digest).decode("ascii")


def _text(name: str) -> str:
    return (files("tapfall.lesson") / "templates" / name).read_text(encoding="utf-8")
