"""``python -m tests.fuzz``: damaged files into every reader.

Each input is a whole file with bytes changed, cut out, doubled or put in, or tokens that
readers of this kind stumble over.  A reader returns or raises one of the project's errors
(of a saved state also what numpy says of a broken archive); anything else is printed with
the input's number, from which it can be made again, and ends in exit code 1.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
import warnings
import zipfile
from pathlib import Path

import numpy as np

from tapfall.errors import TapfallError
from tests.fuzz.readers import Reader, readers

#: Pieces that are put in.
TOKENS = (
    b"\0", b"\xff", b"\xef\xbb\xbf", b"\r", b"\n", b",", b";", b'"', b"'", b"=1+1", b"1e999", b"-",
    b"NaN", b"inf", b"../", b"[", b"]", b"{", b"}", b"\xed\xa0\x80", b"9" * 40, b"[" * 400, b"\t",
    b"null", b"true", b"\\u0000", b"#", b"RIFF\xff\xff\xff\xff", b"data\xff\xff\xff\x7f",
)  # fmt: skip
#: Slowest that one small input may be, and the most memory a run may take (our choice).
SLOWEST_S, MOST_MB = 2.0, 600.0
#: What numpy says of an archive that is none.
_ARCHIVE = (ValueError, KeyError, EOFError, OSError, RuntimeError, zipfile.BadZipFile)


def damaged(whole: bytes, rng: np.random.Generator) -> bytes:
    """One damaged file."""
    data = bytearray(whole)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(0, len(data) + 1))
        how = int(rng.integers(0, 6))
        if how == 0 and at < len(data):
            data[at] = int(rng.integers(0, 256))
        elif how == 1:
            del data[at : at + int(rng.integers(1, 30))]
        elif how == 2:
            data[at:at] = TOKENS[int(rng.integers(0, len(TOKENS)))]
        elif how == 3:
            data[at:at] = data[at : at + int(rng.integers(1, 60))]
        elif how == 4 and at < len(data):
            data[at] ^= 1 << int(rng.integers(0, 8))
        elif how == 5 and rng.random() < 0.2:
            del data[at:]
    return bytes(data)


def run(name: str, reader: Reader, inputs: int, seed: int) -> tuple[int, float]:
    """Read damaged files; return how many went wrong, and the slowest, seconds."""
    wrong, slowest = 0, 0.0
    allowed = (TapfallError, *_ARCHIVE) if name == "state" else (TapfallError,)
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("error")  # nobody reads them: they count as wrong
        path = Path(folder) / f"file{reader.suffix}"
        reader.lay(Path(folder))
        for number in range(inputs):
            rng = np.random.default_rng([seed, number])
            whole = reader.wholes[int(rng.integers(0, len(reader.wholes)))]
            path.write_bytes(damaged(whole, rng))
            began_s = time.perf_counter()
            try:
                reader.read(path)
            except allowed:
                pass
            except BaseException as fault:
                if isinstance(fault, KeyboardInterrupt):
                    raise
                wrong += 1
                if wrong <= 5:
                    print(f"{name}: input {number}: {type(fault).__name__}: {str(fault)[:120]}")
            slowest = max(slowest, time.perf_counter() - began_s)
    return wrong, slowest


def main() -> int:
    """Run the readers that were asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--inputs", type=int, default=2000, help="for each reader (2000)")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", help="names of readers, separated by commas")
    args = parser.parse_args()
    known = readers()
    wrong = 0
    for name in args.only.split(",") if args.only else known:
        faults, slowest = run(name, known[name], args.inputs, args.seed)
        memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        late = slowest > SLOWEST_S or memory_mb > MOST_MB
        wrong += faults + late
        print(
            f"{name:<12}{args.inputs:>9} inputs{faults:>6} wrong   slowest {slowest:.3f} s   "
            f"memory {memory_mb:.0f} MB",
            flush=True,
        )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
