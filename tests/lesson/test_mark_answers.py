"""Answers read from files: both forms, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.convert import to_json
from tapfall.errors import InputError
from tapfall.lesson.answers import COLUMNS, read_answers, read_sessions, saved_at
from tapfall.lesson.nouns import Answer, Answers, Mode

HEADER = ",".join(COLUMNS)
ROW = "set-7,ANNA-1,2026-03-01T10:00:00Z,examine,item-01,124,78,1,12.5 13.4"
ANSWERS = Answers(
    set_id="set-7",
    learner="ANNA-1",
    saved="2026-03-01T10:00:00Z",
    mode=Mode.EXAMINE,
    answers=(
        Answer(
            item="item-01",
            systolic_mmhg=124.0,
            diastolic_mmhg=78.0,
            marks_s=(12.5, 13.4),
            replays=1,
        ),
        Answer(item="item-02", systolic_mmhg=None, diastolic_mmhg=60.0, marks_s=(), replays=0),
    ),
)


def wrote(tmp_path: Path, text: str | bytes, name: str = "a.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def record(**changed: Any) -> dict[str, Any]:
    return {**to_json(ANSWERS), **changed}


def item(**changed: Any) -> dict[str, Any]:
    return {**to_json(ANSWERS)["answers"][0], **changed}


def test_json_comes_back(tmp_path: Path) -> None:
    assert read_answers(wrote(tmp_path, json.dumps(record()))) == ANSWERS


def test_csv_comes_back(tmp_path: Path) -> None:
    second = "set-7,ANNA-1,2026-03-01T10:00:00Z,examine,item-02,,60,0,"
    assert read_answers(wrote(tmp_path, f"{HEADER}\n{ROW}\n{second}\n")) == ANSWERS


def test_a_table_of_a_class_in_another_spreadsheet(tmp_path: Path) -> None:
    text = (
        "\ufeffLearner;set_id;item;systolic_mmhg;Diastolic_mmHg\r\n"
        "k-1;set-7;item-01;124,0;78\r\nK-1;set-7;item-02;130;\r\nb;'=2;item-01;;\r\n"
    )
    one, other = read_sessions(wrote(tmp_path, text))
    assert (one.learner, other.learner, other.set_id) == ("k-1", "b", "=2")
    assert [answer.systolic_mmhg for answer in one.answers] == [124.0, 130.0]
    assert one.answers[1].diastolic_mmhg is None
    assert other.answers[0].systolic_mmhg is None
    assert one.mode is Mode.EXAMINE
    with pytest.raises(InputError, match="found 2 sessions"):
        read_answers(tmp_path / "a.csv")


@pytest.mark.parametrize("dash", ["-", "\u2212", "\u2013", "\u2014", "'-"])
def test_a_dash_says_that_it_cannot_be_told(tmp_path: Path, dash: str) -> None:
    path = wrote(tmp_path, f"{HEADER}\nset-7,ANNA-1,,,item-01,{dash},{dash},,\n")
    (answer,) = read_answers(path).answers
    assert (answer.systolic_mmhg, answer.diastolic_mmhg) == (None, None)


def test_sessions_are_put_in_order_over_time_zones() -> None:
    def at(saved: str) -> Answers:
        return Answers(set_id="s", learner="A", saved=saved, mode=Mode.LEARN, answers=())

    texts = ["0001-01-01T00:00:00+14:00", "2026-03-01", "2026-03-01T10:00:00+02:00",
             "2026-03-01T08:30", "2026-03-01T08:31:00Z", "9999-12-31T23:59:59-12:00"]  # fmt: skip
    moments = [saved_at(at(text)) for text in texts]
    assert moments == sorted(moments)


def row(**changed: str) -> str:
    """The row of above, with some cells changed."""
    cells = dict(zip(COLUMNS, ROW.split(","), strict=True))
    return ",".join((cells | changed).values())


ROWS = {
    row(learner="ANNA 1"): "line 2: learner: found 'ANNA 1'; allowed a code .no name. of 1 to 20",
    row(learner=""): "line 2: learner: found ''",
    row(learner="x" * 21): "line 2: learner: found 'x",
    row(learner="A\x1b[2J"): r"line 2: learner: found 'A\\x1b\[2J'",
    row(learner="=1+1"): "line 2: learner: found '=1.1'",
    row(learner="<b>"): "line 2: learner: found '<b>'",
    row(set_id=""): "line 2: set_id: found ''",
    row(saved="yesterday"): "line 2: saved: found 'yesterday'; allowed a day and time such as",
    row(mode="exam"): "line 2: mode: found 'exam'; allowed learn, practise, examine",
    row(item=""): "line 2: item: found ''",
    row(systolic_mmHg="124.5"): "systolic_mmHg: found '124.5'; allowed whole mmHg, 0 to 340, or",
    row(systolic_mmHg="1e2"): "systolic_mmHg: found '1e2'",
    row(systolic_mmHg="nan"): "systolic_mmHg: found 'nan'",
    row(systolic_mmHg="-4"): "systolic_mmHg: found '-4'",
    row(systolic_mmHg="341"): "systolic_mmHg: found '341'",
    row(systolic_mmHg="\u0663"): "systolic_mmHg: found",
    row(systolic_mmHg="78", diastolic_mmHg="124"): "found 124 beside a systolic of 78; all",
    row(replays="-1"): "replays: found '-1'; allowed a whole number, 0 to 10000",
    row(marks_s="12 x"): "marks_s: found 'x'; allowed seconds, 0 to 3600",
    row(marks_s="3601"): "marks_s: found '3601'",
    ROW.rpartition(",")[0]: "line 2: found 8 cells; allowed 9",
    f"{ROW}\n{ROW}": "line 3: item: found 'item-01' again; allowed one answer",
    f"{ROW}\n{row(mode='learn')}": "line 3: mode: found 'learn', 'examine' in a row",
    '"open': r"line \d: found what is not CSV",
}


@pytest.mark.parametrize(("rows", "message"), ROWS.items())
def test_rows_that_are_refused(tmp_path: Path, rows: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        read_sessions(wrote(tmp_path, f"{HEADER}\n{rows}\n"))
    first, *rest = str(caught.value).split("\n")
    assert first.startswith(str(tmp_path / "a.csv"))
    assert first.isprintable()
    assert len(rest) <= 10


FILES = {
    "": "found 0 bytes",
    " \n\n": "found only empty lines",
    HEADER: "found 0 rows below the header; allowed 1 to 20000",
    f"{HEADER},item\n{ROW},x": "line 1: found 'item' twice",
    f"{HEADER},=cmd\n{ROW},x": "line 1: found the column '=cmd'; allowed set_id",
    "set_id,learner,item,systolic_mmHg\n": "line 1: found no column 'diastolic_mmHg'",
    b"set_id\nlearner\xff\n": "line 2: found bytes that are not UTF-8",
    "{": r"line 1: found what is not JSON",
    "{\n\n x": r"line 3: found what is not JSON",
    "[]": "schema: found a list; allowed 'tapfall.answers/1'",
    '{"schema": "tapfall.lesson-key/1"}': "schema: found 'tapfall.lesson-key/1'",
    '{"schema": "tapfall.answers/1"}': "found no 'set_id'",
    '{"a": 1, "a": 2}': "found 'a' twice; allowed once in an object",
    '{"a": NaN}': "found NaN; allowed finite numbers",
    '{"a": ' + "[" * 100_000: "too deep a nesting",
    '{"a": ' + "9" * 5000 + "}": "too long a number",
}


@pytest.mark.parametrize(
    ("text", "message"), FILES.items(), ids=[str(n) for n in range(len(FILES))]
)
def test_files_that_are_refused(tmp_path: Path, text: str | bytes, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_sessions(wrote(tmp_path, text))


FIELDS: dict[str, tuple[dict[str, Any], str]] = {
    "unknown": (record(name="Anna"), "found the unknown field 'name'; allowed schema, set_id"),
    "learner": (record(learner=7), "learner: found 7; allowed a text"),
    "mode": (record(mode="exam"), "mode: found 'exam'; allowed learn, practise, examine"),
    "answers": (record(answers={}), "answers: found an object; allowed at most 20000 in a list"),
    "answer": (record(answers=[3]), "answers, number 1: found 3; allowed an object"),
    "item": (record(answers=[item(item=None)]), "number 1, item: found null; allowed a text"),
    "text": (record(answers=[item(systolic_mmHg="124")]), "systolic_mmHg: found ''124''"),
    "true": (record(answers=[item(systolic_mmHg=True)]), "systolic_mmHg: found 'true'"),
    "part": (record(answers=[item(systolic_mmHg=124.5)]), "systolic_mmHg: found '124.5'"),
    "huge": (record(answers=[item(systolic_mmHg=10**30)]), r"systolic_mmHg: found '1e\+30'"),
    "below": (record(answers=[item(diastolic_mmHg=-1)]), "diastolic_mmHg: found '-1'"),
    "marks": (record(answers=[item(marks_s=3)]), "number 1, marks_s: found 3; allowed a list"),
    "mark": (record(answers=[item(marks_s=[-0.1])]), "marks_s: found '-0.1'; allowed seconds"),
    "many": (record(answers=[item(marks_s=[1.0] * 2001)]), "marks_s: found 2001"),
    "replays": (record(answers=[item(replays=1.5)]), "replays: found '1.5'"),
    "twice": (record(answers=[item(), item()]), "number 2, item: found 'item-01' again"),
}  # fmt: skip


@pytest.mark.parametrize("name", FIELDS)
def test_fields_that_are_refused(tmp_path: Path, name: str) -> None:
    value, message = FIELDS[name]
    with pytest.raises(InputError, match=message):
        read_answers(wrote(tmp_path, json.dumps(value), "a.json"))


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    value = record(mode="exam", answers=[item(replays=-1), item(item="item-02", marks_s=3)])
    with pytest.raises(InputError) as caught:
        read_answers(wrote(tmp_path, json.dumps(value)))
    assert len(str(caught.value).split("\n")) == 3


@settings(max_examples=200)
@given(
    st.binary(max_size=200)
    | st.text(max_size=200).map(lambda text: (HEADER + "\n" + text).encode())
)
def test_any_bytes_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(data)
    try:
        assert read_sessions(path)
    except InputError as fault:
        assert str(fault).startswith(str(path))
