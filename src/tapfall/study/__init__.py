"""Studies: many readings at once, and how far two ways of measuring agree."""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from tapfall.study.manifest import ManifestError, read_manifest
    from tapfall.study.remote import cluster
    from tapfall.study.running import Progress, Study, run
    from tapfall.study.task import Choices

__all__ = ["Choices", "ManifestError", "Progress", "Study", "cluster", "read_manifest", "run"]

_HOMES = {
    "Choices": "task",
    "ManifestError": "manifest",
    "Progress": "running",
    "Study": "running",
    "cluster": "remote",
    "read_manifest": "manifest",
    "run": "running",
}


def __getattr__(name: str) -> object:
    # Loaded on first use: the statistics of pairs need no worker processes.
    if name in _HOMES:
        from importlib import import_module

        module = import_module(f"tapfall.study.{_HOMES[name]}")
        found: object = getattr(module, name)
        return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
