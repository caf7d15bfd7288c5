"""Shipped JSON Schemas of lessons hold what is written."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from tapfall.convert import to_json
from tapfall.lesson import Answers, Mode, Order, grade_of, make_set
from tapfall.lesson.schema import FOLDER, schemas
from tests.lesson.learners import perfect


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
    for name, value in (
        ("lesson-1.json", json.loads((tmp_path / "set" / "set.json").read_text())),
        ("lesson-key-1.json", json.loads(made.key_path.read_text())),
        ("answers-1.json", to_json(answers)),
    ):
        jsonschema.validate(value, schemas()[name])
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**value, "other": 1}, schemas()[name])
