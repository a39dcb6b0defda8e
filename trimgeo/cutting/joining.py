"""What outlines are searched around: all that is kept as one shape, by its hull or by bridges."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.cutting.kept import MARGIN
from trimgeo.cutting.posts import opened, openings
from trimgeo.cutting.refusals import post_within, too_narrow
from trimgeo.cutting.room import HAIR, POLYGON, Ground, free_sides, polygons_of
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Case
from trimgeo.plane.annulus import Annulus, NoRoomError, annulus
from trimgeo.plane.bridges import NoBridgeError, bridged, bridges
from trimgeo.plane.coarser import coarser
from trimgeo.plane.fewest import Fewest, fewest_in
from trimgeo.plane.hulls import Floats
from trimgeo.plane.pose import Pose, raised

FEW_CORNERS: Final = 30
"""A shape with more is searched around with fewer."""

STANDS_OUT: Final = 0.01
"""mm: the shape with fewer corners stands out by so much, a tenth of what a hand can mark."""

MANY: Final = 1000
"""More cuts than anybody makes."""

THIN: Final = 5 * HAIR
"""mm: where there is no room for a hair, what is kept is grown by so much, and arms of twice that go."""

THINNER: Final = (0.5, 0.1)
"""Shares of the neck asked for that bridges are tried with: outlines are wider than what they lead around."""

ASIDE: Final = (8.0, 4.0, 2.0, 1.0)
"""mm from walls and posts that bridges are tried at: beside one along a wall no straight way is left."""

SEEDS: Final = 12
"""Pieces from which hulls of several are grown, for a bound."""

POCKET: Final = 2.0
"""mm: no cutter makes a pocket that is narrower, so none is searched."""

BODY_SEGMENTS: Final = 4
"""Sides a quarter circle of what is left when a shape is shrunk to tell its bodies."""

LEAST_BODY: Final = 0.1
"""mm²: where the middle of a disc has less room there is no body, but the end of an arm."""

_HALVINGS: Final = 10
"""Steps in which the widest neck that passes is found, for a refusal."""


@dataclass(frozen=True, eq=False)
class Field:
    """One shape to be led around, the ``room`` that holds the outline, and the fewest cuts there.

    Small outlines are searched in a ``coarse`` room, around a shape with fewer corners.  Where its bridges
    are thinner than the ``neck`` asked for, each outline is to be looked at whether it `holds_together`.
    Outlines with necks thinner than ``thin`` come only where there are no others.
    """

    kept: Polygon
    room: Annulus
    few: Fewest
    coarse: Annulus
    allowed: Polygon
    neck: float | None = None
    thin: float | None = None


def fields(base: Ground, case: Case | None, neck: float, slot: float, inside_corners: bool) -> list[Field]:
    """The shapes that may stand for what is kept, each with its room; the first needs the fewest cuts.

    Where the hull is allowed, it needs no more cuts than any other; outlines with inside corners are
    searched around what is kept itself, with bridges from piece to piece.  Raises `trimgeo.NoOutlineError`
    where no bridge as wide as ``neck`` passes, and where a post is enclosed.
    """
    base = base.laid
    return [_as_placed(each, base.pose) for each in _fields(base, case, neck, slot, inside_corners)]


def _as_placed(each: Field, pose: Pose) -> Field:
    """A field of ground that lies in a ``pose``, as it was given."""
    kept, allowed = (shapely.orient_polygons(raised(shape, pose)) for shape in (each.kept, each.allowed))
    few = replace(each.few, outline=pose.placed(each.few.outline), witnesses=pose.back(each.few.witnesses))
    room = replace(each.room, pose=each.room.pose.within(pose))
    coarse = room if each.coarse is each.room else replace(each.coarse, pose=each.coarse.pose.within(pose))
    return replace(each, kept=kept, allowed=allowed, few=few, room=room, coarse=coarse)


def _fields(base: Ground, case: Case | None, neck: float, slot: float, inside_corners: bool) -> list[Field]:
    """The same in a pose."""
    shapes: list[Polygon] = []
    if base.hull_fits:
        shapes.append(base.hull)
    if inside_corners or not base.hull_fits:
        shapes.append(_bridged(base, case, neck))
    if not base.hull_fits and len(base.pieces) > 1:
        shapes += _hull_within(base)
    found: list[Field] = []
    for shape in shapes:
        if not any(shapely.equals_exact(shape.normalize(), each.kept.normalize(), MARGIN) for each in found):
            for allowed in _rooms(base, shape, slot):
                found += _strong(base, neck, shape, allowed)
    if not base.hull_fits and len(base.pieces) > 1:
        found += _aside(base, neck, slot, found)
        found += _thinner(base, neck, slot, found)
    if not found:
        raise _enclosed(base, case, shapes[0])
    return sorted(found, key=_fewest)


def _strong(base: Ground, neck: float, shape: Polygon, allowed: Polygon) -> list[Field]:
    """The field around a shape made as wide as ``neck`` where it is thinner; as it is where it cannot be.

    The thin one stays beside it where it needs fewer cuts or proves another bound, with its thin outlines
    noted.  Where the hull is allowed, that has the fewest cuts anyway.
    """
    wide = widened(shape, allowed, neck)
    strong = field(base, wide, allowed) if wide else []
    if strong and base.hull_fits:
        return strong
    thin = field(base, shape, allowed)
    if not strong:
        return thin
    found = [[(each.few.count, each.few.proved) for each in some] for some in (strong, thin)]
    return strong if found[0] == found[1] else [*strong, *(replace(each, thin=neck) for each in thin)]


def widened(shape: Polygon, allowed: Polygon, neck: float) -> Polygon | None:
    """A shape with bridges ``neck`` wide beside its necks that are thinner; None where there is none.

    Its bodies are what a disc of that width fits into.  None as well where no such bridge is allowed.

    >>> bone = shapely.box(0, 0, 10, 10) | shapely.box(20, 0, 30, 10) | shapely.box(9, 4, 21, 6)
    >>> round(widened(bone, shapely.box(-9, -9, 39, 19), 5.0).area, 1)
    250.0
    """
    discs = _middles(shape, neck)
    if len(discs) < 2:
        return None
    bodies = shapely.buffer(discs, neck / 2 - THIN, join_style="mitre")
    bodies = shapely.intersection(shape, shapely.union_all(bodies))
    with suppress(NoBridgeError):
        wide = shapely.union_all([shape, *bridges(bodies, allowed, neck + 2 * HAIR)])
        if isinstance(wide, Polygon) and len(_middles(Polygon(wide.exterior), neck)) == 1:
            return Polygon(wide.exterior)
    return None


def _middles(shape: Polygon, neck: float) -> NDArray[Any]:
    """Where the middle of a disc ``neck`` wide may be, a few hairs less: one area for each body."""
    areas = shapely.get_parts(shapely.buffer(shape, THIN - neck / 2, quad_segs=BODY_SEGMENTS))
    return np.asarray(areas[shapely.area(areas) > LEAST_BODY])


def _enclosed(base: Ground, case: Case | None, shape: Polygon) -> NoOutlineError:
    """No room was found: a post that ``shape`` encloses, or else the nearest one."""
    posts = polygons_of(base.allowed.interiors)
    slits = openings(base.allowed, shape, 0.0) if len(posts) else []
    shut = [post for post, each in zip(posts, slits, strict=True) if not each]
    near = min(shut or [*posts, base.allowed], key=lambda post: shapely.distance(post, shape))
    return post_within(base.kept, case, base.kept.grown(HAIR), raised(near, base.pose))


def _fewest(each: Field) -> int:
    return each.few.count


def _aside(base: Ground, neck: float, slot: float, found: list[Field]) -> list[Field]:
    """The field by bridges that keep off the walls with the fewest cuts, where these are fewer."""
    known = min((each.few.count for each in found), default=MANY)
    best: list[Field] = []
    for aside in ASIDE:
        inner = shapely.buffer(base.allowed, -aside, join_style="mitre")
        open_to = shapely.union_all([inner, *base.pieces])
        if not isinstance(open_to, Polygon):
            continue
        with suppress(NoBridgeError):
            shape = bridged(shapely.multipolygons(base.pieces), open_to, neck)
            for each in (one for room in _rooms(base, shape, slot) for one in field(base, shape, room)):
                if each.few.count < known:
                    known, best = each.few.count, [each]
    return best


def _thinner(base: Ground, neck: float, slot: float, found: list[Field]) -> list[Field]:
    """The fields by thinner bridges with the fewest cuts, where these are fewer and all holds together."""
    known = min((each.few.count for each in found), default=MANY)
    best: list[Field] = []
    for share in THINNER:
        with suppress(NoBridgeError):
            shape = bridged(shapely.multipolygons(base.pieces), base.allowed, share * neck)
            for each in (one for room in _rooms(base, shape, slot) for one in field(base, shape, room)):
                if each.few.count < known and holds_together(each.few.outline, base, neck):
                    known, best = each.few.count, [replace(each, neck=neck)]
    return best


def holds_together(outline: Polygon, base: Ground, neck: float) -> bool:
    """Whether an outline joins all pieces by parts that are nowhere thinner than ``neck``.

    What a disc of that width reaches (the opening of mathematical morphology) and the pieces hang together.
    """
    inner = shapely.buffer(outline, HAIR - neck / 2)
    whole = shapely.union_all([shapely.buffer(inner, neck / 2), *base.pieces])
    return isinstance(whole, Polygon)


def field(base: Ground, shape: Polygon, allowed: Polygon) -> list[Field]:
    """The field around one shape; none where its room is too narrow to be told."""
    for kept, within in ((shape, allowed), _without_hairs(shape, allowed)):
        free = free_sides(within, base.edge)
        with suppress(NoRoomError):
            coarse = room = annulus(kept, within, free)
            if len(room.kept) > FEW_CORNERS and not shapely.equals(kept, shapely.convex_hull(kept)):
                with suppress(NoRoomError):  # what is kept all but touches a wall
                    coarse = annulus(coarser(kept, within, STANDS_OUT, POCKET), within, free)
            return [Field(kept, room, fewest_in(room), coarse, within)]
    return []


def _without_hairs(shape: Polygon, allowed: Polygon) -> tuple[Polygon, Polygon]:
    """The same without what is too thin to be told: the shape grown, arms of what is allowed taken off."""
    inner = shapely.buffer(shapely.buffer(allowed, -THIN, join_style="mitre"), THIN, join_style="mitre")
    parts = shapely.get_parts(shapely.intersection(inner, allowed))
    part = parts[int(np.argmin(shapely.distance(parts, shapely.point_on_surface(shape))))]
    wide = shapely.get_parts(shapely.intersection(shapely.buffer(shape, THIN, join_style="mitre"), part))
    return Polygon(max(wide, key=shapely.area).exterior), Polygon(part.exterior)


def _rooms(base: Ground, shape: Polygon, slot: float) -> list[Polygon]:
    """The allowed part, cut open from each post to the outside; none where a post is enclosed."""
    if not base.allowed.interiors:
        return [base.allowed]

    def cost(allowed: Polygon) -> float:
        try:
            return fewest_in(annulus(shape, allowed, free_sides(allowed, base.edge))).count
        except NoRoomError:
            return np.inf

    slits = openings(base.allowed, shape, slot)
    if not all(slits):
        return []
    return opened(base.allowed, slits, shape, cost)


def _bridged(base: Ground, case: Case | None, neck: float) -> Polygon:
    if len(base.pieces) == 1:
        return Polygon(base.pieces[0])
    pieces = shapely.multipolygons(base.pieces)
    wide = shapely.union_all([coarser(each, base.allowed, STANDS_OUT, POCKET) for each in base.pieces])
    try:
        with suppress(NoBridgeError):  # quicker among few corners; what these close may stay open
            pieces = shapely.union_all([pieces, *bridges(wide, base.allowed, neck - 3 * HAIR)])
        return bridged(pieces, base.allowed, neck - 3 * HAIR)
    except NoBridgeError as error:
        passes, fails, point = 0.0, neck, error.point
        for _ in range(_HALVINGS):
            width = (passes + fails) / 2
            try:
                bridged(pieces, base.allowed, width)
                passes = width
            except NoBridgeError as closer:
                fails, point = width, closer.point
        point = _pinch(base, fails, point)
        apart = shapely.distance(base.pieces, shapely.Point(point))
        one, other = np.argsort(apart, kind="stable")[:2]
        pair = raised(base.pieces[one], base.pose), raised(base.pieces[other], base.pose)
        pinch = base.pose.back(point), passes, neck
        raise too_narrow(base.kept, case, base.kept.grown(HAIR), pair, pinch) from error


def _pinch(base: Ground, width: float, point: Floats) -> Floats:
    """Where what is allowed between pieces is narrower than ``width``: the middle of the narrowest place.

    A disc of that width does not get through: the places for its middle fall apart there.  Where they do
    not, it is the ``point`` at which no bridge was found.
    """
    middles = shapely.buffer(base.allowed, -width / 2)
    apart = shapely.get_parts(shapely.union_all([middles, *base.pieces]))
    apart = apart[shapely.intersects(apart[:, None], base.pieces[None]).any(axis=1)]
    if len(apart) < 2:
        return point
    i, j = np.triu_indices(len(apart), 1)
    across = shapely.shortest_line(apart[i], apart[j])
    return np.asarray(shapely.get_coordinates(across[int(np.argmin(shapely.length(across)))]).mean(axis=0))


def _hull_within(base: Ground) -> list[Polygon]:
    """The hull as far as it is allowed, where that holds all pieces."""
    parts = shapely.get_parts(shapely.intersection(base.hull, base.allowed))
    parts = parts[shapely.get_type_id(parts) == POLYGON]
    wide = shapely.buffer(parts, MARGIN)
    holding = parts[[bool(shapely.covers(each, base.pieces).all()) for each in wide]]
    return [Polygon(each.exterior) for each in holding]


def proving(base: Ground, found: list[Field]) -> Field:
    """The field whose fewest cuts bound those of any outline.

    Posts only add cuts, so they are left out.  It is the field of the hull where it is allowed, or of the
    only piece; else of the piece, or of pieces near to each other, that need the most alone, for an outline
    around all of them holds each.
    """
    if not base.allowed.interiors and (base.hull_fits or len(base.pieces) == 1):
        return found[0]
    base = base.laid
    allowed = Polygon(base.allowed.exterior)
    if shapely.covers(shapely.buffer(allowed, MARGIN), base.hull):
        shapes = [base.hull]
    else:
        shapes = [*map(Polygon, base.pieces), *_hulls_within(base, allowed)]
    best = max((each for shape in shapes for each in field(base, shape, allowed)), key=_proved)
    return _as_placed(best, base.pose)


def _hulls_within(base: Ground, allowed: Polygon) -> list[Polygon]:
    """Hulls of pieces near to each other that are allowed: what leads around all leads around each of them.

    From each of the largest pieces the others are taken in, nearest first, as long as the hull is allowed.
    """
    wide = shapely.buffer(allowed, MARGIN)
    shapely.prepare(wide)
    found: dict[frozenset[int], Polygon] = {}
    for seed in range(min(len(base.pieces), SEEDS)):
        group, hull = {seed}, shapely.convex_hull(base.pieces[seed])
        for other in np.argsort(shapely.distance(base.pieces, base.pieces[seed]), kind="stable")[1:].tolist():
            more = shapely.convex_hull(shapely.union(hull, base.pieces[other]))
            if shapely.covers(wide, more):
                group, hull = group | {other}, more
        if len(group) > 1:
            found[frozenset(group)] = hull
    return list(found.values())


def _proved(each: Field) -> int:
    return each.few.proved
