"""The kinds of recordings, and how far their sounds stand above the noise."""

from __future__ import annotations

#: Sounds over noise in dB, 25-250 Hz, over the deflation (our choice); other kinds draw it.
SIGNAL_TO_NOISE_DB = {
    "pink_6db": 6.0,
    "breath_6db": 6.0,
    "hum_6db": 6.0,
    "speech_4db": 4.0,
    "friction_4db": 4.0,
    "heart_8db": 8.0,
}

KINDS = (
    "ordinary",
    "pink_6db",
    "breath_6db",
    "hum_6db",
    "fast",
    "coarse_log",
    "lag",
    "alternans",
    "ectopic",
    "weak",
    "gap",
    "into_gap",
    "no_sounds",
    "systolic_not_reached",
    "diastolic_not_reached",
    "af",
    "speech_4db",
    "friction_4db",
    "heart_8db",
    "far_above",
)

#: Kinds whose sounds fall silent between systolic and diastolic.
WITH_GAP = ("gap", "into_gap")

#: Kinds whose intervals change much from beat to beat.
UNEVEN = ("af", "ectopic")
