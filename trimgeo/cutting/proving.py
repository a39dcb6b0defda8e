"""How many new cuts any outline needs, and what proves it.

An outline leads around all that is kept.  Around one piece, or a hull that is allowed, the windows of
`trimgeo.plane.fewest` prove the number; around several pieces those of `trimgeo.plane.islands`, whatever
joins them.  Posts only add cuts: where the bound without them is less than the fewest found, each is tried
alone (`trimgeo.plane.slits`).
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

import shapely
from shapely import MultiPolygon, Polygon

from trimgeo.cutting.joining import Field, field
from trimgeo.cutting.kept import MARGIN
from trimgeo.cutting.room import Ground, free_sides
from trimgeo.plane.annulus import NoRoomError, annulus
from trimgeo.plane.cover import around_islands
from trimgeo.plane.fewest import fewest_in
from trimgeo.plane.hulls import Floats
from trimgeo.plane.islands import least_links
from trimgeo.plane.pose import raised
from trimgeo.plane.slits import least_beside

ALL = "all that is kept"
PAST = "all that is kept and past a post"
PART = "a piece of what is kept"


@dataclass(frozen=True, eq=False)
class Bound:
    """No outline needs less than ``proved`` new cuts: ``witnesses``, shape (n, 2, 2), are the windows.

    They lead around ``kept``, which is ``around`` in words.
    """

    proved: int
    witnesses: Floats
    kept: Polygon | MultiPolygon
    around: str


def proving(base: Ground, found: list[Field]) -> Bound:
    """The greatest bound known on the cuts of any outline; ``found`` are the fields of `joining.fields`."""
    whole = len(base.pieces) == 1 or base.hull_fits
    if whole and not base.allowed.interiors:
        return _of(found[0], base, ALL, placed=True)
    base = base.laid
    allowed = Polygon(base.allowed.exterior)
    if whole or shapely.covers(shapely.buffer(allowed, MARGIN), base.hull):
        shape = base.pieces[0] if len(base.pieces) == 1 else base.hull
        bounds = [_of(each, base, ALL) for each in field(base, Polygon(shape), allowed)]
    else:
        bounds = _around_all(base, allowed)
    if not bounds:  # the hull is allowed but for a hair, or rounding led astray
        with suppress(NoRoomError):
            few = fewest_in(annulus(base.hull, allowed, free_sides(allowed, base.edge)))
            bounds = [Bound(few.proved, base.pose.back(few.witnesses), raised(base.hull, base.pose), ALL)]
        pieces = [each for piece in base.pieces for each in field(base, Polygon(piece), allowed)]
        bounds += [_of(each, base, PART) for each in pieces]
    best = max(bounds, key=_proved)
    known = min(each.few.count for each in found)
    for post in base.allowed.interiors if best.proved < known else ():
        best = max(best, _past(base, allowed, Polygon(post), best.proved, known) or best, key=_proved)
    return best


def _of(each: Field, base: Ground, around: str, placed: bool = False) -> Bound:
    """The bound that a field proves, as it was placed."""
    if placed:
        return Bound(each.few.proved, each.few.witnesses, each.kept, around)
    return Bound(each.few.proved, base.pose.back(each.few.witnesses), raised(each.kept, base.pose), around)


def _around_all(base: Ground, allowed: Polygon) -> list[Bound]:
    """The bound for all pieces, however they hang together; none where it cannot be told."""
    try:
        room = around_islands(
            [Polygon(piece) for piece in base.pieces], allowed, free_sides(allowed, base.edge)
        )
    except NoRoomError:  # what is kept all but touches a wall
        return []
    least = least_links(room)
    if least is None:
        return []
    kept = raised(shapely.multipolygons(base.pieces), base.pose)
    return [Bound(least.links, base.pose.back(least.witnesses), kept, ALL)]


def _past(base: Ground, allowed: Polygon, post: Polygon, least: int, known: int) -> Bound | None:
    """The bound for all pieces and a post that stays outside, where that is more than ``least``."""
    pieces = [Polygon(piece) for piece in base.pieces]
    found = None
    with suppress(NoRoomError):  # what is kept all but touches the post, or a wall
        found = least_beside(pieces, post, allowed, free_sides(allowed, base.edge), least, known)
    if found is None:
        return None
    kept = raised(shapely.multipolygons(pieces), base.pose)
    return Bound(found.links, base.pose.back(found.witnesses), kept, PAST)


def _proved(each: Bound) -> int:
    return each.proved
