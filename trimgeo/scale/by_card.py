"""Views scaled by the reference card in their pictures: all of them in one adjustment."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.errors import JobError
from trimgeo.model.board import CardSeen
from trimgeo.model.capture import CardScale, HeightPoint, ViewTable
from trimgeo.model.card import CARDS
from trimgeo.scale.agreeing import Lying
from trimgeo.scale.cardfit import CardFit, CardShot, fit_cards, print_scale
from trimgeo.scale.checked import check_ends
from trimgeo.scale.heights_told import with_heights_doubted
from trimgeo.scale.limits import LEAST_AXIS, SIZE_USUAL
from trimgeo.scale.markers import Corners, find_corners
from trimgeo.scale.scaled import Scaled, refuse_outside
from trimgeo.scale.shot import shot_of
from trimgeo.scale.source import Source

NEAREST: Final = 20.0
"""No camera that shows a board is nearer to it, mm."""

LEAST_SPREAD: Final = 0.1
"""Height of the triangle of three places / its longest side: below it they lie on a line."""

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
    for fit, (_, _, where) in zip(fits, views, strict=True):
        _refuse_beyond_the_camera(fit, where)
    scaled = {
        table.name: _scaled(found, shot, fit, table)
        for found, shot, fit, (_, table, _) in zip(corners, shots, fits, views, strict=True)
    }
    photos = {
        table.name: Lying(table.name, fit.to_card, shot.height, fit.slopes, fit.bent)
        for shot, fit, (_, table, _) in zip(shots, fits, views, strict=True)
    }
    return with_heights_doubted(scaled, photos, [table for _, table, _ in views], fits[0].covariance)


def card_area(scaled: Scaled, mirrored: bool) -> Polygon:
    """The card's sheet and a little round it, mm, in the frame of a view that is not placed yet."""
    assert scaled.card is not None
    width, height = (2 * abs(middle) for middle in scaled.pivot)
    sheet = shapely.box(-BEYOND, -BEYOND, width + BEYOND, height + BEYOND)
    return sheet if not mirrored else shapely.box(-width - BEYOND, -BEYOND, BEYOND, height + BEYOND)


def _refuse_beyond_the_camera(fit: CardFit, where: str) -> None:
    """A face is seen from above: one told to lie at the camera, or behind it, was measured wrongly."""
    eye = fit.to_card.eye
    if eye is None or not eye[2] > NEAREST:
        raise JobError(
            f"{where}, scale.height",
            "found a height that puts the shown face at the camera, or behind it",
            "give how high the shown face lies above the card, in mm, such as 1.6",
        )


def _refuse_heights_on_a_line(height: tuple[HeightPoint, ...], where: str) -> None:
    """Three heights on one line leave the tilt across it open."""
    a, b, c = (np.array(each.pixel) for each in height)
    longest = max(np.hypot(*(b - a)), np.hypot(*(c - a)), np.hypot(*(c - b)))
    area = abs((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
    if longest < LEAST_AXIS or area < LEAST_SPREAD * longest**2:
        raise JobError(
            f"{where}, scale.height",
            "found three places on one line",
            "give heights at three places that span the shown face, such as three of its corners",
        )


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
        _refuse_heights_on_a_line(height, where)
    return CardShot(
        ids=corners.ids,
        pixels=corners.pixels,
        sigma=corners.sigma,
        size=source.size,
        paper=scale.card,
        height=tuple((each.pixel, each.mm) for each in height) if isinstance(height, tuple) else height,
        bars=scale.bars,
        focal_35mm=source.focal_35mm,
        taken_by=source.taken_by,
        mirrored=table.shows == "bottom",
        checks=check_ends(source, table, where),
    )


def _told_print(shot: CardShot) -> tuple[str, ...]:
    """A warning where the bars say that a card was printed far from its size: they may be mistyped."""
    share = 100 * float(print_scale(shot).mean())
    if abs(share - 100) <= 100 * SIZE_USUAL or len(shot.checks[1]):
        return ()
    return (
        f"its `bars` say that the card was printed at {share:.0f} % of its size: if that is so, give a "
        "length on the board as well in `checks`, else measure the bars again",
    )


def _scaled(corners: Corners, shot: CardShot, fit: CardFit, table: ViewTable) -> Scaled:
    seen = CardSeen(shot.paper, corners.markers, fit.focal_px, shot.pixels, fit.residuals, shot.ids)
    width, height = np.array(CARDS[shot.paper].size) * print_scale(shot)
    return Scaled(
        fit.to_card,
        "card",
        fit.note,
        (float(-width / 2 if shot.mirrored else width / 2), float(height / 2)),
        (*corners.warnings, *_told_print(shot), *fit.warnings),
        fit.residuals_mm,
        card=seen,
        scale_known=shot.bars is not None or bool(table.checks),
    )
