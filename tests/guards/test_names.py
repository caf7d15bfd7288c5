"""The public names, pinned: a change here is a change for every user."""

from __future__ import annotations

import inspect

import tapfall
import tapfall.files


def test_the_package() -> None:
    assert tapfall.__all__ == ["Listener", "__version__", "load", "take_reading"]
    assert dir(tapfall) == sorted(tapfall.__all__)


def test_the_package_hands_on_its_modules_names() -> None:
    import tapfall.ear

    assert tapfall.load is tapfall.files.load
    assert tapfall.take_reading is tapfall.ear.take_reading
    assert tapfall.Listener is tapfall.ear.Listener


def test_files() -> None:
    assert tapfall.files.__all__ == [
        "SCHEMA_NAME",
        "ReadingRecord",
        "check_writable",
        "load",
        "read_cuff_log",
        "read_reading",
        "reading_schema",
        "record_of",
        "save",
        "to_json",
        "write_bytes",
        "write_json",
        "write_reading",
    ]


def test_load_takes_its_choices_by_name() -> None:
    assert str(
        inspect.signature(tapfall.load).replace(return_annotation=inspect.Signature.empty)
    ) == (
        "(audio: 'PathLike', cuff: 'PathLike | None' = None, *, "
        "channel: 'int | str | None' = None, cuff_channel: 'int | str | None' = None, "
        "cuff_scale: 'float | None' = None, cuff_offset: 'float | None' = None, "
        "lag_s: 'float | None' = None)"
    )


def test_public_things_are_described() -> None:
    for name in tapfall.files.__all__:
        thing = getattr(tapfall.files, name)
        assert isinstance(thing, str) or inspect.getdoc(thing)
