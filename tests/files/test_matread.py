"""MATLAB files: what scipy.io writes is read back; what is damaged is an error of Python's."""

from __future__ import annotations

import struct
import tempfile
import tracemalloc
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import io

from tapfall.files.matread import MatVariable, mat_variables

KINDS = ("f8", "f4", "i1", "u1", "i2", "u2", "i4", "u4", "i8", "u8")
ARRAYS = st.sampled_from(KINDS).flatmap(
    lambda kind: hnp.arrays(kind, hnp.array_shapes(min_dims=2, max_dims=3, min_side=0, max_side=6))
)


def variables(values: dict[str, Any], **how: Any) -> dict[str, MatVariable]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.mat"
        io.savemat(path, values, **how)
        found = {one.name: one for one in mat_variables(path)}
        for one in found.values():  # values are read while the file is there
            object.__setattr__(one, "numbers", kept(one.numbers) if one.kind != "char" else None)
            object.__setattr__(one, "text", kept(one.text) if one.kind == "char" else None)
        return found


def kept(read: Any) -> Any:
    try:
        value = read()
    except ValueError:
        return None
    return lambda: value


@settings(deadline=None, max_examples=100)
@given(ARRAYS, st.booleans())
def test_what_another_writer_wrote(array: np.ndarray, packed: bool) -> None:
    found = variables({"word": "mmHg", "x": array}, do_compression=packed)
    assert list(found) == ["word", "x"]
    one = found["x"]
    assert (one.kind, one.shape, one.is_complex) == (array.dtype.str[1:], array.shape, False)
    assert np.array_equal(one.numbers(), array.ravel("F"), equal_nan=array.dtype.kind == "f")
    assert found["word"].text() == "mmHg"


@settings(deadline=None, max_examples=30)
@given(hnp.arrays(st.sampled_from(("f8", "f4", "i4", "i2", "u1")), st.just((1, 5))))
def test_level_4(array: np.ndarray) -> None:
    found = variables({"word": "kPa", "x": array}, format="4")
    assert found["x"].shape == (1, 5)
    assert np.array_equal(found["x"].numbers(), array.ravel(), equal_nan=array.dtype.kind == "f")
    assert found["word"].text() == "kPa"


def test_other_things_are_no_numbers() -> None:
    found = variables({"a": {"b": 1.0}, "c": np.array([1, "x"], object), "d": np.array([[True]])})
    assert {one.kind for one in found.values()} == {""}
    assert variables({"z": np.array([[1j, 2.0]])})["z"].is_complex


def test_big_endian(tmp_path: Path) -> None:
    def element(kind: int, data: bytes) -> bytes:
        return struct.pack(">II", kind, len(data)) + data + bytes(-len(data) % 8)

    numbers = np.array([1.5, -2.0, 3.25])
    body = element(6, struct.pack(">II", 6, 0)) + element(5, struct.pack(">ii", 1, 3))
    body += struct.pack(">HH", 1, 1) + b"x\0\0\0" + element(9, numbers.astype(">f8").tobytes())
    head = b"by hand".ljust(124) + struct.pack(">H", 0x0100) + b"MI"
    (tmp_path / "x.mat").write_bytes(head + struct.pack(">II", 14, len(body)) + body)
    (one,) = mat_variables(tmp_path / "x.mat")
    assert one.name == "x"
    assert one.numbers().tolist() == numbers.tolist()
    assert io.loadmat(tmp_path / "x.mat")["x"].tolist() == [numbers.tolist()]


def test_a_small_file_that_unpacks_to_much_stays_small(tmp_path: Path) -> None:
    io.savemat(tmp_path / "x.mat", {"x": np.zeros((1, 10))}, do_compression=True)
    whole = (tmp_path / "x.mat").read_bytes()
    inner = zlib.decompress(whole[136:])
    bomb = zlib.compress(inner + bytes(50_000_000), 9)
    (tmp_path / "x.mat").write_bytes(whole[:128] + struct.pack("<II", 15, len(bomb)) + bomb)
    tracemalloc.start()
    (one,) = mat_variables(tmp_path / "x.mat")
    assert one.numbers().tolist() == [0.0] * 10
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 5_000_000


@pytest.mark.parametrize("packed", [False, True])
def test_cuts_and_changed_bytes(tmp_path: Path, packed: bool) -> None:
    path = tmp_path / "x.mat"
    io.savemat(path, {"x": np.arange(20.0), "word": "kPa"}, do_compression=packed)
    whole = path.read_bytes()
    changed = [(place, byte) for place in range(100, len(whole), 2) for byte in (1, 0xFF)]
    wrong = [whole[:cut] for cut in range(1, len(whole), 5)]
    wrong += [whole[:place] + bytes([byte]) + whole[place + 1 :] for place, byte in changed]
    refused = 0
    for data in wrong:
        path.write_bytes(data)
        try:
            for one in mat_variables(path):
                if one.kind == "char":
                    one.text()
                elif one.kind:
                    assert one.numbers().size == np.prod(one.shape)
        except (ValueError, struct.error, zlib.error):
            refused += 1
    assert refused > len(wrong) // 3
