"""Streams of bytes: raw frames, lines of a cuff log; any cutting gives the same."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from tapfall.errors import AudioError, CuffLogError
from tapfall.files import load, read_cuff_log
from tapfall.files.cufflines import CuffLines
from tapfall.files.pcm import CuffScale, Frames, Piece

ALL = 1e9


def cut(data: bytes, edges: list[int]) -> list[bytes]:
    """Parts of data, cut at places taken modulo its length."""
    places = sorted(edge % (len(data) + 1) for edge in edges)
    return [data[a:b] for a, b in zip([0, *places], [*places, len(data)], strict=True)]


def joined(pieces: list[Piece]) -> tuple[list[float], list[float], list[float]]:
    """All samples, times and pressures."""
    names = ("samples", "time_s", "pressure_mmhg")
    samples, times, mmhg = (
        np.concatenate([getattr(p, name) for p in pieces]).tolist() for name in names
    )
    return samples, times, mmhg


@given(st.lists(st.integers(0, 10_000), max_size=20), st.sampled_from(["s16le", "f32le"]))
def test_any_cutting_of_frames(edges: list[int], form: str) -> None:
    values = np.random.default_rng(1).integers(-3000, 3000, 2 * 533)
    data = values.astype("<i2" if form == "s16le" else "<f4").tobytes()
    scale = CuffScale(channel=2, scale_mmhg=300.0 if form == "s16le" else 0.01)
    whole, parts = (Frames(form, 4000.0, scale) for _ in range(2))
    expected = joined([whole.take(data), whole.end()])
    assert joined([*(parts.take(part) for part in cut(data, edges)), parts.end()]) == expected
    assert parts.samples == 533
    assert parts.bytes_over == 0


def test_values_keep_their_type() -> None:
    assert Frames("s16le", 4000.0).take(b"\x00\x80").samples.tolist() == [-32768]
    assert Frames("s16le", 4000.0).take(b"").samples.dtype == np.int16
    assert Frames("f32le", 4000.0).take(np.float32(0.25).tobytes()).samples.dtype == np.float32


@pytest.mark.parametrize("channel", [1, 2])
@pytest.mark.parametrize(("form", "subtype"), [("s16le", "PCM_16"), ("f32le", "FLOAT")])
def test_frames_are_what_a_file_of_two_channels_is(
    tmp_path: Path, form: str, subtype: str, channel: int
) -> None:
    rng = np.random.default_rng(2)
    frames = (rng.uniform(-0.05, 0.4, (4321, 2)) * 32768).astype(np.int16)
    raw = frames if form == "s16le" else (frames / np.float32(32768)).astype("<f4")
    soundfile.write(tmp_path / "two.wav", raw, 11025, subtype)
    recording = load(tmp_path / "two.wav", cuff_channel=channel, cuff_scale=300.0, cuff_offset=-1.5)
    scale = CuffScale(channel=channel, scale_mmhg=300.0, offset_mmhg=-1.5)
    stream = Frames(form, 11025.0, scale)
    samples, times, mmhg = joined([stream.take(raw.tobytes()), stream.end()])
    unit = 32768 if form == "s16le" else 1
    assert (np.array(samples) / unit).tolist() == recording.samples.tolist()
    assert times == recording.cuff.time_s.tolist()
    assert mmhg == recording.cuff.pressure_mmhg.tolist()


def refuse(frames: Frames, data: bytes) -> None:
    """Take in data that has a fault, which is then raised."""
    frames.take(data)
    frames.check()


def test_what_frames_refuse() -> None:
    data = np.array([0.0, 0.1, np.nan], "<f4").tobytes()
    with pytest.raises(AudioError) as sound:
        refuse(Frames("f32le", 4000.0), data)
    assert str(sound.value) == (
        "standard input: found nan at sample 3; allowed finite samples (see the rate and the "
        "format)"
    )
    # What is no number may signal it, which numpy would warn of.
    signalling = np.array([0x7FA00000], "<u4").tobytes()
    with pytest.raises(AudioError, match=r"^standard input: found nan at sample 1; "):
        refuse(Frames("f32le", 4000.0), signalling)
    both = np.zeros(80, "<f4").tobytes()[:-4] + signalling
    with pytest.raises(CuffLogError, match=r"^standard input: found nan mmHg at "):
        refuse(Frames("f32le", 4000.0, CuffScale(channel=2, scale_mmhg=300.0)), both)
    # What 16-bit integers look like when they are taken for floats.
    data = np.array([0.0, -1e30], "<f4").tobytes()
    with pytest.raises(AudioError) as sound:
        refuse(Frames("f32le", 4000.0), data)
    assert str(sound.value) == (
        "standard input: found -1e+30 at sample 2; allowed at most 1e+12 (see the rate and the "
        "format)"
    )
    high = np.full(80, 0.9, "<f4").tobytes()
    for scale_mmhg, found in ((600.0, "540"), (-600.0, "-540")):
        with pytest.raises(CuffLogError) as cuff:
            refuse(Frames("f32le", 4000.0, CuffScale(channel=2, scale_mmhg=scale_mmhg)), high)
        assert str(cuff.value) == (
            f"standard input: found {found} mmHg at 0.002 s; allowed -20 to 400 mmHg (see the "
            "scale and the offset)"
        )


@given(st.lists(st.integers(0, 10_000), max_size=20))
def test_what_comes_before_a_fault_of_frames_is_handed_over(edges: list[int]) -> None:
    values = np.full((533, 2), 0.25, "<f4")
    values[301, 0] = np.nan
    values[500, 1] = 2.0
    frames = Frames("f32le", 4000.0, CuffScale(channel=2, scale_mmhg=300.0))
    samples, times, mmhg = joined([frames.take(part) for part in cut(values.tobytes(), edges)])
    assert samples == [0.25] * 301
    assert (len(times), set(mmhg)) == (15, {75.0})  # means of 20 frames
    with pytest.raises(AudioError, match="found nan at sample 302"):
        frames.check()


@given(st.lists(st.integers(0, 10_000), max_size=20))
def test_rows_before_a_fault_of_frames_are_handed_over(edges: list[int]) -> None:
    values = np.full((533, 2), 0.25, "<f4")
    values[301, 1] = 100.0
    values[320, 0] = np.nan
    frames = Frames("f32le", 4000.0, CuffScale(channel=2, scale_mmhg=300.0))
    samples, times, _ = joined([frames.take(part) for part in cut(values.tobytes(), edges)])
    assert len(samples) == 320
    assert len(times) == 15
    with pytest.raises(CuffLogError, match=r"found 1571\.25 mmHg at 0\.077 s"):
        frames.check()


def rows(lines: CuffLines) -> list[tuple[float, float]]:
    """All rows that are held."""
    times, mmhg = lines.rows_until(ALL)
    return list(zip(times.tolist(), mmhg.tolist(), strict=True))


LOG = "\ufefftime_s;note;pressure_kPa\r\n0,0;a;16,0\r\n\r\n0,5;b;15,9\n0,5;b;15,9\r1,0;;15,8\r"


@given(st.lists(st.integers(0, 10_000), max_size=20))
def test_any_cutting_of_lines_reads_as_the_file_does(
    tmp_path_factory: pytest.TempPathFactory, edges: list[int]
) -> None:
    path = tmp_path_factory.getbasetemp() / "arm.csv"
    path.write_bytes(LOG.encode())
    log = read_cuff_log(path)
    lines = CuffLines("pipe")
    for part in cut(LOG.encode(), edges):
        lines.take(part)
    assert lines.end() == 0
    found = rows(lines)
    assert found[1] == found[2]
    assert found[:2] + found[3:] == list(
        zip(log.time_s.tolist(), log.pressure_mmhg.tolist(), strict=True)
    )
    assert lines.rows_seen == 4


@pytest.mark.parametrize(
    "text", ["0.0,120\n0.5,119.5\n", "0;120\r\n0,5;119,5\n", "0\t120\n.5\t119.5\n"]
)
def test_lines_without_a_header(text: str) -> None:
    lines = CuffLines("pipe")
    lines.take(text.encode())
    assert rows(lines) == [(0.0, 120.0), (0.5, 119.5)]


def test_rows_come_up_to_a_time_and_the_next_one_at_least() -> None:
    lines = CuffLines("pipe")
    lines.take(b"1,10\n2,20\n3,30\n")
    assert lines.next_s == 1.0
    assert lines.rows_until(0.0)[0].tolist() == [1.0]
    assert lines.rows_until(2.5)[1].tolist() == [20.0]
    assert lines.rows_until(9.0)[0].tolist() == [3.0]
    assert lines.next_s is None
    assert lines.rows_until(9.0)[0].tolist() == []


@pytest.mark.parametrize("last", [b"1,18", b"1", b"1,x"])
def test_a_last_line_without_end_is_dropped(last: bytes) -> None:
    # A stream that was cut would say 18 mmHg where its sensor said 181.
    lines = CuffLines("pipe")
    lines.take(b"0,181\n" + last)
    assert lines.end() == len(last)
    assert rows(lines) == [(0.0, 181.0)]
    assert lines.next_s is None


FAULTS = [
    (b"1,x\n", "found pressure_mmHg 'x'; allowed a finite number"),
    (b"1,nan\n", "found pressure_mmHg 'nan'; allowed a finite number"),
    (b"1,2,3\n", "found 3 cells; allowed 2, as in the header (with decimal commas, part the "
     "cells by semicolons or tabs)"),
    (b"1\n", "found 1 cell; allowed 2, as in the header"),
    (b"1,401\n", "found pressure_mmHg 401; allowed -20 to 400"),
    (b"-1,100\n", "found time_s -1 after 0; allowed times that increase"),
    (b"0,100\n", "found pressure_mmHg 120 and 100 at time_s 0; allowed one pressure at one time"),
    (b"\xff,1\n", "found bytes that are not UTF-8; allowed UTF-8 text"),
    (b"1" * 10_001, "found more than 10000 bytes; allowed at most 10000 in a line"),
    (b"1" * 10_001 + b"\n", "found more than 10000 bytes; allowed at most 10000 in a line"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "fault"), FAULTS)
def test_a_fault_names_its_line_after_the_rows_before_it(line: bytes, fault: str) -> None:
    lines = CuffLines("pipe")
    lines.take(b"0,120\n\n" + line + b"9,9\n")
    assert rows(lines) == [(0.0, 120.0)]
    with pytest.raises(CuffLogError) as caught:
        _ = lines.next_s
    assert str(caught.value) == f"pipe: line 3: {fault}"


def test_a_header_that_names_no_pressure() -> None:
    lines = CuffLines("pipe")
    lines.take(b"time,mmHg\n0,120\n")
    with pytest.raises(CuffLogError) as caught:
        _ = lines.next_s
    assert str(caught.value) == (
        "pipe: line 1: found the columns 'time', 'mmHg'; allowed one time_s and one of "
        "pressure_mmHg and pressure_kPa"
    )
