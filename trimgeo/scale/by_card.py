"""Views scaled by the reference card in their pictures: all of them in one adjustment."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.model.board import CardSeen
from trimgeo.model.capture import CardScale, ViewTable
from trimgeo.model.card import CARDS
from trimgeo.scale.cardfit import CardFit, CardShot, fit_cards
from trimgeo.scale.checked import check_ends
from trimgeo.scale.markers import Corners, find_corners
from trimgeo.scale.scaled import Scaled, refuse_outside
from trimgeo.scale.shot import shot_of
from trimgeo.scale.source import Source

BEYOND: Final = 15.0
"""How far past the card's sheet, mm, a board is looked for: one that is larger than the card hides it."""


def by_cards(views: Sequence[tuple[Source, ViewTable, str]]) -> dict[str, Scaled]:
    """The maps of all views that show the card, by name; ``views`` has source, table and place of each.

    Raises `trimgeo.JobError` where a picture shows no card, or one that cannot give a scale.
    """
    if not views:
        return {}
    corners = [_corners(source, table, where) for source, table, where in views]
    shots = [_shot(found, *view) for found, view in zip(corners, views, strict=True)]
    fits = fit_cards(shots, [where for _, _, where in views])
    return {
        table.name: _scaled(found, shot, fit, table)
        for found, shot, fit, (_, table, _) in zip(corners, shots, fits, views, strict=True)
    }


def card_area(scaled: Scaled, mirrored: bool) -> Polygon:
    """The card's sheet and a little round it, mm, in the frame of a view that is not placed yet."""
    assert scaled.card is not None
    width, height = CARDS[scaled.card.paper].size
    sheet = shapely.box(-BEYOND, -BEYOND, width + BEYOND, height + BEYOND)
    return sheet if not mirrored else shapely.box(-width - BEYOND, -BEYOND, BEYOND, height + BEYOND)


def _corners(source: Source, table: ViewTable, where: str) -> Corners:
    assert isinstance(table.scale, CardScale)
    return find_corners(shot_of(source).grey(), table.scale.card, where, source.label)


def _shot(corners: Corners, source: Source, table: ViewTable, where: str) -> CardShot:
    scale = table.scale
    assert isinstance(scale, CardScale)
    height = scale.height
    if isinstance(height, tuple):
        for n, point in enumerate(height, start=1):
            refuse_outside(source, np.array(point.pixel), f"{where}, scale.height, point {n}")
    return CardShot(
        ids=corners.ids,
        pixels=corners.pixels,
        sigma=corners.sigma,
        blur=corners.blur,
        size=source.size,
        paper=scale.card,
        height=tuple((each.pixel, each.mm) for each in height) if isinstance(height, tuple) else height,
        bars=scale.bars,
        focal_35mm=source.focal_35mm,
        taken_by=source.taken_by,
        mirrored=table.shows == "bottom",
        checks=check_ends(source, table, where),
    )


def _scaled(corners: Corners, shot: CardShot, fit: CardFit, table: ViewTable) -> Scaled:
    seen = CardSeen(shot.paper, corners.markers, fit.focal_px, shot.pixels, fit.residuals)
    width, height = CARDS[shot.paper].size
    return Scaled(
        fit.to_card,
        "card",
        fit.note,
        (-width / 2 if shot.mirrored else width / 2, height / 2),
        (*corners.warnings, *fit.warnings),
        fit.residuals_mm,
        card=seen,
        scale_known=shot.bars is not None or bool(table.checks),
    )
