"""Heights that two photos of one side on the card deny: told, and allowed for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.capture import LikePlace, OriginPlace, ViewTable
from trimgeo.scale import bound
from trimgeo.scale.agreeing import Common, Lying, axis_of, height_doubted, listed, told
from trimgeo.scale.limits import LEAST_AXIS
from trimgeo.scale.registration import Spots
from trimgeo.scale.scaled import Scaled
from trimgeo.tables import COVERAGE_FACTOR, PIXEL_READING

Floats = NDArray[np.float64]


def with_heights_doubted(
    scaled: Mapping[str, Scaled],
    photos: Mapping[str, Lying],
    tables: Sequence[ViewTable],
    covariance: Floats,
) -> dict[str, Scaled]:
    """The maps of all views on the card, not yet placed; where two deny their height, doubted and told.

    Each photo is compared with the first one of its side that is placed by pixels as well, or with that on
    which it is placed (`agreeing.height_doubted`): fewer comparisons than photos.  A denied height
    stretches a map about the foot of the eye by its error over the eye's distance: so much is added to the
    uncertainty.
    """
    worst: dict[str, tuple[float, float, str]] = {}
    for here, there, common in _pairs(scaled, photos, tables):
        doubt = height_doubted(photos[here], photos[there], common, covariance)
        if doubt is None:
            continue
        for name, other, off in ((here, there, doubt.here), (there, here, doubt.there)):
            if abs(off) > abs(worst.get(name, (0.0, 0.0, ""))[0]):
                worst[name] = off, doubt.reach, other
    return {name: one if name not in worst else _doubted(one, *worst[name]) for name, one in scaled.items()}


def _doubted(scaled: Scaled, off: float, reach: float, other: str) -> Scaled:
    """The map stretched by what the height may be wrong, and the warning."""
    assert scaled.to_board.eye is not None
    stretch = abs(off) / scaled.to_board.eye[2] / COVERAGE_FACTOR
    return replace(
        scaled,
        to_board=bound.widened(scaled.to_board, stretch, scaled.pivot),
        warnings=(*scaled.warnings, told(off, reach, other)),
    )


def _pairs(
    scaled: Mapping[str, Scaled], photos: Mapping[str, Lying], tables: Sequence[ViewTable]
) -> Iterator[tuple[str, str, Common]]:
    """Photos of one side on one kind of card, with the spots that both name."""
    first: dict[tuple[object, str], ViewTable] = {}
    shows = {table.name: _kind(scaled, table) for table in tables}
    for table in tables:
        place = table.place
        if isinstance(place, LikePlace) and shows.get(place.like) == shows[table.name]:
            pixels = np.array([point.pixel for point in place.points])
            there = np.array([point.there for point in place.points])
            yield table.name, place.like, listed(Spots.read(pixels, there, PIXEL_READING))
        elif (
            isinstance(place, OriginPlace) and np.hypot(*np.subtract(place.along, place.origin)) > LEAST_AXIS
        ):
            other = first.setdefault(shows[table.name], table)
            if other is not table:
                ends = [_ends(each) for each in (table, other)]
                here, there_ = photos[table.name], photos[other.name]
                yield table.name, other.name, axis_of(here, ends[0], there_, ends[1])


def _kind(scaled: Mapping[str, Scaled], table: ViewTable) -> tuple[object, str]:
    card = scaled[table.name].card
    assert card is not None
    return table.shows, card.paper


def _ends(table: ViewTable) -> Floats:
    assert isinstance(table.place, OriginPlace)
    return np.array([table.place.origin, table.place.along])
