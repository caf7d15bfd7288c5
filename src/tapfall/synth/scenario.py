"""What a simulated measurement is made of: a person, a cuff, sounds, a sensor, a room.

Every field carries its unit in its name or table, a range and a default;
:func:`tapfall.synth.fields.field_table` lists them.  Defaults are a healthy
adult measured well (our choice unless a source stands beside the number).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tapfall.errors import ScenarioError
from tapfall.synth.fields import check_fields, choice, numbers, quantity, switch, words

RHYTHMS = ("sinus", "atrial_fibrillation", "ectopics", "bigeminy", "series")
NOISES = (
    "pink",
    "white",
    "breath",
    "heart",
    "speech",
    "friction",
    "knocks",
    "hum",
    "valve_hiss",
    "pump",
    "file",
)
#: Shortest and longest interval of a series of beats, seconds (our choice).
SHORTEST_INTERVAL_S, LONGEST_INTERVAL_S = 0.25, 4.0
RESPONSES = ("flat", "bell", "diaphragm", "electronic")


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Heart and artery of the person.

    Raises
    ------
    ScenarioError
        A field is outside its range, or systolic is not above diastolic.
    """

    systolic_mmhg: float = quantity(120.0, 60, 260, "mmHg", "mean systolic pressure")
    diastolic_mmhg: float = quantity(75.0, 20, 180, "mmHg", "mean diastolic pressure")
    heart_rate_per_min: float = quantity(70.0, 30, 200, "1/min", "mean heart rate")
    rhythm: str = choice("sinus", RHYTHMS, "how the beats follow each other")
    intervals_s: tuple[float, ...] = numbers(
        SHORTEST_INTERVAL_S,
        LONGEST_INTERVAL_S,
        "s",
        "beat intervals of a series, repeated when they run out",
    )
    interval_breath_share: float = quantity(
        0.03, 0, 0.3, "", "respiratory variation of the interval, amplitude over mean"
    )
    interval_sd_share: float = quantity(
        0.02, 0, 0.3, "", "slow variation of the interval, standard deviation over mean"
    )
    fibrillation_share: float = quantity(
        0.24, 0.05, 0.4, "", "standard deviation over mean of the intervals in fibrillation"
    )
    ectopics_per_min: float = quantity(5.0, 0, 30, "1/min", "ectopic beats")
    ectopic_coupling: float = quantity(
        0.6, 0.4, 0.78, "", "interval before an ectopic beat over the mean interval"
    )
    ectopic_pair_share: float = quantity(
        2.0,
        1.5,
        2.2,
        "",
        "intervals before and after an ectopic beat over the mean; 2 is a full pause",
    )
    filling_gain: float = quantity(
        0.8, 0, 1.5, "", "loss of pulse pressure per share of missing filling time"
    )
    breath_per_min: float = quantity(15.0, 6, 30, "1/min", "breathing rate")
    breath_swing_mmhg: float = quantity(
        3.0, 0, 40, "mmHg", "systolic swing with the breath, peak to peak"
    )
    slow_swing_mmhg: float = quantity(2.0, 0, 20, "mmHg", "slow systolic swing, peak to peak")
    beat_sd_mmhg: float = quantity(0.6, 0, 10, "mmHg", "beat-to-beat scatter of the systolic")
    alternans_mmhg: float = quantity(
        0.0, 0, 40, "mmHg", "systolic difference of strong and weak beats"
    )
    upstroke_s: float = quantity(0.12, 0.05, 0.3, "s", "foot to top of the arterial upstroke")
    upstroke_shape: float = quantity(0.5, 0, 1, "", "0 straight upstroke, 1 S-shaped")
    notch_share: float = quantity(0.12, 0, 0.5, "", "depth of the dicrotic notch over the pulse")

    def __post_init__(self) -> None:
        check_fields(self, "person")
        if self.systolic_mmhg < self.diastolic_mmhg + 10:
            raise ScenarioError(
                f"person.systolic_mmhg: found {self.systolic_mmhg:g}; "
                f"allowed at least 10 mmHg above person.diastolic_mmhg ({self.diastolic_mmhg:g})"
            )
        if (self.rhythm == "series") != bool(self.intervals_s):
            raise ScenarioError(
                f"person.intervals_s: found {len(self.intervals_s)} intervals with rhythm "
                f"{self.rhythm!r}; allowed some with 'series', none otherwise"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuff:
    """Cuff, hand and log."""

    rest_before_s: float = quantity(4.0, 0.5, 60, "s", "rest before the cuff is inflated")
    rest_after_s: float = quantity(6.0, 0, 60, "s", "rest after the release")
    run_up_mmhg: float = quantity(0.0, 0, 300, "mmHg", "top of a palpatory run-up, 0 for none")
    run_up_rest_s: float = quantity(8.0, 1, 60, "s", "rest between run-up and inflation")
    inflation: str = choice("bulb", ("bulb", "pump"), "by strokes of a bulb or by a pump")
    inflation_mmhg_per_s: float = quantity(25.0, 5, 80, "mmHg/s", "mean inflation rate")
    stroke_mmhg: float = quantity(15.0, 4, 40, "mmHg", "rise of one bulb stroke")
    top_mmhg: float = quantity(150.0, 20, 320, "mmHg", "pressure where the deflation starts")
    hold_s: float = quantity(1.0, 0, 20, "s", "pause at the top")
    deflation_mmhg_per_s: float = quantity(2.5, 0.5, 12, "mmHg/s", "mean deflation rate")
    deflation_curve: float = quantity(
        0.0, 0, 1, "", "0 constant rate, 1 rate proportional to pressure"
    )
    wobble_share: float = quantity(0.1, 0, 0.8, "", "valve wobble, sd of the rate over its mean")
    step_mmhg: float = quantity(0.0, 0, 15, "mmHg", "step of a stepwise deflation, 0 for smooth")
    pause_at_mmhg: float = quantity(0.0, 0, 300, "mmHg", "pressure of a pause, 0 for none")
    pause_s: float = quantity(0.0, 0, 60, "s", "length of the pause")
    reinflate_at_mmhg: float = quantity(
        0.0, 0, 300, "mmHg", "pressure where the cuff is re-inflated, 0 for never"
    )
    reinflate_by_mmhg: float = quantity(0.0, 0, 150, "mmHg", "rise of the re-inflation")
    end_mmhg: float = quantity(50.0, 0, 300, "mmHg", "pressure where the quick release starts")
    release_mmhg_per_s: float = quantity(60.0, 20, 300, "mmHg/s", "rate of the quick release")
    pulse_mmhg: float = quantity(
        3.0, 0, 10, "mmHg", "largest pulse on the cuff; 3.0 (0.8) in Liu 2014"
    )
    pulse_width_50_mmhg: float = quantity(
        57.0, 15, 150, "mmHg", "width of the bell at 50 % height; 57 (11) in Liu 2014"
    )
    pulse_width_30_mmhg: float = quantity(
        89.0, 20, 250, "mmHg", "width of the bell at 30 % height; 89 (12) in Liu 2014"
    )
    pulse_centre_share: float = quantity(
        0.45, 0.1, 0.8, "", "share of systolic in the bell's centre; 0.45 in Chandrasekhar 2019"
    )
    pulse_floor_share: float = quantity(
        0.08, 0, 0.5, "", "pulse that persists far above systolic, over the largest"
    )
    pulse_offset_s: float = quantity(
        0.0, -0.05, 0.05, "s", "foot of the pulse on the log minus foot of the arterial pulse"
    )
    bumps_per_min: float = quantity(0.0, 0, 20, "1/min", "movement bumps on the cuff")
    bump_mmhg: float = quantity(4.0, 0, 30, "mmHg", "size of a movement bump")
    zero_offset_mmhg: float = quantity(0.0, -10, 10, "mmHg", "what the log shows at rest")
    gain_error_share: float = quantity(0.0, -0.1, 0.1, "", "manometer error over pressure")
    damping_s: float = quantity(
        0.0, 0, 3, "s", "time constant by which tube and manometer lag (first order), 0 for none"
    )
    log_rate_hz: float = quantity(50.0, 0.5, 500, "Hz", "sampling rate of the log")
    rounding_mmhg: float = quantity(0.1, 0, 5, "mmHg", "step of the log, 0 for none")
    noise_sd_mmhg: float = quantity(0.1, 0, 2, "mmHg", "sensor noise of the log")
    lag_s: float = quantity(0.0, -5, 5, "s", "log time minus audio time at the start")
    drift_ppm: float = quantity(0.0, -1000, 1000, "ppm", "log clock fast against audio clock")
    dropouts_per_min: float = quantity(0.0, 0, 10, "1/min", "holes in the log")
    dropout_s: float = quantity(1.0, 0.05, 20, "s", "length of a hole in the log")

    def __post_init__(self) -> None:
        check_fields(self, "cuff")
        if self.end_mmhg > self.top_mmhg - 10:
            raise ScenarioError(
                f"cuff.end_mmhg: found {self.end_mmhg:g}; "
                f"allowed at least 10 mmHg below cuff.top_mmhg ({self.top_mmhg:g})"
            )
        if self.pulse_width_30_mmhg < 1.15 * self.pulse_width_50_mmhg:
            raise ScenarioError(
                f"cuff.pulse_width_30_mmhg: found {self.pulse_width_30_mmhg:g}; allowed at least "
                f"1.15 times cuff.pulse_width_50_mmhg ({self.pulse_width_50_mmhg:g})"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """The Korotkoff sounds.  Levels in dB are relative to the loudest sound."""

    present: bool = switch(True, "whether the artery sounds at all")
    peak_dbfs: float = quantity(
        -14.0, -70, 20, "dB", "peak of the loudest sound re full scale; 28 dB range in Celler 2017"
    )
    first_db: float = quantity(-15.0, -40, 0, "dB", "level of a sound at systolic")
    second_db: float = quantity(-4.0, -30, 0, "dB", "level in the second phase")
    last_db: float = quantity(-15.0, -40, 0, "dB", "level of a sound at diastolic")
    muffled_db: float = quantity(-5.0, -30, 0, "dB", "level at the onset of muffling")
    loudest_share: float = quantity(
        0.6, 0.35, 0.8, "", "where the loudest sound lies, 0 systolic to 1 diastolic"
    )
    edge_mmhg: float = quantity(0.5, 0, 5, "mmHg", "softness of the sound's start and end")
    muffling_mmhg: float = quantity(
        7.0, 0, 40, "mmHg", "muffling starts this far above diastolic; 6.3 (2.6) in Hammond 1995"
    )
    level_sd_db: float = quantity(1.5, 0, 8, "dB", "beat-to-beat scatter of the level")
    breath_db: float = quantity(1.5, 0, 10, "dB", "level swing with the breath, amplitude")
    delay_s: float = quantity(
        0.02, 0, 0.1, "s", "from the artery's opening to the sound at the sensor"
    )
    low_hz: float = quantity(40.0, 15, 150, "Hz", "lowest resonance of the person's tap")
    high_hz: float = quantity(130.0, 40, 600, "Hz", "highest resonance of the person's tap")
    tap_s: float = quantity(0.014, 0.003, 0.06, "s", "decay time of the tap")
    spread: float = quantity(0.15, 0, 1, "", "beat-to-beat change of the waveform")
    crisp_share: float = quantity(
        0.3, 0, 1, "", "rise of the resonances in the third phase, over the first"
    )
    muffle_share: float = quantity(
        0.45, 0, 0.7, "", "fall of the resonances at diastolic, over the third phase"
    )
    murmur_db: float = quantity(-4.0, -60, 10, "dB", "murmur of the second phase over its tap")
    murmur_low_hz: float = quantity(90.0, 40, 500, "Hz", "low edge of the murmur")
    murmur_high_hz: float = quantity(400.0, 100, 1500, "Hz", "high edge of the murmur")
    murmur_s: float = quantity(0.1, 0.03, 0.25, "s", "length of the murmur")
    thump_db: float = quantity(
        0.0, -60, 20, "dB", "inaudible pulse below 25 Hz, peak over the loudest sound's"
    )
    thump_hz: float = quantity(7.0, 3, 12, "Hz", "spectral peak of the inaudible pulse")
    gap_top_mmhg: float = quantity(0.0, 0, 260, "mmHg", "top of a silent gap, 0 for none")
    gap_bottom_mmhg: float = quantity(0.0, 0, 260, "mmHg", "bottom of the silent gap")
    gap_depth_db: float = quantity(60.0, 0, 100, "dB", "how far the gap damps the sounds")
    gap_fade_mmhg: float = quantity(2.0, 0.05, 10, "mmHg", "over how much each edge fades")
    to_zero: bool = switch(False, "whether muffled sounds go on below diastolic to zero")

    def __post_init__(self) -> None:
        check_fields(self, "sound")
        for low, high in (
            ("low_hz", "high_hz"),
            ("murmur_low_hz", "murmur_high_hz"),
            ("gap_bottom_mmhg", "gap_top_mmhg"),
        ):
            if getattr(self, low) > getattr(self, high):
                raise ScenarioError(
                    f"sound.{low}: found {getattr(self, low):g}; "
                    f"allowed at most sound.{high} ({getattr(self, high):g})"
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """The stethoscope and what records it."""

    rate_hz: float = quantity(4000.0, 1000, 96000, "Hz", "sampling rate of the audio")
    response: str = choice("electronic", RESPONSES, "frequency response of the stethoscope")
    clip_share: float = quantity(1.0, 0.001, 1.0, "", "where the sensor clips, over full scale")
    gain_swing_db: float = quantity(0.0, 0, 40, "dB", "largest boost of a slow automatic gain")
    gain_s: float = quantity(4.0, 0.2, 30, "s", "time constant of the automatic gain")
    bits: float = quantity(
        0, 0, 24, "bits", "resolution of the samples, 0 for floating point", whole=True
    )

    def __post_init__(self) -> None:
        check_fields(self, "sensor")


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """One noise of the room, set by its signal-to-noise ratio.

    The ratio is 20 log10 of the rms of the loudest tenth of the sounds over
    60 ms to the rms of this noise over the deflation, both in 25-250 Hz.
    """

    kind: str = choice("pink", NOISES, "what makes the noise")
    snr_db: float = quantity(20.0, -40, 90, "dB", "signal-to-noise ratio of this noise alone")
    tone_hz: float = quantity(50.0, 20, 500, "Hz", "frequency of a hum or pump")
    path: str = words("", "audio file of the kind 'file'")

    def __post_init__(self) -> None:
        check_fields(self, "noise")
        if (self.kind == "file") != bool(self.path):
            raise ScenarioError(
                f"noise.path: found {self.path!r} with kind {self.kind!r}; "
                "allowed a path with 'file', none otherwise"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Noises, and the noise of the hand on bulb and valve."""

    noises: tuple[Noise, ...] = (Noise(kind="pink", snr_db=30.0),)
    inflation_noise_db: float = quantity(
        -6.0, -60, 30, "dB", "rms of the inflation's noise over the loudest sounds"
    )
    inflation_noise_offset_s: float = quantity(
        0.0, -3, 3, "s", "start of the inflation's noise minus start of the inflation"
    )
    release_noise_db: float = quantity(
        -14.0, -60, 30, "dB", "rms of the release's hiss over the loudest sounds"
    )
    s1_before_s: float = quantity(
        0.11, -0.1, 0.3, "s", "first heart sound before the foot of the arterial pulse"
    )
    s2_after_s: float = quantity(
        0.19, 0, 0.5, "s", "second heart sound after the foot of the arterial pulse"
    )
    s2_db: float = quantity(-3.0, -20, 10, "dB", "second heart sound over the first")
    s1_slope_db: float = quantity(
        7.0, 3, 12, "dB/octave", "fall of the first heart sound; 6.5-7.5 in Sakai 1971"
    )
    heart_corner_hz: float = quantity(
        25.0, 10, 100, "Hz", "where the fall of the heart sounds' spectrum starts (our choice)"
    )
    heart_length: float = quantity(
        1.0, 0.4, 3, "", "length of the heart sounds, over 50 and 33 ms (our choice)"
    )
    heart_breath_db: float = quantity(
        2.0, 0, 10, "dB", "swing of the heart sounds with the breath, amplitude"
    )

    def __post_init__(self) -> None:
        check_fields(self, "room")
        if not isinstance(self.noises, tuple) or not all(
            isinstance(noise, Noise) for noise in self.noises
        ):
            raise ScenarioError(f"room.noises: found {self.noises!r}; allowed a tuple of Noise")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One simulated measurement.

    Parameters
    ----------
    seed
        Whole number, 0 or more; each part draws from its own child stream, so
        changing one part leaves the others as they were.
    name, description
        Words for people.
    person, cuff, sound, sensor, room
        What the measurement is made of.

    Examples
    --------
    >>> Scenario(seed=3, person=Person(systolic_mmhg=140.0)).person.systolic_mmhg
    140.0
    """

    seed: int = 0
    name: str = words("", "short name")
    description: str = words("", "one sentence on what is special")
    person: Person = field(default_factory=Person)
    cuff: Cuff = field(default_factory=Cuff)
    sound: Sound = field(default_factory=Sound)
    sensor: Sensor = field(default_factory=Sensor)
    room: Room = field(default_factory=Room)

    def __post_init__(self) -> None:
        check_fields(self, "scenario")
        if not isinstance(self.seed, int) or isinstance(self.seed, bool) or self.seed < 0:
            raise ScenarioError(
                f"scenario.seed: found {self.seed!r}; allowed a whole number, 0 or more"
            )
