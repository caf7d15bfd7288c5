"""Graded sets of recordings to learn from: the set, the listening page, the marking."""

import tapfall.show  # noqa: F401 - before matplotlib, which it keeps quiet
from tapfall.lesson.answers import read_answers, read_sessions
from tapfall.lesson.folder import Written, make_set
from tapfall.lesson.grades import GRADES, Grade, grade_of
from tapfall.lesson.making import Made, Order, make_items
from tapfall.lesson.marking import Marked, mark
from tapfall.lesson.nouns import (
    Answer,
    Answers,
    Dial,
    Habit,
    Item,
    Key,
    KeyBeat,
    KeyGap,
    KeyItem,
    LessonSet,
    Mode,
    Sex,
)
from tapfall.lesson.passing import RULES, PassRule, pass_rule
from tapfall.lesson.sets import read_key, read_set, write_key, write_set

__all__ = [
    "GRADES",
    "RULES",
    "Answer",
    "Answers",
    "Dial",
    "Grade",
    "Habit",
    "Item",
    "Key",
    "KeyBeat",
    "KeyGap",
    "KeyItem",
    "LessonSet",
    "Made",
    "Marked",
    "Mode",
    "Order",
    "PassRule",
    "Sex",
    "Written",
    "grade_of",
    "make_items",
    "make_set",
    "mark",
    "pass_rule",
    "read_answers",
    "read_key",
    "read_sessions",
    "read_set",
    "write_key",
    "write_set",
]
