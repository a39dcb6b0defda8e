"""The judge of necks: a fine raster of the part, the distance of each pixel to the wall, and flooding.

Two bodies are joined by a neck as wide as twice the greatest distance to the wall at which the pixels that
are further from it still join them.  The raster is filled by the even-odd rule at pixel centres.
"""

from itertools import pairwise

import cv2
import numpy as np
import shapely
import shapely.affinity
from shapely import LineString, Polygon, box


class Raster:
    """Pixels of a part; they are half a pixel nearer to the wall than to the nearest one outside."""

    def __init__(self, part, pixel):
        self.pixel, self.low = pixel, np.array(part.bounds[:2]) - 3 * pixel
        across, high = np.ceil((np.array(part.bounds[2:]) - self.low) / pixel).astype(int) + 3
        flips = np.zeros((high, across + 1), dtype=np.uint8)
        ring = (shapely.get_coordinates(part.exterior) - self.low) / pixel
        for (x, y), (u, v) in pairwise(ring):
            rows = np.arange(np.ceil(min(y, v)), np.ceil(max(y, v))).astype(int)
            columns = np.ceil(x + (rows - y) * (u - x) / (v - y)).astype(int) if len(rows) else rows
            np.add.at(flips, (rows, columns), 1)
        mask = (np.cumsum(flips, axis=1)[:, :-1] % 2).astype(np.uint8)
        apart = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        self.depth = np.maximum(apart - 0.5, 0) * pixel

    def point(self, pixel):
        return shapely.Point(*(self.low + self.pixel * np.array(pixel[::-1])))

    def deepest(self, within):
        """The pixel furthest from the wall of a flat set of them, and its distance."""
        best = within[np.argmax(self.depth.ravel()[within])]
        return np.unravel_index(best, self.depth.shape), float(self.depth.ravel()[best])

    def bodies(self, width):
        """The deepest pixel and its depth of each body that holds a disc of this diameter."""
        count, labels = cv2.connectedComponents((self.depth > width / 2).astype(np.uint8))
        order = np.argsort(labels.ravel(), kind="stable")
        parts = np.split(order, np.cumsum(np.bincount(labels.ravel(), minlength=count))[:-1])
        return [self.deepest(part) for part in parts[1:]]

    def joined_by(self, one, other):
        """How wide the way between two pixels is at its narrowest, the widest way taken."""
        low, high = 0.0, float(min(self.depth[one], self.depth[other]))
        while high - low > self.pixel / 8:
            middle = (low + high) / 2
            labels = cv2.connectedComponents((self.depth > middle).astype(np.uint8))[1]
            together = labels[one] == labels[other] != 0
            low, high = (middle, high) if together else (low, middle)
        return 2 * low


def split(part, neck):
    """The two sides of a part that a neck separates."""
    rest = shapely.get_parts(part.difference(LineString(neck.ends).buffer(2e-4, cap_style="square")))
    return sorted((piece for piece in rest if piece.area > 0.01), key=lambda piece: -piece.area)


def faults(part, width, found, pixel=0.02, sure=0.1, exact=0.05):
    """What is wrong with the necks found of a part, and how many pairs of bodies were judged."""
    raster = Raster(part, pixel)
    bodies = [at for at, depth in raster.bodies(width) if depth > (width + sure) / 2]
    sides = [split(part, neck) for neck in found]
    wrong = []
    if any(len(pieces) < 2 for pieces in sides):
        return ["a neck that separates nothing"], 0
    judged = 0
    for k, one in enumerate(bodies):
        for other in bodies[:k]:
            truth = raster.joined_by(one, other)
            ours = min(
                (
                    neck.width
                    for neck, pieces in zip(found, sides, strict=True)
                    if _side(pieces, raster.point(one)) != _side(pieces, raster.point(other))
                ),
                default=np.inf,
            )
            if truth < width - sure:
                judged += 1
                if abs(ours - truth) > exact:
                    wrong.append(f"{truth:.3f} mm wide, found {ours:.3f} mm")
    middles = shapely.buffer(part, -(width - sure) / 2)  # of discs a little smaller
    for neck, pieces in zip(found, sides, strict=True):
        for piece in pieces[:2]:
            if not shapely.intersects(middles, piece):
                wrong.append(f"beyond a neck of {neck.width:.3f} mm is no body")
        if neck.width > width:
            wrong.append(f"a neck of {neck.width:.3f} mm")
    return wrong, judged


def _side(pieces, point):
    return int(np.argmin([piece.distance(point) for piece in pieces]))


def random_part(seed):
    """Boxes and discs joined by strips of all widths, bitten into, turned; one piece without holes."""
    draw = np.random.RandomState(seed)
    bodies = []
    for _ in range(draw.randint(2, 6)):
        at, size = draw.uniform(0, 32, 2), draw.uniform(3, 13, 2)
        body = box(*(at - size / 2), *(at + size / 2))
        if draw.uniform() < 0.3:
            body = shapely.Point(at).buffer(size[0] / 2, quad_segs=draw.randint(3, 16))
        bodies.append(shapely.affinity.rotate(body, draw.uniform(0, 90)))
    strips = []
    for one, other in pairwise(bodies):
        ends = np.array([one.centroid.coords[0], other.centroid.coords[0]])
        along = (ends[1] - ends[0]) / max(np.hypot(*(ends[1] - ends[0])), 1e-6)
        aside = np.array([-along[1], along[0]])
        wide = draw.uniform(0.5, 3.5, 2)
        strips.append(
            Polygon([
                ends[0] - aside * wide[0], ends[1] - aside * wide[1],
                ends[1] + aside * wide[1], ends[0] + aside * wide[0],
            ])
        )  # fmt: skip
    part = shapely.union_all([*bodies, *strips])
    for _ in range(draw.randint(0, 6)):
        at = shapely.line_interpolate_point(_largest(part).exterior, draw.uniform(), normalized=True)
        bite = at.buffer(draw.uniform(0.5, 3), quad_segs=draw.randint(1, 6))
        part = part.difference(shapely.affinity.rotate(bite, draw.uniform(0, 90)))
    return Polygon(_largest(part).exterior)


def _largest(area):
    return max(shapely.get_parts(area), key=lambda piece: piece.area)
