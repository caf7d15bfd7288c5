"""The picture of a reading: what is written, what is said, and what it survives."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.image import imread

from tapfall.errors import InputError, SettingError
from tapfall.model import (
    CAUTION,
    Beat,
    CuffLog,
    Flag,
    Lag,
    Phase,
    Reading,
    Recording,
    Rhythm,
    Source,
)
from tapfall.show import look
from tapfall.show.account import other_account
from tapfall.show.figure import (
    draw_reading,
    foot_lines,
    log_time_s,
    reading_figure,
    span_s,
)
from tapfall.summary import summary_text
from tests.show import made


@pytest.fixture(scope="module")
def recording() -> Recording:
    return made.recording(lag_s=0.4)


def svg_text(recording: Recording, reading: Reading, folder: Path, **options) -> str:
    path = folder / "reading.svg"
    draw_reading(recording, reading, path, **options)
    return path.read_text(encoding="utf-8")


def words_of(svg: str) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]*)</text>", svg)


def test_png_has_its_size_and_stays_small(recording, tmp_path) -> None:
    path = tmp_path / "reading.png"
    draw_reading(recording, made.ordinary(), path)
    assert imread(path).shape[:2] == (910, 1300)
    assert path.stat().st_size < 600_000
    assert [item.name for item in tmp_path.iterdir()] == ["reading.png"]


@pytest.mark.parametrize(
    ("name", "start"), [("a.png", b"\x89PNG"), ("a.SVG", b"<?xml"), ("a.pdf", b"%PDF")]
)
def test_format_follows_the_suffix(recording, tmp_path, name, start) -> None:
    draw_reading(recording, made.ordinary(), tmp_path / name)
    assert (tmp_path / name).read_bytes().startswith(start)


@pytest.mark.parametrize("name", ["a.gif", "a", "png"])
def test_other_formats_are_refused(recording, tmp_path, name) -> None:
    with pytest.raises(SettingError, match=r"allowed \.png, \.svg or \.pdf"):
        draw_reading(recording, made.ordinary(), tmp_path / name)
    assert not list(tmp_path.iterdir())


def test_a_missing_folder_is_named(recording, tmp_path) -> None:
    with pytest.raises(InputError, match=r"nowhere.*cannot be written"):
        draw_reading(recording, made.ordinary(), tmp_path / "nowhere" / "a.svg")


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_equal_figures_are_equal_bytes(recording, tmp_path, suffix) -> None:
    for name in ("a", "b"):
        draw_reading(recording, made.ordinary(), tmp_path / (name + suffix))
    assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


def test_an_older_figure_is_replaced(recording, tmp_path) -> None:
    path = tmp_path / "a.svg"
    path.write_text("old")
    draw_reading(recording, made.ordinary(), path)
    assert "127/83 mmHg" in path.read_text(encoding="utf-8")


def test_no_figure_is_left_open(recording) -> None:
    reading_figure(recording, made.ordinary())
    assert plt.get_fignums() == []


def test_personal_styles_do_not_reach_the_figure(recording, tmp_path) -> None:
    plain = svg_text(recording, made.ordinary(), tmp_path)
    with plt.rc_context({"font.size": 30.0, "axes.facecolor": "red", "svg.fonttype": "path"}):
        assert svg_text(recording, made.ordinary(), tmp_path) == plain


def test_values_intervals_and_confidence_are_words(recording, tmp_path) -> None:
    said = words_of(svg_text(recording, made.ordinary(), tmp_path, title="left arm"))
    for wanted in (
        "127/83 mmHg",
        "left arm",
        "systolic 127 mmHg",
        "95 %: 126 to 130",
        "confidence 0.97",
        "diastolic 83 mmHg",
        "(last sound, K5)",
        "95 %: 80 to 83",
        "muffling (K4) 91 mmHg",
        "cuff pressure (mmHg)",
        "time in the sound (s)",
        CAUTION,
        "Status: ok. A lag between log and sound was corrected.",
        "beat sounds (21)",
        "beat unsure (2)",
        "beat silent (23)",
    ):
        assert wanted in said
    assert {"K1", "K2", "K3", "K4", "silent"} <= set(said)
    assert any("log lag 0.40 s (estimated)" in line for line in said)
    assert any("manometer ±3 mmHg" in line for line in said)


def test_a_lag_that_no_log_shows_is_not_called_found(recording, tmp_path) -> None:
    reading = replace(made.ordinary(), flags=(Flag.COARSE_CUFF_LOG,))
    assert reading.lag is not None
    assert reading.lag.estimated
    said = words_of(svg_text(recording, reading, tmp_path))
    assert any("log lag not known" in line for line in said)
    told = " ".join(other_account(reading))
    assert "is not known" in told
    given = replace(reading, lag=replace(reading.lag, estimated=False))
    assert "(given" in " ".join(other_account(given))


def test_a_gap_is_named_with_its_edges(recording, tmp_path) -> None:
    said = words_of(svg_text(recording, made.with_gap(), tmp_path))
    assert "silent gap 116 to 100 mmHg" in said
    assert "95 %: 114-118 and 99-102" in said
    assert "gap" in said


def test_bounds_are_at_least_and_at_most(recording, tmp_path) -> None:
    said = words_of(svg_text(recording, made.bounded(), tmp_path))
    assert "at least 167 / at most 72 mmHg (review)" in said
    assert "systolic at least 167 mmHg" in said
    assert "diastolic at most 72 mmHg" in said


def test_sounds_to_zero_are_written_in_three_parts(recording, tmp_path) -> None:
    said = words_of(svg_text(recording, made.to_zero(), tmp_path))
    assert "127/91/0 mmHg (review)" in said
    assert "(muffling, K4)" in said


def test_unreadable_says_why(recording, tmp_path) -> None:
    said = words_of(svg_text(recording, made.unreadable(), tmp_path))
    assert "unreadable" in said
    simulated = replace(recording, simulated=True)
    said = words_of(svg_text(simulated, made.unreadable(), tmp_path))
    (line,) = (one for one in said if "no person was measured" in one)
    assert line.startswith("simulated: no person was measured \N{MIDDLE DOT} no sounds")
    assert "no beats found" in said
    assert sum("no sounds in step with the heart" in line for line in said) == 2
    assert not any("mmHg" in line and line[0].isdigit() for line in said)


def test_the_name_of_the_sound_is_the_default_title(recording, tmp_path) -> None:
    named = replace(
        recording,
        source=Source(
            audio_name="arm.wav", audio_sha256="0" * 64, cuff_name="arm.csv", cuff_sha256="1" * 64
        ),
    )
    assert "arm.wav" in words_of(svg_text(named, made.ordinary(), tmp_path))


@pytest.mark.parametrize(
    ("title", "shown"),
    [("$x_1$ \\frac", "$x_1$ \\frac"), ("a\nb\x1b", "a b"), ("\u5de6", "\ufffd"), ("", None)],
)
def test_any_title_is_drawn_without_warning(recording, tmp_path, title, shown) -> None:
    said = words_of(svg_text(recording, made.ordinary(), tmp_path, title=title))
    assert shown is None or shown in said


def test_markup_in_a_title_stays_text(recording, tmp_path) -> None:
    svg = svg_text(recording, made.ordinary(), tmp_path, title="<script>&")
    assert "<script>" not in svg
    assert "&lt;script&gt;&amp;" in svg


def test_a_long_title_is_shortened(recording, tmp_path) -> None:
    said = words_of(svg_text(recording, made.ordinary(), tmp_path, title="x" * 300))
    assert "x" * 61 + "…" in said


def test_a_long_title_leaves_room_for_a_long_headline(recording) -> None:
    figure = reading_figure(recording, made.bounded(), title="W" * 62)
    headline, title = figure.texts[:2]
    assert headline.get_text() == "at least 167 / at most 72 mmHg (review)"
    assert title.get_text().endswith("W…")
    assert not headline.get_window_extent().overlaps(title.get_window_extent())


def test_lag_moves_the_log_onto_the_clock_of_the_sound(recording) -> None:
    late = made.ordinary()
    assert late.lag is not None
    np.testing.assert_allclose(
        log_time_s(recording, late), recording.cuff.time_s - late.lag.seconds
    )
    np.testing.assert_array_equal(
        log_time_s(recording, replace(late, lag=None)), recording.cuff.time_s
    )
    drawn = reading_figure(recording, late).axes[3].lines[0].get_xdata()
    np.testing.assert_allclose(drawn, recording.cuff.time_s - 0.4)


def test_the_measurement_is_shown_from_rest_to_rest(recording) -> None:
    start_s, end_s = span_s(recording, made.ordinary())
    # The cuff passes 15 mmHg at 2.53 s and 50.57 s.
    assert start_s == pytest.approx(1.5, abs=0.1)
    assert end_s == pytest.approx(51.6, abs=0.1)
    assert span_s(recording, made.unreadable()) == (0.0, pytest.approx(56.4, abs=0.1))


def test_beats_differ_in_shape_and_fill(recording) -> None:
    cuff = reading_figure(recording, made.ordinary()).axes[3]
    looks = {
        str(line.get_label()).split()[1]: (line.get_marker(), line.get_fillstyle())
        for line in cuff.lines
        if str(line.get_label()).startswith("beat ")
    }
    assert looks == {"sounds": ("o", "full"), "unsure": ("D", "left"), "silent": ("s", "none")}


def test_labels_do_not_overlap(recording) -> None:
    figure = reading_figure(recording, made.with_gap())
    figure.draw_without_rendering()
    axes = figure.axes[3]
    boxes = [text.get_window_extent() for text in axes.texts]
    assert len(boxes) == 4
    assert all(
        not one.overlaps(other) for index, one in enumerate(boxes) for other in boxes[:index]
    )
    assert all(box.x1 <= figure.bbox.width for box in boxes)


def test_every_flag_leaves_the_axis_label_free(recording) -> None:
    flagged = replace(made.bounded(), flags=tuple(Flag))
    figure = reading_figure(recording, flagged)
    figure.draw_without_rendering()
    lowest = figure.axes[3].xaxis.label.get_window_extent().y0
    foot = [text for text in figure.texts if text.get_position()[0] < 0.05]
    assert len(foot) == len(foot_lines(flagged)) + 1 == 6
    assert max(text.get_window_extent().y1 for text in foot) < lowest
    assert max(text.get_window_extent().x1 for text in foot) < figure.bbox.width
    assert f"{len(Flag)} flags in all" in foot_lines(flagged)[-1]


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(0, dtype=np.float32),
        np.zeros(20, dtype=np.float32),
        np.full(4000, 0.5, dtype=np.float64),
        np.full(4000, -32768, dtype=np.int16),
        np.arange(4000, dtype=np.int32),
        1e30 * np.sin(np.arange(4000.0)),
        1e-40 * np.sin(np.arange(4000.0)),
        np.append(0.1 * np.sin(np.arange(3999.0)), 3e38),
        np.append(np.zeros(3999), 3e38),
    ],
    ids=["none", "twenty", "constant", "int16", "int32", "loud", "faint", "spike", "lone spike"],
)
def test_any_sound_is_drawn(samples, tmp_path) -> None:
    odd = Recording(samples=samples, rate_hz=1000.0, cuff=made.cuff_log(seconds=4.0))
    draw_reading(odd, made.unreadable(), tmp_path / "a.png")
    assert (tmp_path / "a.png").stat().st_size > 10_000


@pytest.mark.parametrize("gain", [1e-30, 1e-3, 1e30])
def test_the_level_of_the_sound_changes_no_picture(recording, gain) -> None:
    spectra = []
    for times in (1.0, gain):
        samples = (recording.samples * np.float64(times)).astype(np.float32)
        figure = reading_figure(replace(recording, samples=samples), made.ordinary())
        (image,) = figure.axes[1].images
        spectra.append((image.get_array() - image.get_clim()[1]) / np.ptp(image.get_clim()))
        figure.draw_without_rendering()
        assert figure.axes[0].yaxis.get_offset_text().get_text() == ""
    np.testing.assert_allclose(spectra[1], spectra[0], atol=0.02)


def test_marks_are_explained_where_they_hide_nothing(recording) -> None:
    for reading in (made.ordinary(), replace(made.bounded(), flags=tuple(Flag))):
        with plt.style.context(["default", look.STYLE]):
            figure = reading_figure(recording, reading)
            figure.draw_without_rendering()
        cuff = figure.axes[3]
        legend = cuff.get_legend()
        assert legend is not None
        box = legend.get_window_extent()
        label = cuff.xaxis.label.get_window_extent()
        ticks = [tick.get_window_extent() for tick in cuff.get_xticklabels()]
        foot = [text.get_window_extent() for text in figure.texts if text.get_position()[0] < 0.05]
        assert box.y1 < cuff.get_window_extent().y0
        assert not any(box.overlaps(other) for other in (label, *ticks, *foot))
        assert abs((box.y0 + box.y1) - (label.y0 + label.y1)) < 6.0  # on one line


@pytest.mark.parametrize(
    ("per_min", "rhythm", "said"),
    [
        (70.5, Rhythm.REGULAR, "pulse 71 per minute, regular"),
        (69.4, Rhythm.UNKNOWN, "pulse 69 per minute"),
    ],
)
def test_the_pulse_is_said_as_in_the_summary(recording, per_min, rhythm, said) -> None:
    reading = replace(made.ordinary(), pulse_per_min=per_min, rhythm=rhythm)
    second = reading_figure(recording, reading).texts[2].get_text()
    assert second.split("   ")[0] == said
    assert said in " ".join(summary_text(reading).replace("Pulse", "pulse").split())


def test_an_empty_log_is_drawn(recording, tmp_path) -> None:
    empty = replace(recording, cuff=CuffLog(time_s=np.zeros(0), pressure_mmhg=np.zeros(0)))
    draw_reading(empty, made.unreadable(), tmp_path / "a.png")
    assert (tmp_path / "a.png").exists()


def test_one_beat_is_drawn(recording, tmp_path) -> None:
    beat = Beat(time_s=20.0, cuff_mmhg=140.0, heard=0.9, phase=Phase.K1)
    given = Lag(seconds=0.0, low_s=-0.1, high_s=0.1, drift_ppm=None, estimated=False)
    lone = replace(made.unreadable(), beats=(beat,), lag=given)
    assert "beat sounds (1)" in words_of(svg_text(recording, lone, tmp_path))


def test_minutes_of_sound_stay_small(tmp_path) -> None:
    rng = np.random.default_rng(3)
    noise = (3000 * rng.standard_normal(5 * 60 * 44_100)).astype(np.int16)
    long = Recording(samples=noise, rate_hz=44_100.0, cuff=made.cuff_log(seconds=300.0))
    draw_reading(long, made.unreadable(), tmp_path / "a.png")
    assert (tmp_path / "a.png").stat().st_size < 600_000
    draw_reading(long, made.unreadable(), tmp_path / "a.svg")
    assert (tmp_path / "a.svg").stat().st_size < 3_000_000
