"""The methods paragraph tells what was done to each table, and nothing else."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from tapfall.study.agreement import agreement, table_of


def methods(head: str, rows: Sequence[str], reference: str = "observers") -> str:
    data = "\n".join([head, *rows]).encode()
    return agreement(table_of("t", data), "esc-2024", reference=reference).methods


#: Sentences, each by a few of its words, and the tables that it is told of.
WORDS = {
    "plain": (
        "reference,estimate",
        ["120,121", "130,131"],
        {"Subjects were not told", "1.96^2 / (2 (n - 1))", "Bland & Altman 1986", "ICC(2,1)"},
    ),
    "subjects": (
        "reference,estimate,subject",
        ["120,121,a", "130,132,b"],
        {"1.96^2 / (2 (n - 1))", "Bland & Altman 1986", "Criterion 2", "ICC(2,1)"},
    ),
    "repeated": (
        "reference,estimate,subject",
        ["120,121,a", "130,132,b", "131,132,b"],
        {"analysis of variance", "constant true value", "third set", "Bland & Altman 1986",
         "Criterion 2", "ICC(2,1)"},
    ),
    "one subject": (
        "reference,estimate,subject",
        ["120,121,a", "130,132,a"],
        {"one single subject"},
    ),
    "conditions": (
        "reference,estimate,condition",
        ["120,121,a", "130,132,b", "130,133,b"],
        {"all conditions together and for each", "Subjects were not told",
         "1.96^2 / (2 (n - 1))", "Bland & Altman 1986", "ICC(2,1)"},
    ),
    "confidence": (
        "reference,estimate,confidence",
        ["120,121,0.5", "130,132,"],
        {"risk-coverage curve", "Subjects were not told", "1.96^2 / (2 (n - 1))",
         "Bland & Altman 1986", "ICC(2,1)"},
    ),
    "two observers": (
        "reference,reference_2,estimate,subject",
        ["120,121,121,a", "130,131,132,b"],
        {"Where two observers gave a value", "1.96^2 / (2 (n - 1))", "Bland & Altman 1986",
         "Criterion 2", "ICC(2,1)"},
    ),
    "kappa": (
        "reference,estimate,subject,measure",
        ["120,121,a,systolic", "150,152,b,systolic"],
        {"categories of ESC 2024", "1.96^2 / (2 (n - 1))", "Bland & Altman 1986", "Criterion 2",
         "ICC(2,1)"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(WORDS))
def test_a_sentence_is_told_of_the_tables_that_it_holds_for(name: str) -> None:
    head, rows, wanted = WORDS[name]
    text = methods(head, rows)
    every = set().union(*(words for _, _, words in WORDS.values()))
    told = {words for words in every if words in text}
    assert told == wanted
    assert all(text.count(words) == 1 for words in told)


def test_each_pressure_is_counted_by_its_name() -> None:
    head = "reference,estimate,subject,measure,condition"
    text = methods(head, ["120,121,a,systolic,x", "80,,a,diastolic,x", "130,>=120,b,systolic,y"])
    assert (
        "For systolic pressure the table holds 2 rows: 1 pair of 1 subject, 0 abstentions, "
        "1 bounded estimate, 0 rows with observers too far apart and 0 rows without a reference."
    ) in text
    assert "For diastolic pressure the table holds 1 row: 0 pairs of 0 subjects" in text
    # The groups of conditions are not counted again.
    assert text.count("the table holds") == 2
    plain = methods("reference,estimate", ["120,121", ",130"])
    assert "The table holds 2 rows: 1 pair, 0 abstentions" in plain
    assert "and 1 row without a reference." in plain


def test_another_device_is_named_instead_of_observers() -> None:
    head, rows = "reference,reference_2,estimate", ["120,121,121", "130,131,132"]
    device, observers = methods(head, rows, "device"), methods(head, rows)
    assert "Where two devices gave a value" in device
    assert "The reference is another device" in device
    assert "Where two observers gave a value" in observers
    assert "The reference is another device" not in observers
    for words in ("Criterion 1", "BHS 1993", "last even digits"):
        assert words in observers
        assert words not in device


def test_a_curve_of_one_pressure_is_told() -> None:
    head = "reference,estimate,measure,confidence"
    rows = ["120,121,systolic,0.5", "130,131,systolic,0.6", "80,81,diastolic,", "90,91,diastolic,"]
    assert "risk-coverage curve" in methods(head, rows)
    assert "risk-coverage curve" not in methods(head, rows[2:])
