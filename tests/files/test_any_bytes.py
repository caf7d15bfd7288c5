"""Whatever a file holds, it is read or refused with a message: nothing else happens."""

from __future__ import annotations

import io
import json
import string
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.errors import AudioError, CuffLogError, ReadingError, TapfallError
from tapfall.files import read_cuff_log, read_reading, record_of
from tapfall.files.audio import read_sound
from tests.files.made import LOG, full_reading, noise


def outcome(read: Callable[[Path], Any], data: bytes, error: type[TapfallError]) -> Any:
    """What was read, or the text of the error of the expected kind."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file"
        path.write_bytes(data)
        try:
            return read(path)
        except error as fault:
            text = str(fault)
            assert text.startswith(f"{path}: ")
            first, *rest = text.split("\n")
            assert first.isprintable()
            assert len(rest) <= 10
            assert all(line.startswith("  ") and line.isprintable() for line in rest)
            return text


def file_of(form: str, subtype: str) -> bytes:
    buffer = io.BytesIO()
    soundfile.write(buffer, noise(0.05, channels=1), 4000, subtype, format=form)
    return buffer.getvalue()


SOUNDS = [file_of("WAV", "PCM_16"), file_of("FLAC", "PCM_16"), file_of("AIFF", "PCM_24")]


@st.composite
def damaged(draw: st.DrawFn, wholes: list[bytes]) -> bytes:
    """A whole file with a few bytes changed and its end cut or lengthened."""
    data = bytearray(draw(st.sampled_from(wholes)))
    for _ in range(draw(st.integers(0, 6))):
        data[draw(st.integers(0, min(len(data) - 1, 100)))] = draw(st.integers(0, 255))
    cut = draw(st.integers(0, len(data)))
    return bytes(data[: cut or None]) + draw(st.binary(max_size=20))


@settings(deadline=None, max_examples=150)
@given(st.one_of(st.binary(max_size=300), damaged(SOUNDS)))
def test_any_bytes_as_sound(data: bytes) -> None:
    sound = outcome(read_sound, data, AudioError)
    if not isinstance(sound, str):
        assert sound.samples.dtype == np.float32
        assert np.isfinite(sound.samples).all()
        assert sound.rate_hz >= 1000.0


CELLS = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.integers(-30, 410).map(str),
    st.text(alphabet=string.printable, max_size=6),
    st.text(max_size=4),
)
LOGS = st.builds(
    lambda header, rows, end: (header + end + end.join(rows)).encode("utf-8", "surrogatepass"),
    st.sampled_from(["time_s,pressure_mmHg", "time_s;pressure_kPa", "\ufefftime_s\tpressure_mmHg"]),
    st.lists(
        st.builds(
            lambda a, b, part: f"{a}{part}{b}", CELLS, CELLS, st.sampled_from([",", ";", "\t"])
        ),
        max_size=30,
    ),
    st.sampled_from(["\n", "\r\n", "\r"]),
)


@settings(deadline=None, max_examples=300)
@given(st.one_of(st.binary(max_size=300), damaged([LOG.encode()]), LOGS))
def test_any_bytes_as_log(data: bytes) -> None:
    log = outcome(read_cuff_log, data, CuffLogError)
    if not isinstance(log, str):
        assert len(log.time_s) == len(log.pressure_mmhg) >= 2
        assert (np.diff(log.time_s) > 0.0).all()
        assert ((log.pressure_mmhg >= -20.0) & (log.pressure_mmhg <= 400.0 + 1e-9)).all()


@settings(deadline=None, max_examples=100)
@given(
    st.lists(
        st.tuples(st.floats(0.001, 5.0), st.floats(-20.0, 400.0)), min_size=2, max_size=50
    ).map(lambda steps: [(sum(s for s, _ in steps[: n + 1]), p) for n, (_, p) in enumerate(steps)]),
    st.sampled_from([",", ";", "\t"]),
    st.booleans(),
    st.booleans(),
)
def test_logs_come_back_exactly(
    rows: list[tuple[float, float]], delimiter: str, quoted: bool, comma: bool
) -> None:
    quote = '"' if quoted else ""
    text = f"time_s{delimiter}pressure_mmHg\n"
    for row in rows:
        cells = [repr(value) for value in row]
        if comma and delimiter != ",":
            cells = [cell.replace(".", ",") for cell in cells]
        text += delimiter.join(f"{quote}{cell}{quote}" for cell in cells) + "\n"
    log = outcome(read_cuff_log, text.encode(), CuffLogError)
    if isinstance(log, str):
        # Random pressures may all lie where a log looks like kPa.
        assert "values in kPa belong" in log
        assert 8.0 <= max(p for _, p in rows) < 45.0
        return
    assert list(zip(log.time_s.tolist(), log.pressure_mmhg.tolist(), strict=True)) == rows


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=10,
)


@st.composite
def altered(draw: st.DrawFn) -> bytes:
    """A valid reading with one value, somewhere, replaced by any other."""
    record = json.loads(json.dumps(record_of(full_reading())))
    part = record
    while True:
        keys = list(part) if isinstance(part, dict) else list(range(len(part)))
        key = draw(st.sampled_from(keys))
        if isinstance(part[key], dict | list) and part[key] and draw(st.booleans()):
            part = part[key]
            continue
        part[key] = draw(JSON)
        return json.dumps(record).encode()


WHOLE = json.dumps(record_of(full_reading())).encode()


@settings(deadline=None, max_examples=300)
@given(
    st.one_of(
        st.binary(max_size=200),
        JSON.map(lambda value: json.dumps(value).encode()),
        damaged([WHOLE]),
        altered(),
    )
)
def test_any_bytes_as_reading(data: bytes) -> None:
    record = outcome(read_reading, data, ReadingError)
    if not isinstance(record, str):
        again = json.dumps(record_of(record.reading, record.source, record.settings)).encode()
        assert outcome(read_reading, again, ReadingError).reading == record.reading
