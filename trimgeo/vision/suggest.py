"""Keep-outs that a picture suggests: bodies of parts, holes and pads, each with a confidence.

Pieces that come apart from what surrounds them at one of many levels of colour are fitted with rectangles,
circles or hulls; those whose rim really shows all around, and that differ from the bare
board just inside it, are bodies.  Of pieces in each other the one with the best rim stays.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon

from trimgeo.model.board import FaceName, Picture
from trimgeo.model.proposal import Proposal
from trimgeo.vision.suggest_bodies import chosen, judged, longest
from trimgeo.vision.suggest_chips import chips
from trimgeo.vision.suggest_confidence import LEAST, right_of
from trimgeo.vision.suggest_ground import Ground, ground_of
from trimgeo.vision.suggest_leads import leaded, without_leads
from trimgeo.vision.suggest_pieces import Shape, pieces
from trimgeo.vision.suggest_tops import top_of

__all__ = ["LARGEST", "SMALLEST", "SPECK", "Proposal", "suggest"]

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]

SMALLEST, LARGEST = 1.0, 60.0
"""Lengths, mm, of bodies: the smallest chips set by hand, the largest heat sinks and transformers."""
SPECK = 0.5
"""Pads and holes less than this across, mm, are left out."""


def suggest(picture: Picture, edge: Polygon, eye: Eye | None, face: FaceName) -> tuple[Proposal, ...]:
    """Bodies, holes and pads that a picture of a face shows inside the board's edge, from left to right.

    ``eye`` (mm) is the camera, x, y and height above the shown face, None for a scan.  ``face`` is the
    shown one: pictures of either lie in the board's frame, so it changes nothing in what is found.
    Raises what `Picture.pixels` raises.

    >>> import cv2
    >>> pixels = np.full((300, 400, 3), (60, 100, 30), np.uint8)
    >>> _ = cv2.rectangle(pixels, (100, 100), (199, 149), (40, 40, 40), -1)
    >>> picture = Picture(10.0, (0.0, 299.0), (400, 300), lambda: pixels)
    >>> found = suggest(picture, shapely.box(0, 0, 40, 30), None, "top")
    >>> [(each.kind, [round(v) for v in each.shape.bounds]) for each in found]
    [('component', [10, 15, 20, 20])]
    """
    ground = ground_of(picture, edge)
    if ground is None:
        return ()
    sizes = (SPECK * ground.per_mm, LARGEST * ground.per_mm)
    every = pieces(ground, sizes)
    by_leads = leaded(ground, every)
    shapes = judged(ground, every)
    foot = None if eye is None else ground.to_pixels(np.array([eye[:2]]))[0]
    told = without_leads([*(s for s in shapes if s.kind != "hole"), *chips(ground, shapes)], by_leads)
    solid = chosen(ground, [*told, *(each.body for each in by_leads)], foot)
    bodies = [s for s in solid if s.kind == "component" and longest(s) >= SMALLEST * ground.per_mm]
    covered = shapely.union_all([Polygon(s.corners) for s in bodies])
    holes = chosen(ground, [s for s in shapes if s.kind == "hole"])
    others = [s for s in solid if s.kind == "pad"] + holes
    free = [s for s in others if not covered.intersects(Point(s.corners.mean(axis=0)))]
    # What was measured by its caps or leads is no outline of top and walls.
    tops = [s if eye is None or s.told_by != "rim" else top_of(ground, s, eye) for s in bodies]
    leaning: Literal["top"] | None = None if eye is None else "top"
    found = [_proposal(ground, top, leaning) for top in tops if right_of(top) >= LEAST]
    found += [_proposal(ground, each, None) for each in free]
    return tuple(sorted(found, key=lambda each: (each.centre, each.kind)))


def _proposal(ground: Ground, shape: Shape, traced: Literal["top"] | None) -> Proposal:
    confidence = round(right_of(shape) if shape.kind == "component" else shape.confidence, 3)
    if shape.circle is not None:
        column, row, radius = shape.circle
        ((x, y),) = ground.to_mm(np.array([[column, row]])).tolist()
        return Proposal(shape.kind, None, ((x, y), 2 * radius / ground.per_mm), confidence, traced)
    polygon = shapely.geometry.polygon.orient(Polygon(ground.to_mm(shape.corners)))
    return Proposal(shape.kind, polygon, None, confidence, traced)
