"""How far a cutter reaches along the cut beyond its axle, on both faces of the board."""

from __future__ import annotations

import math
from typing import NamedTuple

from trimgeo import tables
from trimgeo.errors import JobError
from trimgeo.model.job import Cutter


class Reach(NamedTuple):
    """Half lengths, mm, of what a cutter takes at once on the near and on the far face of the board."""

    near: float
    far: float


def reach(cutter: Cutter, thickness: float) -> Reach:
    """How far a cutter reaches along the cut from its axle, on the near face and on the far one.

    A wheel of radius R that passes p beyond the far face of a board of thickness t: half chords
    √(R² − (R − t − p)²) and √(R² − (R − p)²).  A bit reaches its radius on both, a blade stands upright.
    Raises `trimgeo.JobError` where a wheel has no diameter, or cannot go as deep.

    >>> near, far = reach(Cutter(kind="wheel", kerf=1.0, diameter=38.0, breakthrough=0.5), 1.6)
    >>> round(near - far, 2)
    4.35
    """
    if cutter.kind == "blade":
        return Reach(0.0, 0.0)
    if cutter.kind == "bit":
        radius = (cutter.diameter or cutter.kerf) / 2
        return Reach(radius, radius)
    if cutter.diameter is None:
        raise JobError(
            "[cutter] diameter", "a wheel without its diameter", "add it in mm, such as diameter = 38"
        )
    radius, beyond = cutter.diameter / 2, cutter.breakthrough
    if radius < thickness + beyond:
        raise JobError(
            "[cutter] diameter",
            f"a wheel of radius {radius:g} mm cannot pass {beyond:g} mm beyond a board of {thickness:g} mm",
            "use a larger wheel, or a smaller breakthrough",
        )
    return Reach(
        math.sqrt(radius**2 - (radius - thickness - beyond) ** 2),
        math.sqrt(radius**2 - (radius - beyond) ** 2),
    )


def run_out(cutter: Cutter, thickness: float) -> float:
    """How far, mm, guide and tool line run past the board's edge.

    √(R² − (R − t − p)²) for a wheel, half the diameter of a bit (its kerf where no diameter is given), a few
    teeth of a blade.  Raises as `reach` does.

    >>> run_out(Cutter(kind="bit", kerf=2.0), 1.6), run_out(Cutter(kind="blade", kerf=0.5), 1.6)
    (1.0, 2.0)
    """
    return tables.BLADE_RUN_OUT if cutter.kind == "blade" else reach(cutter, thickness).near


def overrun(cutter: Cutter, thickness: float) -> float:
    """How far, mm, the cut runs on into the waste at an outside corner until the far face is parted too.

    >>> overrun(Cutter(kind="bit", kerf=2.0), 1.6)
    0.0
    """
    near, far = reach(cutter, thickness)
    return tables.BLADE_RUN_OUT if cutter.kind == "blade" else near - far
