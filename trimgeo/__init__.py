"""Trim outlines for cutting circuit boards down by hand.

The commands and the library are the same thing::

    job = trimgeo.load("samples/greenhouse", variant="display")
    board = trimgeo.prepare(job)
    plan = trimgeo.plan(board)
    trimgeo.write(plan, "out")

Names are loaded when first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from trimgeo.version import __version__

if TYPE_CHECKING:
    from trimgeo.choosing import outlines
    from trimgeo.errors import JobError, NoOutlineError, TrimgeoError
    from trimgeo.jobfile import load
    from trimgeo.report.files import write
    from trimgeo.stages import plan, prepare

_HOMES = {
    "JobError": "trimgeo.errors",
    "NoOutlineError": "trimgeo.errors",
    "TrimgeoError": "trimgeo.errors",
    "load": "trimgeo.jobfile",
    "outlines": "trimgeo.choosing",
    "plan": "trimgeo.stages",
    "prepare": "trimgeo.stages",
    "write": "trimgeo.report.files",
}

__all__ = [
    "JobError",
    "NoOutlineError",
    "TrimgeoError",
    "__version__",
    "load",
    "outlines",
    "plan",
    "prepare",
    "write",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'trimgeo' has no attribute {name!r}")
