"""The clearance that a keep-out requires, and the reason for it in words."""

from __future__ import annotations

from collections.abc import Sequence

from trimgeo.model.job import Job
from trimgeo.tables import COMPONENT, CONDUCTOR_INNER, CONDUCTOR_OUTER, HOLE, OTHER, Required

_CONDUCTORS = frozenset({"trace", "via", "pad", "copper"})
_DEFAULTS = {"component": COMPONENT, "hole": HOLE, "other": OTHER}


def required(job: Job, kind: str, layers: Sequence[int], own: float | None) -> Required:
    """A keep-out's own clearance, else that of ``[clearance]``, else the default of its kind.

    Conductors that lie on inner layers alone need less than those that reach an outer one.

    >>> from trimgeo.model.job import About, BoardTable
    >>> board = BoardTable(thickness=1.6, layers=4, edge=((0, 0), (1, 0), (1, 1)))
    >>> job = Job(job=About(title="t"), board=board)
    >>> required(job, "trace", [2], None).mm, required(job, "via", [1, 2], None).mm
    (0.45, 0.5)
    """
    if own is not None:
        return Required(own, "given for this keep-out")
    given: float | None = getattr(job.clearance, kind)
    if given is not None:
        return Required(given, f"given for {kind} in [clearance]")
    if kind in _CONDUCTORS:
        inner = all(1 < layer < job.board.layers for layer in layers)
        return CONDUCTOR_INNER if inner else CONDUCTOR_OUTER
    return _DEFAULTS[kind]
