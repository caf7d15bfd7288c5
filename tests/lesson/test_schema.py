"""Shipped JSON Schemas of lessons hold what is written."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from tapfall.convert import to_json
from tapfall.lesson import Answers, Mode, Order, grade_of, make_set, mark, pass_rule
from tapfall.lesson.marking import marks_record
from tapfall.lesson.schema import FOLDER, schemas
from tests.lesson.learners import perfect
from tests.lesson.test_mark import answers_of, items, key_of


@pytest.mark.parametrize("name", sorted(schemas()))
def test_the_shipped_copies_are_of_this_version(name: str) -> None:
    assert json.loads((FOLDER / name).read_text(encoding="utf-8")) == schemas()[name]
    jsonschema.Draft202012Validator.check_schema(schemas()[name])


def test_what_is_written_follows_its_schema(tmp_path: Path) -> None:
    made = make_set(Order(grade=grade_of("3"), count=2, seed=1, random_zero=True), tmp_path / "set")
    rng = np.random.default_rng(1)
    answers = Answers(
        set_id=made.lesson.set_id,
        learner="k-1",
        saved="2026-01-05T10:00:00Z",
        mode=Mode.LEARN,
        answers=tuple(perfect(one, rng) for one in made.key.items),
    )
    marked = mark(made.key, [answers], pass_rule("expert-1991"))
    for name, value in (
        ("marks-1.json", json.loads(json.dumps(marks_record(marked)))),
        ("lesson-1.json", json.loads((tmp_path / "set" / "set.json").read_text())),
        ("lesson-key-1.json", json.loads(made.key_path.read_text())),
        ("answers-1.json", to_json(answers)),
    ):
        jsonschema.validate(value, schemas()[name])
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**value, "other": 1}, schemas()[name])


def test_marks_of_a_class_follow_their_schema() -> None:
    # Habits, repeats, pairs of learners, missing answers: every branch of the form.
    first = items(15, 3)
    given = [
        replace(answers_of(first, name, 7), learner=name)
        for name in ("misses gaps", "careful", "K4 for K5")
    ]
    given[1] = replace(given[1], answers=given[1].answers[:-2])
    record = marks_record(mark(key_of(first), given, pass_rule("4:90,bias:2")))
    value = json.loads(json.dumps(record))
    jsonschema.validate(value, schemas()["marks-1.json"])
    assert value["group"]["habits"]
    assert value["group"]["apart"]
    for part, wrong in (("habits", [["missed_gap"]]), ("habits", [["other", 1]]), ("apart", [1])):
        broken = {**value, "group": {**value["group"], part: wrong}}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(broken, schemas()["marks-1.json"])
    with pytest.raises(jsonschema.ValidationError, match="caution"):
        jsonschema.validate(
            {name: one for name, one in value.items() if name != "caution"},
            schemas()["marks-1.json"],
        )
