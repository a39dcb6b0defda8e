"""Pictures of inner layers, drawn apart from the package: exact coverage, then what a scanner does to it.

A set of layers is built from nets: vias, each with its net; planes with a clearance hole round each foreign
via and spokes to each of their own; traces between vias of one net.  So what is joined is known
before anything is drawn, and the areas are shapely's.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.affinity import affine_transform

GAP = 0.2
"""Least gap between copper of different nets, mm."""


@dataclass
class Via:
    name: str
    at: tuple[float, float]
    net: str
    drill: float


@dataclass
class LayerSet:
    """Copper of each layer, mm, y up; ``groups`` are sets of (layer, via name) that are one conductor."""

    size: tuple[float, float]
    vias: list[Via]
    copper: dict[int, shapely.Geometry]
    groups: list[set[tuple[int, str]]]
    edge: Polygon = field(init=False)
    inner: dict[int, shapely.Geometry] = field(init=False)

    def __post_init__(self):
        self.edge = box(0, 0, *self.size)
        self.inner = {layer: copper.buffer(-0.05) for layer, copper in self.copper.items()}
        for each in self.inner.values():
            shapely.prepare(each)


def coverage(areas, size, upsidedown=None):
    """Share of each pixel that areas, in pixels, cover: exact, by signed trapezoids edge by edge.

    Each edge is cut where it crosses a pixel border; what lies to its right in its row is added up
    along the row.  Pixel (0, 0) reaches from -0.5 to 0.5.
    """
    columns, rows = size
    sums = np.zeros((rows, columns + 2))
    for area in shapely.get_parts(areas).ravel():
        area = shapely.orient_polygons(area)
        for ring in (area.exterior, *area.interiors):
            xy = np.array(ring.coords) + 0.5
            _add_edges(sums, xy[:-1], xy[1:])
    return np.clip(np.abs(np.cumsum(sums, axis=1)[:, :columns]), 0, 1)


def _add_edges(sums, start, end):
    rows, width = sums.shape
    for (x0, y0), (x1, y1) in zip(start, end, strict=True):
        if y0 == y1:
            continue
        cuts = {0.0, 1.0}
        low, high = sorted((y0, y1))
        cuts |= {(y - y0) / (y1 - y0) for y in np.arange(np.ceil(low), np.floor(high) + 1)}
        if x0 != x1:
            low, high = sorted((x0, x1))
            cuts |= {(x - x0) / (x1 - x0) for x in np.arange(np.ceil(low), np.floor(high) + 1)}
        t = np.array(sorted(c for c in cuts if 0 <= c <= 1))
        x, y = x0 + t * (x1 - x0), y0 + t * (y1 - y0)
        middle_x, middle_y, rise = (x[:-1] + x[1:]) / 2, (y[:-1] + y[1:]) / 2, np.diff(y)
        column, row = np.floor(middle_x).astype(int), np.floor(middle_y).astype(int)
        inside = (row >= 0) & (row < rows) & (column < width - 2)
        column, row, rise, middle_x = column[inside], row[inside], rise[inside], middle_x[inside]
        left = column < 0
        column, middle_x = np.where(left, 0, column), np.where(left, 0.0, middle_x)
        share = 1 - (middle_x - column)
        np.add.at(sums, (row, column), rise * share)
        np.add.at(sums, (row, column + 1), rise * (1 - share))


def to_pixels(geometry, dpi, height):
    """Millimetres, y up, to pixels, y down: board (0, 0) is the lower left corner of the last row's pixel."""
    k = dpi / 25.4
    return affine_transform(geometry, [k, 0, 0, -k, -0.5, height * k - 0.5])


def picture_size(size, dpi):
    return round(size[0] * dpi / 25.4), round(size[1] * dpi / 25.4)


def photographed(
    cover,
    random,
    *,
    dark=70,
    light=190,
    blur=0.8,
    noise=3.0,
    unlike=0.0,
    dust=0,
    scratches=0,
    copper_is="light",
    scratch_px=1.0,
):
    """Coverage to grey: light uneven by up to ``unlike`` of itself, blur in px, noise in greys."""
    rows, columns = cover.shape
    grey = (dark + (light - dark) * cover).astype(np.float32)
    for _ in range(scratches):
        line = _scratch(random, columns, rows, scratch_px)
        _blend(grey, line, random.choice([dark, light]))
    for _ in range(dust):
        at, r = random.uniform(0, 1, 2) * (columns, rows), random.uniform(0.5, 2.2)
        _blend(grey, Point(at).buffer(r, 4), random.choice([dark * 0.5, light * 1.1]))
    if copper_is == "dark":
        grey = dark + light - grey
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j].astype(np.float32)
    turn = random.uniform(0, 2 * np.pi)
    lamp = np.cos(turn) * x + np.sin(turn) * y
    grey *= 1 + unlike * (0.7 * lamp - 0.3 * (x * x + y * y))
    grey = cv2.GaussianBlur(grey, (0, 0), blur) if blur else grey
    grey += random.normal(0, noise, grey.shape).astype(np.float32)
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def _blend(grey, area, value):
    """Lays a grey over an area, in the window that it needs."""
    rows, columns = grey.shape
    left, low, right, high = area.bounds
    left, low = max(int(left) - 2, 0), max(int(low) - 2, 0)
    right, high = min(int(right) + 3, columns), min(int(high) + 3, rows)
    if left >= right or low >= high:
        return
    share = coverage(affine_transform(area, [1, 0, 0, 1, -left, -low]), (right - left, high - low))
    window = grey[low:high, left:right]
    window += (share * (value - window)).astype(np.float32)


def _scratch(random, columns, rows, width):
    middle = random.uniform(0.15, 0.85, 2) * (columns, rows)
    turn, long = random.uniform(0, np.pi), random.uniform(0.1, 0.5) * columns
    step = np.array([np.cos(turn), np.sin(turn)]) * long / 2
    return LineString([middle - step, middle + step]).buffer(width / 2, cap_style="flat")


def layer_set(random, layers=4, size=(30.0, 22.0), pitch=2.6):
    """Layers 1 and last have pads and traces, of those between about half are planes."""
    nets = ["GND", "VCC", *[f"S{n}" for n in range(1, 9)]]
    columns, rows = int(size[0] / pitch) - 1, int(size[1] / pitch) - 1
    vias = []
    for i in range(columns):
        for j in range(rows):
            if random.uniform() < 0.75:
                at = (i + 1) * pitch + random.uniform(-0.3, 0.3), (j + 1) * pitch + random.uniform(-0.3, 0.3)
                chance = random.uniform()
                net = "GND" if chance < 0.25 else "VCC" if chance < 0.4 else str(random.choice(nets[2:]))
                vias.append(Via(f"V{len(vias) + 1}", at, net, float(random.choice([0.3, 0.4, 0.8]))))
    copper, joined = {}, []
    for layer in range(1, layers + 1):
        plane = 1 < layer < layers and (layer == 2 or random.uniform() < 0.5)
        draw = _plane if plane else _signals
        copper[layer], pairs, present = draw(random, vias, size, layer)
        joined += [{(layer, a), (layer, b)} for a, b in pairs]
        joined += [{(layer, v), (0, v)} for v in present]
    return LayerSet(size, vias, copper, _merged(joined))


def _merged(sets):
    """Sets that share a member, joined: by walking the graph."""
    links = {}
    for each in sets:
        a, *rest = each
        links.setdefault(a, set()).update(rest)
        for b in rest:
            links.setdefault(b, set()).add(a)
    seen, groups = set(), []
    for start in sorted(links):
        if start in seen:
            continue
        group, todo = set(), [start]
        while todo:
            here = todo.pop()
            if here not in group:
                group.add(here)
                todo += links[here]
        seen |= group
        groups.append({key for key in group if key[0] > 0})
    return groups


def _annulus(via):
    """Pad of a via; its drill shows as a hole in the copper."""
    return Point(via.at).buffer(via.drill / 2 + 0.2, 32)


def _drills(vias):
    return shapely.union_all([Point(v.at).buffer(v.drill / 2, 32) for v in vias])


def _plane(random, vias, size, layer):
    """A plane of one net: foreign vias stand free in it, its own are joined by spokes or direct."""
    net = "GND" if layer % 2 == 0 else "VCC"
    area = box(0.8, 0.8, size[0] - 0.8, size[1] - 0.8)
    holes, back, present, own = [], [], [], []
    for via in vias:
        pad = _annulus(via)
        free = Point(via.at).buffer(via.drill / 2 + 0.2 + GAP, 32)
        if via.net == net:
            own.append(via.name)
            present.append(via.name)
            if random.uniform() < 0.6:
                holes.append(free)
                x, y = via.at
                r = via.drill / 2 + 0.2 + GAP + 0.15
                back += [
                    pad,
                    LineString([(x - r, y), (x + r, y)]).buffer(0.12),
                    LineString([(x, y - r), (x, y + r)]).buffer(0.12),
                ]
        else:
            holes.append(free)
            if random.uniform() < 0.5:
                back.append(pad)
                present.append(via.name)
    area = area.difference(shapely.union_all(holes)).union(shapely.union_all(back)).difference(_drills(vias))
    return area, [(own[0], b) for b in own[1:]], present


def _signals(random, vias, size, layer):
    """Pads of all vias and traces between near vias of one net that keep their distance."""
    pads = {v.name: _annulus(v) for v in vias}
    traces, pairs = [], []
    order = random.permutation(len(vias))
    for a in order:
        for b in order[: len(order) // 3]:
            one, two = vias[a], vias[b]
            if a >= b or one.net != two.net or np.hypot(*np.subtract(one.at, two.at)) > 12:
                continue
            corner = (two.at[0], one.at[1]) if random.uniform() < 0.7 else one.at
            trace = LineString([one.at, corner, two.at]).buffer(float(random.choice([0.1, 0.15])), 16)
            others = [
                p for v, p in zip(vias, pads.values(), strict=True) if v.name not in (one.name, two.name)
            ]
            foreign = [t for t, _ in traces]
            if all(trace.distance(o) >= GAP for o in others + foreign):
                traces.append((trace, one.net))
                pairs.append((one.name, two.name))
    area = shapely.union_all([*pads.values(), *[t for t, _ in traces]]).difference(_drills(vias))
    return area, pairs, list(pads)


@dataclass
class Judged:
    """What was found of one layer against what was drawn, pixels; positive is grown."""

    grown: float
    within: np.ndarray
    missed: np.ndarray


def judged(found, truth):
    """Distances every half pixel along both boundaries, and area gained by length of boundary.

    ``within`` from found to drawn, ``missed`` the other way, where what was not found counts.
    """
    found = shapely.MultiPolygon(found)
    grown = (found.area - truth.area) / truth.boundary.length
    return Judged(grown, _distances(found, truth), _distances(truth, found))


def _distances(one, other):
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(one.boundary, 0.5)))
    return shapely.distance(points, other.boundary)


def on_pad(layers, key):
    """A place, mm, on the copper of a via's pad or of the plane that it runs through."""
    layer, name = key
    via = next(v for v in layers.vias if v.name == name)
    for turn in np.linspace(0, 2 * np.pi, 16, endpoint=False):
        reach = via.drill / 2 + 0.1
        at = via.at[0] + reach * np.cos(turn), via.at[1] + reach * np.sin(turn)
        if layers.inner[layer].contains(Point(at)):
            return at
    raise AssertionError(f"no copper about {key}")
