"""Manifests: what is taken, and every fault of one, by line and column."""

from __future__ import annotations

from pathlib import Path

import pytest

from tapfall.study import ManifestError, read_manifest
from tests.study.made import HEADER, write_manifest

WITH = (*HEADER, "observer_1_systolic_mmHg", "observer_1_diastolic_mmHg", "arm_cm", "cuff_size")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a sound and a log, and a secret beside it."""
    home = tmp_path / "home"
    (home / "deep").mkdir(parents=True)
    names = ("home/a.wav", "home/a.csv", "home/b.csv", "home/c.csv", "home/deep/b.wav")
    for name in (*names, "secret.wav"):
        (tmp_path / name).write_bytes(b"x")
    return home


def faults_of(path: Path, **how: bool) -> tuple[str, ...]:
    with pytest.raises(ManifestError) as caught:
        read_manifest(path, **how)
    assert str(caught.value).splitlines()[1:] == [f"  {one}" for one in caught.value.faults]
    return caught.value.faults


def test_a_sound_manifest(folder: Path) -> None:
    header = (*WITH, "sex", "age_years", "condition", "ward")
    path = write_manifest(
        folder / "m.csv",
        header,
        ("r1", "p1", "a.wav", "a.csv", "120", "80", "31.5", "large-adult", "Female", "61", "", "7"),
        ("r2", "p1", "deep/b.wav", "a.csv", "", "", "", "12x23", "", "", "noisy", "=1+1"),
    )
    manifest = read_manifest(path)
    one, two = manifest.entries
    assert manifest.columns == header
    assert (one.recording, one.subject, one.line) == ("r1", "p1", 2)
    assert (one.arm_cm, one.cuff_size) == (31.5, "large adult")
    assert one.observers[0].systolic_mmhg == 120.0
    assert one.observers[1].systolic_mmhg is None
    assert (two.cuff_size, two.condition) == ((12.0, 23.0), "noisy")
    assert two.audio == str((folder / "deep" / "b.wav").resolve())
    assert two.cells[-1] == "=1+1"


def test_semicolons_decimal_commas_case_and_a_mark_of_utf_8(folder: Path) -> None:
    head, row = (
        "\ufeffRecording;SUBJECT;audio;cuff;Arm_cm;Cuff_size",
        "r1;p1;a.wav;a.csv;31,5;12,5x23",
    )
    text = f"{head}\n{row}\n"
    (folder / "m.csv").write_text(text, encoding="utf-8")
    manifest = read_manifest(folder / "m.csv")
    assert manifest.columns == (*HEADER, "arm_cm", "cuff_size")
    assert manifest.entries[0].arm_cm == 31.5
    assert manifest.entries[0].cuff_size == (12.5, 23.0)


def test_every_fault_is_told_by_line_and_column(folder: Path) -> None:
    path = write_manifest(
        folder / "m.csv",
        WITH,
        ("r1", "p1", "a.wav", "a.csv", "80", "120", "", ""),
        ("r2", "", "no.wav", "", "x", "80", "7", "huge"),
        ("r2", "p1", "a.wav", "a.csv"),
        ("R1", "p\x1b1", "deep", "a.csv", "999", "", "nan", "23x12"),
    )
    assert faults_of(path) == (
        "line 2, column observer_1_diastolic_mmHg: found 120 beside a systolic of 80; allowed a "
        "diastolic below it",
        "line 3, column subject: found nothing; allowed a name",
        "line 3, column observer_1_systolic_mmHg: found 'x'; allowed 0 to 300 mmHg, or nothing",
        "line 3, column arm_cm: found '7'; allowed 8 to 80 cm, or nothing",
        "line 3, column cuff_size: found 'huge'; allowed small-adult, adult, large-adult, thigh, "
        "or width and length of the bladder in cm, 2 to 80, such as 12x23, or nothing",
        "line 3, column audio: found 'no.wav': no such file; allowed the name of a file",
        "line 3, column cuff: found nothing; allowed the name of a file",
        "line 4: found 4 cells; allowed 8, as in the header",
        r"line 5, column subject: found 'p\x1b1'; allowed characters that can be printed",
        "line 5, column observer_1_systolic_mmHg: found '999'; allowed 0 to 300 mmHg, or nothing",
        "line 5, column arm_cm: found 'nan'; allowed 8 to 80 cm, or nothing (leave it empty)",
        "line 5, column cuff_size: found '23x12'; allowed small-adult, adult, large-adult, thigh, "
        "or width and length of the bladder in cm, 2 to 80, such as 12x23, or nothing",
        "line 5, column audio: found 'deep': a folder, pipe or device; allowed the name of a file",
    )


def test_more_faults_than_an_error_of_other_files_lists(folder: Path) -> None:
    rows = [(f"r{n}", "p1", "no.wav", "a.csv") for n in range(40)]
    assert len(faults_of(write_manifest(folder / "m.csv", HEADER, *rows))) == 40


@pytest.mark.parametrize(
    ("rows", "fault"),
    [
        ([("r1", "p1"), ("r1", "p2")], "column recording: found 'r1' as in line 2; allowed once"),
        # Written, these would look alike: a formula is kept from being one.
        ([("=x", "p1"), ("'=x", "p2")], "column recording: found ''=x' as in line 2; allowed once"),
        ([("", "p1"), ("r2", "p2")], "column recording: found nothing; allowed a name"),
        ([("r" * 51, "p1"), ("r2", "p2")], "column recording: found 51 characters; allowed at"),
    ],
)
def test_names_that_cannot_stand(folder: Path, rows: list[tuple[str, str]], fault: str) -> None:
    whole = [(*row, "a.wav", "a.csv") for row in rows]
    (found,) = faults_of(write_manifest(folder / "m.csv", HEADER, *whole))
    assert fault in found


def test_a_subject_is_in_one_split(folder: Path) -> None:
    path = write_manifest(
        folder / "m.csv",
        (*HEADER, "split"),
        ("r1", "p1", "a.wav", "a.csv", "fit"),
        ("r2", "p1", "a.wav", "b.csv", "check"),
    )
    assert faults_of(path) == (
        "line 3, column split: found check for 'p1', fit in line 2; allowed the same for all "
        "recordings of a subject",
    )


def test_a_subject_has_one_sex_where_it_is_told(folder: Path) -> None:
    sexes = zip("abc", ("", "female", "male"), strict=True)
    rows = [(f"r-{n}", "p1", "a.wav", f"{n}.csv", sex) for n, sex in sexes]
    path = write_manifest(folder / "m.csv", (*HEADER, "sex"), *rows)
    assert faults_of(path) == (
        "line 4, column sex: found male for 'p1', female in line 3; allowed the same for all "
        "recordings of a subject",
    )
    write_manifest(path, (*HEADER, "sex"), *rows[:2])
    assert [one.sex for one in read_manifest(path).entries] == [None, "female"]


def test_one_pair_of_files_is_one_recording(folder: Path) -> None:
    (folder / "link.wav").symlink_to(folder / "a.wav")
    rows = [("r1", "a.wav", "a.csv"), ("r2", "a.wav", "b.csv"), ("r3", "link.wav", "a.csv")]
    whole = [(name, f"p-{name}", *files) for name, *files in rows]
    assert faults_of(write_manifest(folder / "m.csv", HEADER, *whole)) == (
        "line 4, column audio: found the files of 'r1' in line 2 again for 'r3'; allowed one "
        "recording for each sound and its log",
    )
    assert len(read_manifest(write_manifest(folder / "m.csv", HEADER, *whole[:2])).entries) == 2
    # The pressure as a channel of the sound: the sound alone is the pair.
    alone = [(f"r{n}", "p1", "a.wav", "") for n in range(2)]
    path = write_manifest(folder / "m.csv", HEADER, *alone)
    assert len(faults_of(path, cuff_needed=False)) == 1


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("observer_1_sistolic_mmHg", "observer_1_systolic_mmHg"),
        ("observer_1_systolic", "observer_1_systolic_mmHg"),
        ("Observer 2 diastolic mmHg", "observer_2_diastolic_mmHg"),
        ("observer_systolic_mmHg", "observer_1_systolic_mmHg"),
        ("age", "age_years"),
        ("Arm", "arm_cm"),
        ("condtion", "condition"),
        ("cuff-size", "cuff_size"),
    ],
)
def test_a_column_that_is_misspelt_is_no_note(folder: Path, name: str, meant: str) -> None:
    row = ("r1", "p1", "a.wav", "a.csv", "")
    path = write_manifest(folder / "m.csv", (*HEADER, name), row)
    with pytest.raises(ManifestError) as caught:
        read_manifest(path)
    assert str(caught.value).endswith(
        f"m.csv: line 1: column 5: found '{name}'; allowed {meant}, or a name that is not like it"
    )


def test_columns_that_are_notes(folder: Path) -> None:
    header = (*HEADER, "device", "device_2", "ward", "cuff_id", "notes 2", "notes", "subject_id")
    path = write_manifest(
        folder / "m.csv", header, ("r1", "p1", "a.wav", "a.csv", *[""] * (len(header) - 4))
    )
    assert read_manifest(path).columns == header


def test_a_condition_is_none_that_stands_for_several(folder: Path) -> None:
    for name in ("(all)", "(by all three)"):
        row = ("r1", "p1", "a.wav", "a.csv", name)
        path = write_manifest(folder / "m.csv", (*HEADER, "condition"), row)
        (fault,) = faults_of(path)
        assert "which stands for several" in fault


@pytest.mark.parametrize("name", ["../secret.wav", "deep/../../secret.wav", "link.wav", "{abs}"])
def test_nothing_outside_the_folder_is_reached(folder: Path, name: str) -> None:
    (folder / "link.wav").symlink_to(folder.parent / "secret.wav")
    name = name.format(abs=folder.parent / "secret.wav")
    path = write_manifest(folder / "m.csv", HEADER, ("r1", "p1", name, "a.csv"))
    (fault,) = faults_of(path)
    assert "which lies outside the manifest's folder; allowed files inside it" in fault
    assert read_manifest(path, allow_outside=True).entries[0].audio.endswith("secret.wav")


def test_it_is_not_told_whether_a_file_outside_exists(folder: Path) -> None:
    path = write_manifest(folder / "m.csv", HEADER, ("r1", "p1", "../none.wav", "a.csv"))
    assert "no such file" not in faults_of(path)[0]
    assert "no such file" in faults_of(path, allow_outside=True)[0]


def test_a_link_within_the_folder_is_followed(folder: Path) -> None:
    (folder / "link.wav").symlink_to(folder / "a.wav")
    path = write_manifest(folder / "m.csv", HEADER, ("r1", "p1", "link.wav", "a.csv"))
    assert read_manifest(path).entries[0].audio == str((folder / "a.wav").resolve())


@pytest.mark.parametrize("name", ["a.wav\0", "\x1b[2J", "x" * 3000, "<b>", "=cmd()", "~", "$HOME"])
def test_hostile_names_of_files_are_faults_in_one_line(folder: Path, name: str) -> None:
    path = folder / "m.csv"
    path.write_text(",".join(HEADER) + f'\nr1,p1,"{name}",a.csv\n', encoding="utf-8")
    with pytest.raises(ManifestError) as caught:
        read_manifest(path)
    assert str(caught.value).isascii()
    assert all(line.isprintable() for line in str(caught.value).split("\n"))


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "found 0 bytes; allowed a manifest"),
        ("\n\n", "found only empty lines"),
        ("recording,subject,audio,cuff\n", "found no rows below the header"),
        ("recording,subject,cuff\nr,p,c\n", "line 1: found no column 'audio'"),
        ("recording,subject,audio,cuff,Cuff\n", "line 1: column 5: found 'cuff' again"),
        ("recording,subject,audio,cuff,\n", "line 1: column 5: found no name"),
        ("recording,subject,audio,cuff,key\n", "found 'key', a column of the results"),
        ('recording,subject,audio,cuff\nr,"p\n', "line 2: found what is not CSV"),
    ],
)
def test_a_file_that_is_no_manifest(folder: Path, text: str, fault: str) -> None:
    (folder / "m.csv").write_text(text, encoding="utf-8")
    with pytest.raises(ManifestError) as caught:
        read_manifest(folder / "m.csv", reserved=("key",))
    assert fault in str(caught.value)


def test_bytes_that_are_not_utf_8(folder: Path) -> None:
    (folder / "m.csv").write_bytes(b"recording,subject,audio,cuff\nr1,p\xff,a,b\n")
    with pytest.raises(ManifestError, match="line 2: found bytes that are not UTF-8"):
        read_manifest(folder / "m.csv")


def test_marks_are_read_with_the_manifest(folder: Path) -> None:
    (folder / "m1.csv").write_text("time_s,heard\n1.0,1\n0.5,1\n", encoding="ascii")
    path = write_manifest(
        folder / "m.csv", (*HEADER, "observer_1_marks"), ("r1", "p1", "a.wav", "a.csv", "m1.csv")
    )
    assert faults_of(path) == (
        "line 2, column observer_1_marks: m1.csv: line 3: time_s: found 0.5 after 1; allowed "
        "times that increase",
    )
