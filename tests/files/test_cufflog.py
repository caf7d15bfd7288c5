"""Cuff logs: every tolerated form, every fault with its whole text."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest

from tapfall.errors import CuffLogError
from tapfall.files import load, read_cuff_log
from tests.files.made import LOG, log_file, noise, sound_file

HEADER = "time_s,pressure_mmHg\n"
WANTED = "a cuff log (CSV with the columns time_s and pressure_mmHg or pressure_kPa)"


def fault_of(folder: Path, text: str | bytes) -> str:
    """The message, without the folder."""
    path = log_file(folder, text)
    with pytest.raises(CuffLogError) as caught:
        read_cuff_log(path)
    return str(caught.value).replace(f"{folder}{os.sep}", "")


@pytest.mark.parametrize(
    "text",
    [
        LOG,
        LOG.replace("\n", "\r\n"),
        LOG.replace("\n", "\r"),
        LOG.rstrip("\n"),
        LOG + "\n\r\n  \n",
        "\n\n" + LOG,
        LOG.replace("\n1,", "\n\n1,"),
        "\ufeff" + LOG,
        "\ufeff" + LOG.replace("\n", "\r\n"),
        LOG.replace(",", ";"),
        LOG.replace(",", "\t"),
        LOG.replace(",", " , "),
        "time_s;pressure_mmHg\n0,0;180,0\n1,0;150,0\n2,0;1,2e2\n",
        "time_s\tpressure_mmHg\n0,0\t180\n+1.0\t150,0\n2\t120.\n",
        "TIME_S,Pressure_MMHG\n0,180\n1,150\n2,120\n",
        '"time_s","pressure_mmHg"\n"0","180"\n"1", "150"\n2,120\n',
        "note,pressure_mmHg,time_s\nstart,180,0\n,150,1\n\N{GREEK SMALL LETTER MU}_1,120,2\n",
        'time_s,note,pressure_mmHg\n0,"a, b",180\n1,c,150\n2,d,120\n',
        "time_s,pressure_mmHg,\n0,180,\n1,150,\n2,120,\n",
    ],
)
def test_tolerated_forms(tmp_path: Path, text: str) -> None:
    log = read_cuff_log(log_file(tmp_path, text))
    assert log.time_s.tolist() == [0.0, 1.0, 2.0]
    assert log.pressure_mmhg.tolist() == [180.0, 150.0, 120.0]
    assert log.rows_repeated == 0


def test_kilopascal(tmp_path: Path) -> None:
    log = read_cuff_log(log_file(tmp_path, "time_s,pressure_kPa\n0,24\n1,16\n"))
    # 1 kPa = 7.50062 mmHg: 24 kPa = 180.01488 mmHg, 16 kPa = 120.00992 mmHg.
    np.testing.assert_allclose(log.pressure_mmhg, [180.01488, 120.00992], rtol=1e-12)


def test_repeated_rows_are_dropped_and_counted(tmp_path: Path) -> None:
    log = read_cuff_log(log_file(tmp_path, HEADER + "0,180\n0,180\n1,150\n1,150.0\n1,1.5e2\n"))
    assert (log.time_s.tolist(), log.rows_repeated) == ([0.0, 1.0], 3)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", f"found 0 bytes; allowed {WANTED}"),
        ("\n\r\n", f"found only empty lines; allowed {WANTED}"),
        (
            "t,p\n0,180\n",
            "line 1: found the columns 't', 'p'; "
            "allowed one time_s and one of pressure_mmHg and pressure_kPa",
        ),
        (
            "\n0,180\n1,150\n",
            "line 2: found the columns '0', '180'; "
            "allowed one time_s and one of pressure_mmHg and pressure_kPa",
        ),
        (
            "time_s,pressure\n0,180\n",
            "line 1: found the columns 'time_s', 'pressure'; "
            "allowed one time_s and one of pressure_mmHg and pressure_kPa",
        ),
        (
            "time_s;pressure_mmHg;pressure_kPa\n0;180;24\n",
            "line 1: found the columns 'time_s', 'pressure_mmHg', 'pressure_kPa'; "
            "allowed one time_s and one of pressure_mmHg and pressure_kPa",
        ),
        (
            "time_s,time_s,a,b,c,d,pressure_mmHg\n0,180\n",
            "line 1: found the columns 'time_s', 'time_s', 'a', 'b', 'c', 'd', ...; "
            "allowed one time_s and one of pressure_mmHg and pressure_kPa",
        ),
        (
            "# made by hand\n" + LOG,
            "line 1: found the columns '# made by hand'; "
            "allowed one time_s and one of pressure_mmHg and pressure_kPa",
        ),
        (HEADER + "0,180\n# pause\n1,150\n", "line 3: found 1 cell; allowed 2, as in the header"),
        (
            HEADER + "0,180\n0,5,150\n",
            "line 3: found 3 cells; allowed 2, as in the header "
            "(with decimal commas, part the cells by semicolons or tabs)",
        ),
        (
            HEADER + "0,180\n1,150,x\n",
            "line 3: found 3 cells; allowed 2, as in the header",
        ),
        (
            "time_s;pressure_mmHg\n0;180\n1;150;2\n",
            "line 3: found 3 cells; allowed 2, as in the header",
        ),
        (
            HEADER + "0,180\n20,150\n40,120\n",
            "found rows 20 s apart (median); allowed at most 5 s "
            "(times in milliseconds have to be turned into seconds)",
        ),
        (
            HEADER + "0,180\n1,abc\n2,120\n",
            "line 3: found pressure_mmHg 'abc'; allowed a finite number",
        ),
        (HEADER + "0,180\n,150\n", "line 3: found time_s ''; allowed a finite number"),
        (HEADER + "0,180\n1,nan\n", "line 3: found pressure_mmHg 'nan'; allowed a finite number"),
        (HEADER + "0,180\ninf,1\n", "line 3: found time_s 'inf'; allowed a finite number"),
        (
            HEADER + "0,180\n1e999,1\n",
            "line 3: found time_s '1e999'; allowed a finite number",
        ),
        (HEADER + "0,180\n1_0,1\n", "line 3: found time_s '1_0'; allowed a finite number"),
        (
            HEADER + "0,180\n\N{ARABIC-INDIC DIGIT THREE},1\n",
            "line 3: found time_s '\N{ARABIC-INDIC DIGIT THREE}'; allowed a finite number",
        ),
        (
            HEADER + '0,180\n1,"150\n2,120\n',
            "line 3: found the quoting '1,\"150'; allowed cells closed by their quotes",
        ),
        (
            HEADER + "0,180\n1," + "x" * 60 + "\n",
            f"line 3: found pressure_mmHg '{'x' * 40}...'; allowed a finite number",
        ),
        (
            HEADER + "0,180\n1,\x1b[2J\n",
            "line 3: found pressure_mmHg '\\x1b[2J'; allowed a finite number",
        ),
        (
            HEADER + "0,-20.5\n1,150\n2,400.5\n",
            "line 2: found pressure_mmHg -20.5; allowed -20 to 400\n"
            "  line 4: found pressure_mmHg 400.5; allowed -20 to 400",
        ),
        (
            HEADER + "0,180\n2,150\n1,120\n",
            "line 4: found time_s 1 after 2; allowed times that increase",
        ),
        (
            HEADER + "0,180\n1,150\n1,149\n",
            "line 4: found pressure_mmHg 150 and 149 at time_s 1; allowed one pressure at one time",
        ),
        (HEADER, "found no rows below the header; allowed 2 or more"),
        (HEADER + "0,180\n0,180\n", "found 1 row below the header; allowed 2 or more"),
        (
            "time_s,pressure_kPa\n0,180\n1,16\n",
            "line 2: found pressure_kPa 180; allowed -2.666 to 53.33 (are the values in mmHg?)",
        ),
        (
            "time_s,pressure_kPa\n0,-3\n1,16\n",
            "line 2: found pressure_kPa -3; allowed -2.666 to 53.33",
        ),
        (
            HEADER + "0,24\n1,16\n",
            "found a highest pressure_mmHg of 24; allowed a cuff at rest, below 8 mmHg, or one "
            "that rises to 45 or more (values in kPa belong in a column pressure_kPa)",
        ),
        (
            HEADER + "-1.5,180\n90000,150\n",
            "found times from -1.5 to 90000 s; allowed a log of at most 86400 s",
        ),
        (
            (HEADER + "0,180\n1,150").encode("utf-16"),
            "line 1: found bytes that are not UTF-8; allowed UTF-8 text",
        ),
        (
            HEADER.encode() + b"0,180\n1,150\n2,\xb5\n",
            "line 4: found bytes that are not UTF-8; allowed UTF-8 text",
        ),
        (
            HEADER + "0,180\n1,150" + " " * 10_000,
            "line 3: found more than 10000 bytes; allowed at most 10000 in a line",
        ),
        (
            "x" * 3_000_000,
            "line 1: found more than 10000 bytes; allowed at most 10000 in a line",
        ),
    ],
)
def test_faults(tmp_path: Path, text: str | bytes, fault: str) -> None:
    assert fault_of(tmp_path, text) == f"arm.csv: {fault}"


def test_missing(tmp_path: Path) -> None:
    with pytest.raises(CuffLogError) as caught:
        read_cuff_log(tmp_path / "arm.csv")
    assert str(caught.value) == f"{tmp_path / 'arm.csv'}: found no such file; allowed {WANTED}"


def test_too_large(tmp_path: Path) -> None:
    path = log_file(tmp_path)
    os.truncate(path, 200_000_001)
    with pytest.raises(CuffLogError) as caught:
        read_cuff_log(path)
    assert str(caught.value) == (f"{path}: found 200000001 bytes; allowed at most 200000000 bytes")


def test_many_faults_are_counted_exactly(tmp_path: Path) -> None:
    rows = [f"{row},{'x' if row % 2 else 500}\n" for row in range(30_000)]
    lines = fault_of(tmp_path, HEADER + "".join(rows)).split("\n")
    assert lines[:2] == [
        "arm.csv: line 2: found pressure_mmHg 500; allowed -20 to 400",
        "  line 3: found pressure_mmHg 'x'; allowed a finite number",
    ]
    assert lines[10:] == ["  and 29990 more"]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_end_parts_long_logs(tmp_path: Path, end: str) -> None:
    # Longer than a chunk, so that line ends fall on its edge; as long as one line may not be.
    rows = [f"{row / 8},{100 + row % 50}" for row in range(150_000)]
    log = read_cuff_log(log_file(tmp_path, end.join([HEADER.strip(), *rows])))
    assert log.time_s.tolist() == [row / 8 for row in range(150_000)]
    rows[140_000] = "x,1"
    assert fault_of(tmp_path, end.join([HEADER.strip(), *rows])) == (
        "arm.csv: line 140002: found time_s 'x'; allowed a finite number"
    )


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_the_longest_line(tmp_path: Path, end: str) -> None:
    wide = f"time_s,pressure_mmHg,note{end}0,180,{{}}{end}1,150,{end}"
    read_cuff_log(log_file(tmp_path, wide.format("x" * 9_994)))
    assert fault_of(tmp_path, wide.format("x" * 9_995)) == (
        "arm.csv: line 2: found more than 10000 bytes; allowed at most 10000 in a line"
    )


def test_a_row_every_five_seconds_is_a_log(tmp_path: Path) -> None:
    # A hole is not a fault, whatever its length.
    log = read_cuff_log(log_file(tmp_path, HEADER + "0,180\n5,150\n10,120\n90,80\n95,70\n"))
    assert log.time_s.tolist() == [0.0, 5.0, 10.0, 90.0, 95.0]


def test_lines_are_counted_through_many_chunks(tmp_path: Path) -> None:
    rows = "".join(f"{row / 8},{100 + row % 50}\n" for row in range(300_000))
    assert fault_of(tmp_path, HEADER + rows + "5,100\n") == (
        "arm.csv: line 300002: found time_s 5 after 37499.875; allowed times that increase"
    )
    log = read_cuff_log(log_file(tmp_path, HEADER + rows))
    assert log.time_s.tolist() == [row / 8 for row in range(300_000)]


def test_plain_and_quoted_cells_read_alike(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    cells = [f"{n},{p!r}" for n, p in enumerate(rng.uniform(-20.0, 400.0, 500).tolist())]
    plain = read_cuff_log(log_file(tmp_path, HEADER + "\n".join(cells)))
    cells[0] = cells[0].replace(",", ',"') + '"'
    quoted = read_cuff_log(log_file(tmp_path, HEADER + "\n".join(cells)))
    np.testing.assert_array_equal(plain.time_s, quoted.time_s)
    np.testing.assert_array_equal(plain.pressure_mmhg, quoted.pressure_mmhg)


def test_a_flat_cuff_is_no_fault(tmp_path: Path) -> None:
    # Nothing was inflated: that is for the reading to say, not for the file.
    log = read_cuff_log(log_file(tmp_path, HEADER + "0,0\n1,0.5\n2,-1\n"))
    assert log.pressure_mmhg.max() == 0.5


@pytest.mark.parametrize(
    ("first", "last", "lag_s", "overlaps"),
    [
        (0.0, 2.0, None, True),
        (3.9, 60.0, None, True),
        (4.1, 60.0, None, False),
        (-60.0, -1.9, None, True),
        (-60.0, -2.1, None, False),
        (1000.0, 1002.0, 1000.0, True),
        (0.0, 2.0, 1000.0, False),
    ],
)
def test_overlap(
    tmp_path: Path, first: float, last: float, lag_s: float | None, overlaps: bool
) -> None:
    sound = sound_file(tmp_path / "arm.wav", noise(2.0))
    times = np.linspace(first, last, 21).round(6).tolist()
    log = log_file(tmp_path, HEADER + "".join(f"{time_s},180\n" for time_s in times))
    if overlaps:
        assert load(sound, log, lag_s=lag_s).cuff.time_s.tolist() == times
        return
    with pytest.raises(CuffLogError) as caught:
        load(sound, log, lag_s=lag_s)
    known = "" if lag_s is None else " plus a lag of 1000 s"
    assert str(caught.value) == (
        f"{log}: found log times {first:g} to {last:g} s; "
        f"allowed times that overlap the sound, 0 to 2.000 s{known}"
    )


def test_plain_logs_are_read_in_bulk(tmp_path: Path) -> None:
    rows = [f"{n / 200:.3f},{180 - n / 100:.2f}" for n in range(12_000)]
    plain = log_file(tmp_path, HEADER + "\n".join(rows), "plain.csv")
    quoted = log_file(tmp_path, HEADER + '"0","180"\n' + "\n".join(rows[1:]), "quoted.csv")

    def seconds(path: Path) -> float:
        start = time.perf_counter()
        read_cuff_log(path)
        return time.perf_counter() - start

    # A quote makes the file be read row by row: about six times as long.
    assert min(seconds(plain) for _ in range(5)) < min(seconds(quoted) for _ in range(5)) / 2
