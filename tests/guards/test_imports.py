"""What is loaded when: each case in a fresh interpreter."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = {
    "matplotlib",
    "librosa",
    "soundfile",
    "pandas",
    "numpy",
    "scipy",
    "jsonschema",
    "wfdb",
    "edfio",
}


def loaded(code: str) -> set[str]:
    """Modules loaded after running code, by full name."""
    tail = "\nimport sys\nprint('\\n' + ' '.join(sorted(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code + tail], capture_output=True, text=True, check=True
    )
    return set(done.stdout.rstrip().rpartition("\n")[2].split())


@pytest.mark.parametrize(
    "code",
    [
        "import tapfall",
        "import tapfall.cli",
        "from tapfall.cli import main; main(['--help'])",
        "from tapfall.cli import main; main(['read', '--help'])",
        "from tapfall.cli import main; main(['--version'])",
    ],
)
def test_nothing_heavy_is_loaded_before_it_is_needed(code: str) -> None:
    modules = loaded(code)
    assert "tapfall" in modules
    assert modules & HEAVY == set()
    # Each of these costs a start of the program more than the program itself.
    assert modules & {"dataclasses", "inspect", "importlib.metadata", "shutil", "json"} == set()


def test_files_load_no_sound_library_before_the_first_sound() -> None:
    modules = loaded("import tapfall.files")
    assert "numpy" in modules
    assert modules & (HEAVY - {"numpy"}) == set()


BLOCK = """
import sys

class Block:
    def find_spec(self, name, path=None, target=None):
        top = name.partition(".")[0]
        known = top in sys.stdlib_module_names or top.startswith("_sysconfigdata")
        if known or top in {"tapfall", "numpy", "scipy"}:
            return None
        raise ImportError(f"{name} is blocked")

sys.meta_path.insert(0, Block())
"""


def test_the_ear_needs_numpy_and_scipy_alone() -> None:
    assert "tapfall.ear" in loaded(BLOCK + "import tapfall.ear")


def test_the_block_blocks() -> None:
    with pytest.raises(subprocess.CalledProcessError):
        loaded(BLOCK + "import soundfile")


VECTOR = Path(__file__).resolve().parents[2] / "synth_fixtures" / "vectors" / "ordinary"
READ = f"""
import json
import numpy as np
from tapfall.ear import Listener

with np.load({str(VECTOR) + ".sound.npz"!r}) as made:
    audio, log_s, log_mmhg = made["audio"], made["log_s"], made["log_mmhg"]
with open({str(VECTOR) + ".json"!r}, encoding="utf-8") as file:
    page = json.load(file)
ear = Listener(rate_hz=page["audio_rate_hz"])
told = [*ear.push_cuff(log_s, log_mmhg), *ear.push_audio(audio)]
reading = ear.finish()
assert any(event.kind == "systolic_settled" for event in told)
expected = page["expected"]["reading"]
assert abs(reading.systolic.mmhg - expected["systolic"]["mmHg"]) < 0.05
assert abs(reading.diastolic.mmhg - expected["diastolic"]["mmHg"]) < 0.05
"""


def test_the_ear_reads_a_recording_with_numpy_and_scipy_alone() -> None:
    assert "tapfall.ear" in loaded(BLOCK + READ)
