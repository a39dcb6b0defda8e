"""How the finished board goes into its case, in words: where it lies first, then a shift, a turn last."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import shapely

from trimgeo.cutting.holder import Standing
from trimgeo.model.board import Ring
from trimgeo.model.phrases import how, lacking, together
from trimgeo.model.plan import Fit
from trimgeo.tables import EDGE_TOLERANCE

ROUNDING: Final = 1e-6
"""mm: an outline that was built to keep the gap keeps it."""

WORTH_IT: Final = 0.1
"""mm: a shift that gives less more room is not worth a word."""

_SEEN: Final = 0.01
"""mm: a lack that is proved but for less is proved."""


def looking_out(finished: Ring, parts: Sequence[Standing], gap: float) -> tuple[str, ...]:
    """The parts that reach over the edge of the board by more than the gap, as plugs that look out of a wall.

    >>> parts = Standing("J1", 5.0, shapely.box(-3, 8, 6, 12)), Standing("U1", 5.0, shapely.box(9, 9, 12, 12))
    >>> looking_out(Ring(shapely.box(0, 0, 40, 20)), parts, gap=0.3)
    ('J1',)
    """
    board = shapely.buffer(finished.polygon, max(gap, EDGE_TOLERANCE), join_style="mitre")
    return tuple(
        dict.fromkeys(
            part.name
            for part in parts
            if shapely.intersects(part.spine, finished.polygon)
            and not shapely.covers(board, shapely.buffer(part.spine, part.radius))
        )
    )


def fit_sentences(found: Fit, gap: float, over: Sequence[str]) -> tuple[str, ...]:
    """The answer, the first sentence the verdict; ``over`` are parts that look out of walls.

    >>> lies = Fit(True, spare=0.5, most=0.5, shift=(0.3, 0.0), angle=90.0, as_placed=0.2, binds=())
    >>> fit_sentences(lies, 0.3, ())
    ('The finished outline fits its case where it lies, with 0.20 mm to spare beyond the gap of 0.30 mm.',)
    """
    beyond = f"to spare beyond the gap of {gap:.2f} mm"
    if found.as_placed >= -ROUNDING:
        said = [f"The finished outline fits its case where it lies, with {_mm(found.as_placed)} {beyond}."]
        if found.shifted is not None and found.shifted[0] >= found.as_placed + WORTH_IT:
            spare, shift = found.shifted
            said.append(f"{how(shift).capitalize()}, without a turn, it has {_mm(spare)} to spare.")
    elif found.shifted is not None and found.shifted[0] >= -ROUNDING:
        spare, shift = found.shifted
        said = [
            f"The finished outline fits its case {how(shift)}, without a turn, with {_mm(spare)} {beyond}; "
            f"where it lies it lacks {lacking(-found.as_placed)}."
        ]
    elif found.spare >= -ROUNDING:
        said = _turned(found, beyond, over)
    else:
        said = _misfit(found, gap)
    return (*said, *(f"{name} is {lacks:.1f} mm too high for the case." for name, lacks in found.too_high))


def _turned(found: Fit, beyond: str, over: Sequence[str]) -> list[str]:
    """It fits by a turn alone: that is no offer where plugs would look out of other walls."""
    pose, spare = how(found.shift, found.angle), _mm(found.spare)
    lacks = f"it lacks {lacking(-found.as_placed)}, and no shift without a turn was found that makes it fit"
    if not over:
        return [
            f"The finished outline fits its case {pose}, with {spare} {beyond}.",
            f"Where it lies {lacks}.",
        ]
    plugs = together(over)
    reach = "reach" if over[1:] else "reaches"
    return [
        f"The finished outline does not fit its case where it lies: {lacks}.",
        f"It would fit {pose}, with {spare} {beyond}; but {plugs} {reach} over its edge, and would look out "
        "of the case elsewhere.",
    ]


def _misfit(found: Fit, gap: float) -> list[str]:
    lacks = -found.spare
    first = (
        f"The finished outline does not fit its case: at best it comes {lacking(lacks)} nearer than the "
        f"gap of {gap:.2f} mm asks for."
    )
    if found.most > ROUNDING:
        return [first, "That no other shift and turn makes it fit is not proved."]
    if lacks + found.most > _SEEN:
        return [
            first,
            f"No shift or turn makes it fit: that is proved, and that it lacks at least {_mm(-found.most)}.",
        ]
    return [first, "No shift or turn makes it fit: that is proved."]


def _mm(value: float) -> str:
    return f"{max(value, 0.0):.2f} mm"
