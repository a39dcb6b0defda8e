"""Building the finished outline: the smallest one around all that must live, for each number of cuts.

What must live is grown by its clearances and joined to one shape; the outline runs around it on the board
and within the case.  Where it runs along the board's own edge nothing is cut.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import shapely
from numpy.typing import NDArray
from shapely import MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.cutting import finishing
from trimgeo.cutting.joining import Field, fields, holds_together
from trimgeo.cutting.kept import Kept, kept
from trimgeo.cutting.proving import Bound, proving
from trimgeo.cutting.refusals import not_found, too_few
from trimgeo.cutting.room import POLYGON, Ground, free_sides, ground, inside, polygons_filled, whole_sides
from trimgeo.cutting.straight import across_board
from trimgeo.cutting.tightening import Tightening
from trimgeo.model.board import Case, Keepout
from trimgeo.model.job import Placing
from trimgeo.model.plan import Choice, Proof
from trimgeo.plane.grid import rounded_to
from trimgeo.plane.necks import READS, necks
from trimgeo.plane.trade import Smallest, smallest_for_each

WORTH_A_CUT: Final = 1e-6
"""Share of the area that one more cut takes off at the least, to be listed as a choice at all."""

MOST_CORNERS: Final = 200
"""A room, or what is kept, with more corners is no outline itself."""

GAIN: Final = 0.01
"""Share of the area that one more cut must take off, where the job names no gain."""

FURTHER: Final = 8
"""Where no outline was found with the fewest cuts, so many more are tried."""

LEAST_DENTED: Final = 4
"""Outlines with fewer cuts get no dents: those seldom gain, and few cuts have to come quickly."""

MOST_CUTS: Final = 64
"""As many cuts as a job can ask for."""


@dataclass(frozen=True)
class Wish:
    """What a built outline has to be besides clear.

    It lies in the ``case``; without ``inside_corners`` a straight cutter makes it without overrun; pieces are
    joined no thinner than ``neck``, posts are reached by no cut narrower than a ``slot`` where that passes,
    and no cut is shorter than ``kerf`` where that can be had; corners are put on a grid of ``round``, all mm.
    """

    case: Case | None = None
    inside_corners: bool = True
    neck: float = 5.0
    kerf: float = 0.0
    slot: float = 2.0
    round: float | None = None


PLAIN: Final = Wish()


@dataclass(frozen=True, eq=False)
class Building:
    """All that is known before outlines are searched."""

    held: Kept
    wish: Wish
    base: Ground
    fields: tuple[Field, ...]
    room: BaseGeometry | None

    @property
    def proving(self) -> Bound:
        """What bounds the cuts of any outline."""
        return proving(self.base, list(self.fields))


def building(
    keepouts: Sequence[Keepout],
    edge: Polygon,
    wander: float,
    sanding: float,
    placing: Placing,
    wish: Wish = PLAIN,
) -> Building:
    """Prepare the search for outlines that hold each keep-out that may not be cut, and are "clear".

    Each is grown by its required clearance, by what the cutter strays beyond the sanding margin and by its
    placing uncertainty.  ``edge`` has no holes; all mm.  Raises `trimgeo.NoOutlineError` where nothing is
    to be kept, and where no outline is possible.
    """
    held = kept(keepouts, edge, wander, sanding, placing)
    base = ground(held, wish.case)
    around = fields(base, wish.case, wish.neck, wish.slot, wish.inside_corners)
    return Building(held, wish, base, tuple(around), inside(wish.case) if wish.case else None)


def choices(
    keepouts: Sequence[Keepout],
    edge: Polygon,
    wander: float,
    sanding: float,
    placing: Placing,
    most: int = 12,
    wish: Wish = PLAIN,
) -> Iterator[Choice]:
    """Smallest outlines for each number of new cuts up to ``most``, fewest cuts first.

    A number of cuts that makes the outline no smaller is left out.  The first one comes before the others are
    searched.  Everything else as in `building`.

    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 2), 0.0, (1,), None, 0.5, "")
    >>> exactly = Placing(print=0.0, taping=0.0, finish=0.0)
    >>> found = choices([part], shapely.box(0, 0, 9, 4), 0.3, 0.3, exactly, most=5)
    >>> [(each.cuts, round(each.area, 2)) for each in found]
    [(0, 36.0), (1, 10.0), (2, 6.25), (3, 5.0), (4, 4.0), (5, 3.96)]
    """
    return built(building(keepouts, edge, wander, sanding, placing, wish), most)


def smallest(
    keepouts: Sequence[Keepout],
    edge: Polygon,
    wander: float,
    sanding: float,
    placing: Placing,
    cuts: int | None,
    gain: float | None,
    wish: Wish = PLAIN,
) -> Choice:
    """Smallest outline with at most ``cuts`` new cuts.

    ``cuts`` None adds cuts until one more gains less than ``gain`` mm² (None: 1 % of the area).
    Everything else as in `choices`; raises `trimgeo.NoOutlineError` as well where so few cuts do not do.

    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 2), 0.0, (1,), None, 0.5, "")
    >>> exactly, board = Placing(print=0.0, taping=0.0, finish=0.0), shapely.box(0, 0, 9, 4)
    >>> found = smallest([part], board, 0.3, 0.3, exactly, cuts=None, gain=3.0)  # a third cut gains 1.25 mm²
    >>> found.cuts, round(found.area, 2)
    (2, 6.25)
    """
    if cuts == 0 and wish.case is None:
        return whole(keepouts, edge)
    plan = building(keepouts, edge, wander, sanding, placing, wish)
    return with_cuts(plan, cuts) if cuts is not None else worth_cutting(plan, gain)


def whole(keepouts: Sequence[Keepout], edge: Polygon) -> Choice:
    """The board as it is, around whatever is kept.

    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 2), 0.0, (1,), None, 0.5, "")
    >>> whole([part], shapely.box(0, 0, 9, 4)).area
    36.0
    """
    held = kept(keepouts, edge, 0.0, 0.0, Placing())
    found = finishing.choice(held.edge, held, None)
    assert found is not None  # without a new edge everything is clear
    return found


def with_cuts(plan: Building, cuts: int) -> Choice:
    """The smallest outline with at most so many new cuts.

    Raises `trimgeo.NoOutlineError` where so few do not do.
    """
    found = list(built(plan, cuts))
    if found[0].cuts > cuts:
        raise too_few(cuts, found[0].cuts)
    return found[-1]


def worth_cutting(plan: Building, gain: float | None) -> Choice:
    """The outline to which one more cut gains less than ``gain`` mm² (None: 1 % of the area)."""
    for most in (12, 24, MOST_CUTS):
        trade = list(built(plan, most))
        found = enough(trade, gain)
        if found is not None:
            return found
        if trade[-1].cuts < most:
            break
    return trade[-1]


def enough(trade: Sequence[Choice], gain: float | None) -> Choice | None:
    """The first choice to which one more cut gains less than ``gain`` mm² (None: 1 % of its area), if any."""
    for fewer, more in pairwise(trade):
        least = GAIN * fewer.area if gain is None else gain
        if fewer.area - more.area < least * (more.cuts - fewer.cuts):
            return fewer
    return None


def fewest(plan: Building) -> Choice:
    """The outline with the fewest cuts found, and of these the smallest."""
    return next(built(plan, 0))


def proof(plan: Building) -> Proof:
    """What proves the fewest cuts."""
    bound = plan.proving
    found = fewest(plan)
    return Proof(
        fewest=found,
        proved=min(bound.proved, found.cuts),
        witnesses=MultiLineString(list(shapely.linestrings(bound.witnesses))),
        kept=bound.kept,
        allowed=Polygon(plan.base.allowed.exterior),
        around=bound.around,
    )


def built(plan: Building, most: int) -> Iterator[Choice]:
    """The choices of a prepared search, fewest cuts first; at least one where there is any.

    One with a cut shorter than the kerf comes only where it has the fewest cuts.
    """
    first = min(each.few.count for each in plan.fields)
    last = max(most, first)
    streams = [_Stream(plan, each, last) for each in plan.fields]
    across = _Across(plan, last)
    wish, several = plan.wish, len(plan.base.pieces) > 1
    tight = Tightening(plan.base, wish.neck, wish.kerf) if several and wish.inside_corners else None
    best: Choice | None = None
    more = _as_they_are(plan)  # those that have more cuts than was searched
    for cuts in range(first, last + 1):
        found = [choice for stream in streams for choice in stream.taken(cuts)]
        found = [each for each in (*found, *across.taken(cuts), *more) if _allowed(plan, each)]
        more = [each for each in found if each.cuts > cuts]
        good = [
            each
            for each in found
            if (each.cuts == cuts and not each.notes) or (best is None and each.cuts <= cuts)
        ]
        choice = min(good, key=_awkward, default=None)
        if best is not None and tight is not None:
            choice = _smaller(plan, tight, choice, best)
        if choice is not None and (best is None or choice.area < best.area * (1 - WORTH_A_CUT)):
            best = choice
            yield choice
    if best is None and last < first + FURTHER:
        yield from built(plan, last + FURTHER // 2)
    elif best is None:
        raise not_found(plan.wish.inside_corners, last)


def _smaller(plan: Building, tight: Tightening, found: Choice | None, fewer: Choice) -> Choice | None:
    """The smallest of a choice, of that drawn tighter, and of one with a cut less that is dented."""
    cuts = fewer.cuts + 1 if found is None else found.cuts
    dented = fewer if LEAST_DENTED <= fewer.cuts == cuts - 1 else None
    if found is None and dented is None:
        return None
    pieces = shapely.multipolygons(plan.base.pieces)
    outlines = (each and each.finished for each in (found, dented))
    for outline in tight.smaller(*outlines):
        smaller = finished(plan, outline, pieces, plan.base.allowed, plan.wish.neck)
        if smaller is not None and smaller.cuts == cuts and not smaller.notes:
            return min(smaller, found or smaller, key=lambda each: each.area)
    return found


def _as_they_are(plan: Building) -> list[Choice]:
    """The room, and what is kept, as outlines themselves: where one fills the other there is no third.

    So a case that was made from an outline takes that again.
    """
    parts = _exactly(plan.held)
    shapes = [plan.base.allowed, *parts[: len(parts) == 1]]
    shapes = [each for each in shapes if not each.interiors and len(each.exterior.coords) <= MOST_CORNERS]
    tried = [finishing.choice(Polygon(each), plan.held, plan.room, plan.wish.kerf) for each in shapes]
    return [each for each in tried if each is not None]


def _exactly(held: Kept) -> NDArray[Any]:
    """What is to be held as areas without holes, with no hair more."""
    parts = shapely.get_parts(shapely.union_all(held.grown(0.0)))
    return polygons_filled(parts[shapely.get_type_id(parts) == POLYGON])


def _allowed(plan: Building, each: Choice) -> bool:
    return plan.wish.inside_corners or each.inside_corners == 0


def _awkward(each: Choice) -> tuple[bool, int, float]:
    return bool(each.notes), each.cuts, each.area


def finished(
    plan: Building,
    outline: Polygon,
    kept: Polygon | MultiPolygon,
    allowed: Polygon,
    neck: float | None = None,
) -> Choice | None:
    """What was searched around ``kept`` in ``allowed`` as it is offered, or None where it is not truly clear.

    The one place where an outline becomes a choice: its corners are rounded where the job asks for it, and
    where ``neck`` is given it is looked at whether it holds together.
    """
    tried = [outline]
    if plan.wish.round is not None:
        free, whole = free_sides(allowed, plan.held.edge), whole_sides(allowed, plan.held.edge)
        tried.insert(0, rounded_to(outline, kept, allowed, free, plan.wish.round, plan.wish.kerf, whole))
    for each in tried:
        if neck is None or holds_together(each, plan.base, neck):
            found = finishing.choice(each, plan.held, plan.room, plan.wish.kerf)
            if found is not None:
                return found
    return None


def thin_places(outline: Polygon, width: float | None) -> tuple[str, ...]:
    """A note on the thinnest neck of an outline that is thinner than ``width`` mm; none where that is None.

    >>> thin_places(shapely.box(0, 0, 9, 9) | shapely.box(8, 3, 19, 6) | shapely.box(18, 0, 27, 9), 5.0)
    ('it is only 3.00 mm wide at (9.00, 4.50)',)
    """
    found = necks(outline, width - READS) if width is not None else ()
    return tuple(
        f"it is only {each.width:.2f} mm wide at ({each.at[0]:.2f}, {each.at[1]:.2f})" for each in found[:1]
    )


class _Stream:
    """The choices of one field, searched when asked for."""

    def __init__(self, plan: Building, field: Field, most: int) -> None:
        self._plan, self._field = plan, field
        known = field.few if field.coarse is field.room else None
        self._found = smallest_for_each(field.coarse, most, plan.wish.inside_corners, plan.wish.kerf, known)
        self._head: Smallest | None = None
        self._begun = False

    def taken(self, cuts: int) -> list[Choice]:
        """Choices with so many cuts."""
        return [each for outline in self._outlines(cuts) if (each := self._finished(outline)) is not None]

    def _outlines(self, cuts: int) -> list[Polygon]:
        field = self._field
        if cuts < field.few.count:
            return []
        while not self._begun or (self._head is not None and self._head.cuts < cuts):
            self._head, self._begun = next(self._found, None), True
        if self._head is not None and self._head.cuts == cuts:
            return [self._head.outline]
        if cuts != field.few.count:
            return []
        # the shape with fewer corners needs more cuts
        wish = self._plan.wish
        closer = smallest_for_each(field.room, cuts, wish.inside_corners, wish.kerf, field.few)
        return [field.few.outline, *(each.outline for each in closer if each.cuts == cuts)]

    def _finished(self, outline: Polygon) -> Choice | None:
        field, plan = self._field, self._plan
        found = finished(plan, outline, field.kept, field.allowed, field.neck)
        return found and replace(found, notes=(*found.notes, *thin_places(found.finished, field.thin)))


class _Across:
    """Outlines by lines across the whole board, where there is no case; searched when asked for."""

    def __init__(self, plan: Building, most: int) -> None:
        self._plan, self._most = plan, most
        self._found: list[Choice] | None = [] if plan.room is not None else None

    def taken(self, cuts: int) -> list[Choice]:
        """Outlines with so many cuts."""
        if cuts == 0:
            return []
        if self._found is None:
            # one more than asked: a cut may turn out to lie on the board edge, and then it is none
            held = self._plan.held
            kept = shapely.multipolygons(_exactly(held))  # these outlines are exact: they lack the hair
            built = [
                finished(self._plan, each, kept, held.edge) for each in across_board(held, self._most + 1)
            ]
            self._found = [each for each in built if each is not None]
        return [each for each in self._found if each.cuts == cuts]
