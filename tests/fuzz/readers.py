"""Every reader of the project with whole files to damage, by name."""

from __future__ import annotations

import io
import itertools
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from tapfall.convert import to_json
from tapfall.ear import Listener
from tapfall.files import read_cuff_log, read_reading, record_of
from tapfall.files.audio import read_sound
from tapfall.files.cufflines import CuffLines
from tapfall.files.pcm import CuffScale, Frames
from tapfall.files.visitlist import read_visit_list
from tapfall.files.writtenlist import read_written
from tapfall.lesson import Answers, Mode, read_answers, read_key, read_set
from tapfall.lesson.answers import COLUMNS as ANSWER_COLUMNS
from tapfall.lesson.ratings import COLUMNS as RATING_COLUMNS
from tapfall.lesson.ratings import read_ratings
from tapfall.study.agreement import read_table
from tapfall.study.manifest import read_manifest
from tapfall.study.marks import read_marks
from tapfall.synth import load_builtin, load_scenario, scenario_to_toml
from tapfall.synth.series import read_intervals
from tests.files.made import full_reading, noise
from tests.lesson import made


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """What reads a file, whole files of its kind, the suffix that they carry, what they name."""

    read: Callable[[Path], Any]
    wholes: tuple[bytes, ...]
    suffix: str
    beside: tuple[str, ...] = ()

    def lay(self, folder: Path) -> None:
        """Lay empty files of the names that stand in a whole file beside it."""
        for name in self.beside:
            (folder / name).touch()


def _sound(form: str, subtype: str) -> bytes:
    buffer = io.BytesIO()
    soundfile.write(buffer, noise(0.05, channels=1), 4000, subtype, format=form)
    return buffer.getvalue()


def _json(value: Any) -> bytes:
    return json.dumps(value).encode("ascii")


def _answers() -> Answers:
    return Answers(
        set_id="s", learner="k-1", saved="2026-01-05T10:00:00Z", mode=Mode.EXAMINE, answers=()
    )


def _state() -> bytes:
    buffer = io.BytesIO()
    ear = Listener(rate_hz=4000.0)
    ear.push_cuff(np.arange(20) * 0.1, np.linspace(0.0, 80.0, 20))
    ear.push_audio(np.zeros(400, np.float32))
    np.savez(buffer, **ear.state())
    return buffer.getvalue()


def _read_state(path: Path) -> Any:
    # numpy leaves a file open that turns out to be no archive.
    with path.open("rb") as file, np.load(file, allow_pickle=False) as state:
        return Listener.from_state(dict(state))


def _frames() -> bytes:
    time_s = np.arange(1200) / 4000.0
    both = np.stack([0.1 * np.sin(700.0 * time_s), 0.5 - 0.1 * time_s], axis=1)
    return both.astype("<f4").tobytes()


def _read_frames(path: Path) -> Any:
    """Frames of sound and pressure in pieces, as they come in on standard input."""
    data, ear = path.read_bytes(), Listener(rate_hz=4000.0)
    frames = Frames("f32le", 4000.0, CuffScale(channel=2, scale_mmhg=300.0))
    cuts = [0, len(data) // 3, len(data) // 3 + 5, len(data)]
    pieces = [frames.take(data[a:b]) for a, b in itertools.pairwise(cuts)]
    for piece in (*pieces, frames.end()):
        ear.push_audio(piece.samples)
        ear.push_cuff(piece.time_s, piece.pressure_mmhg)
    frames.check()
    return ear.snapshot()


def _read_lines(path: Path) -> Any:
    """Lines of pressure in pieces, as they come in from a pipe."""
    data, lines = path.read_bytes(), CuffLines("pipe")
    for part in (data[:7], data[7:40], data[40:]):
        lines.take(part)
        while lines.next_s is not None:
            lines.rows_until(1.0)
    return lines.end()


def readers() -> dict[str, Reader]:
    """Return every reader by name."""
    set_of = made.lesson(2)
    log = b"time_s,pressure_mmHg\n" + b"".join(b"%d.5,%d\n" % (n, 150 - n) for n in range(40))
    manifest = b"recording,subject,audio,cuff,arm_cm\nr1,s1,a.wav,a.csv,30\nr2,s1,b.wav,b.csv,\n"
    answers = (
        ",".join(ANSWER_COLUMNS)
        + "\nab,k-1,2026-01-05T10:00:00Z,examine,item-01,124,78,0,12.5 13.4\n"
    )
    ratings = ",".join(RATING_COLUMNS) + "\nab,x,item-01,4,K1 K2,124,78,good\n"
    return {
        "sound": Reader(
            read=read_sound,
            wholes=(
                _sound("WAV", "PCM_16"),
                _sound("WAV", "FLOAT"),
                _sound("FLAC", "PCM_16"),
                _sound("AIFF", "PCM_24"),
            ),
            suffix=".wav",
        ),
        "frames": Reader(read=_read_frames, wholes=(_frames(),), suffix=".raw"),
        "cuff lines": Reader(
            read=_read_lines, wholes=(log, log.partition(b"\n")[2]), suffix=".csv"
        ),
        "cuff log": Reader(read=read_cuff_log, wholes=(log,), suffix=".csv"),
        "reading": Reader(
            read=read_reading, wholes=(_json(record_of(full_reading())),), suffix=".json"
        ),
        "scenario": Reader(
            read=load_scenario,
            wholes=(scenario_to_toml(load_builtin("normal")).encode(),),
            suffix=".toml",
        ),
        "series": Reader(
            read=read_intervals,
            wholes=(b"interval_s\n0.81\n0.84\n", b"beat_time_s;symbol\n0,0;N\n0,81;N\n1,6;V\n"),
            suffix=".csv",
        ),
        "manifest": Reader(
            read=read_manifest,
            wholes=(manifest,),
            suffix=".csv",
            beside=("a.wav", "a.csv", "b.wav", "b.csv"),
        ),
        "visit list": Reader(
            read=read_visit_list,
            wholes=(b"audio,cuff,arm,time\na.wav,a.csv,left,2026-03-31T09:15\n",),
            suffix=".csv",
        ),
        "pairs": Reader(
            read=read_table,
            wholes=(
                b"reference,estimate,subject,measure\n120,118.5,a,systolic\n131,>=130,b,mean\n",
            ),
            suffix=".csv",
        ),
        "marks": Reader(
            read=read_marks, wholes=(b"time_s,heard,phase\n1.5,1,K1\n2.5,no,\n",), suffix=".csv"
        ),
        "written": Reader(
            read=read_written, wholes=(b"systolic_mmHg,diastolic_mmHg\n120,80\n",), suffix=".csv"
        ),
        "answers": Reader(
            read=read_answers,
            wholes=(answers.encode(), _json(to_json(_answers()))),
            suffix=".json",
        ),
        "set": Reader(read=read_set, wholes=(_json(to_json(set_of)),), suffix=".json"),
        "key": Reader(read=read_key, wholes=(_json(to_json(made.key(set_of))),), suffix=".json"),
        "ratings": Reader(read=read_ratings, wholes=(ratings.encode(),), suffix=".csv"),
        "state": Reader(read=_read_state, wholes=(_state(),), suffix=".npz"),
    }
