"""Nets: which copper is one conductor, through plated holes and vias from layer to layer."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, STRtree

from trimgeo.errors import JobError, quoted
from trimgeo.model.board import Area

TOUCH = 0.05
"""Copper this near to a barrel or to a seed, mm, is touched by it: how far a layer's picture may well be off.
Half of the least gap that inner layers have between conductors at 51 to 100 V (0.1 mm: FACTS, IPC-2221B
table 6-1), so that a clearance hole never counts as touched."""

_TOLD = 3
"""Barrels named in one sentence at most."""


@dataclass(frozen=True)
class Link:
    """A barrel, a plated hole or a via: ``at`` and ``diameter`` in mm, ``layers`` those that it passes."""

    name: str
    at: tuple[float, float]
    diameter: float
    layers: tuple[int, ...]
    net: str | None = None


@dataclass(frozen=True)
class Seed:
    """A place, mm, where the net of a layer's copper is known; ``may_cut`` None: as its layer."""

    layer: int
    net: str
    at: tuple[float, float]
    may_cut: bool | None = None


@dataclass(frozen=True)
class CopperArea:
    """Copper of one layer: all areas of a net that is named, or a single area whose net is not known."""

    layer: int
    number: int
    net: str | None
    polygon: Area
    may_cut: bool

    @property
    def name(self) -> str:
        """``LAYER:NET``, or ``LAYER:NUMBER`` where the net is not known.

        >>> CopperArea(2, 7, None, shapely.box(0, 0, 1, 1), True).name
        '2:7'
        """
        return f"{self.layer}:{self.net or self.number}"


@dataclass(frozen=True, eq=False)
class _Nodes:
    """Areas of all layers in order, then the links: what the net's graph joins."""

    areas: NDArray[np.object_]
    layer: NDArray[np.int64]
    links: Sequence[Link]
    joins: NDArray[np.int64]
    group: NDArray[np.int64]
    trees: Mapping[int, STRtree]

    def of_layer(self, layer: int) -> NDArray[np.int64]:
        return np.flatnonzero(self.layer == layer)


def nets(
    layers: Mapping[int, Sequence[Polygon]],
    links: Sequence[Link],
    seeds: Sequence[Seed],
    *,
    may_cut: Mapping[int, bool] | None = None,
    where: str = "[[copper]], nets",
) -> list[CopperArea]:
    """Copper of all layers by net, in the order of layer and number.

    ``layers`` has the areas of each layer, mm.  A link joins what its barrel touches on each of its
    layers; a link with a net, and each seed, name what they touch.  Numbers count from 1 along each layer,
    left to right and then upwards, by the lower left corner of an area's box; a named net has the number
    of its first area.
    ``may_cut`` is each layer's own (left out: true); a seed's goes before it on its layer, and a false one
    holds for its net on the others too.

    Raises `trimgeo.JobError` at ``where`` where two names meet, or where a seed lies on no copper.

    >>> trace, plane = shapely.box(0, 0, 10, 1), shapely.box(0, 0, 20, 20)
    >>> via = Link("V1", (5.0, 0.5), 0.4, (1, 2))
    >>> found = nets({1: [trace, shapely.box(0, 5, 1, 6)], 2: [plane]}, [via], [Seed(2, "GND", (9.0, 9.0))])
    >>> [each.name for each in found]
    ['1:GND', '1:2', '2:GND']
    """
    nodes = _joined(layers, links)
    named = _named(nodes, seeds, where)
    severable = _severable(nodes, seeds, named, may_cut or {})
    areas: list[CopperArea] = []
    for layer in sorted(layers):
        areas += _of_layer(nodes, layer, named, severable)
    return areas


def _joined(layers: Mapping[int, Sequence[Polygon]], links: Sequence[Link]) -> _Nodes:
    """Areas in the order of their numbers, the links, and which of them are one conductor."""
    areas = [area for layer in sorted(layers) for area in sorted(layers[layer], key=_corner)]
    layer_of = np.array([layer for layer in sorted(layers) for _ in layers[layer]], dtype=np.int64)
    polygons = np.empty(len(areas), dtype=object)
    polygons[:] = areas
    trees = {layer: STRtree(polygons[layer_of == layer]) for layer in sorted(layers)}
    pairs = [np.empty((0, 2), dtype=np.int64)]
    for layer, tree in trees.items():
        here = np.flatnonzero(layer_of == layer)
        pairs.append(_touching(tree, here))
        pairs.append(_barrels(tree, here, layer, links, len(areas)))
    joins = np.concatenate(pairs)
    group = _groups(len(areas) + len(links), joins)
    return _Nodes(polygons, layer_of, links, joins, group, trees)


def _corner(area: Polygon) -> tuple[float, float, float]:
    left, low, _, _ = area.bounds
    return (left, low, area.area)


def _touching(tree: STRtree, here: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pairs of areas of one layer that touch, shape (k, 2): parts of one area that a repair set apart."""
    one, two = tree.query(tree.geometries, predicate="intersects")
    return np.asarray(here[np.column_stack([one, two])[one < two]])


def _barrels(
    tree: STRtree, here: NDArray[np.int64], layer: int, links: Sequence[Link], first: int
) -> NDArray[np.int64]:
    """Pairs of area and link of one layer, shape (k, 2); links are numbered on from ``first``."""
    passing = np.array([n for n, link in enumerate(links) if layer in link.layers], dtype=np.int64)
    at = shapely.points([links[n].at for n in passing] or np.empty((0, 2)))
    reach = [links[n].diameter / 2 + TOUCH for n in passing]
    which, area = tree.query(at, predicate="dwithin", distance=reach)
    return np.column_stack([here[area], passing[which] + first])


def _groups(count: int, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    """For each of ``count`` things the least of those it is joined with (union-find, Tarjan 1975)."""
    parent = list(range(count))

    def root(n: int) -> int:
        while parent[n] != n:
            parent[n] = parent[parent[n]]
            n = parent[n]
        return n

    for one, two in pairs.tolist():
        a, b = root(one), root(two)
        parent[max(a, b)] = min(a, b)
    return np.array([root(n) for n in range(count)], dtype=np.int64)


def _named(nodes: _Nodes, seeds: Sequence[Seed], where: str) -> dict[int, str]:
    """The net of each group that has one."""
    told: dict[int, tuple[str, int, str]] = {}
    places = [(seed.net, _seeded(nodes, seed, where), _at(seed.at, seed.layer)) for seed in seeds]
    places += [
        (link.net, len(nodes.areas) + n, f"{quoted(link.name)} at {_position(link.at)}")
        for n, link in enumerate(nodes.links)
        if link.net is not None
    ]
    for net, node, place in places:
        group = int(nodes.group[node])
        first = told.setdefault(group, (net, node, place))
        if first[0] != net:
            raise _two_names(nodes, first, (net, node, place), where)
    return {group: net for group, (net, _, _) in told.items()}


def _position(at: tuple[float, float]) -> str:
    return f"({at[0]:.2f}, {at[1]:.2f}) mm"


def _at(at: tuple[float, float], layer: int) -> str:
    return f"{_position(at)} on layer {layer}"


def _seeded(nodes: _Nodes, seed: Seed, where: str) -> int:
    """The area that a seed lies on, or the barrel in whose bore it lies where that touches its layer."""
    here = nodes.of_layer(seed.layer)
    point = shapely.Point(seed.at)
    if not len(here):
        raise JobError(
            where,
            f"the net {quoted(seed.net)} is seeded at {_at(seed.at, seed.layer)}, where no copper was found",
            "check `level` and `copper_is` of the layer, and its place",
        )
    nearest = nodes.areas[area := int(here[nodes.trees[seed.layer].query_nearest(point)[0]])]
    distance = nearest.distance(point)
    if distance <= TOUCH:
        return area
    for joined, link in nodes.joins[nodes.joins[:, 1] >= len(nodes.areas)].tolist():
        barrel = nodes.links[link - len(nodes.areas)]
        if (
            nodes.layer[area] == seed.layer
            and point.distance(shapely.Point(barrel.at)) <= barrel.diameter / 2
        ):
            return int(joined)
    line = shapely.shortest_line(nearest, point)
    x, y = line.coords[0]
    raise JobError(
        where,
        f"the net {quoted(seed.net)} is seeded at {_at(seed.at, seed.layer)}, where there is no copper: "
        f"the nearest is {distance:.2f} mm away, at {_position((x, y))}",
        "put `at` on the copper of the net",
    )


def _two_names(
    nodes: _Nodes, first: tuple[str, int, str], second: tuple[str, int, str], where: str
) -> JobError:
    """Says which names meet, where each was given, and by which barrels the copper joins them."""
    through = [
        nodes.links[n - len(nodes.areas)]
        for n in _shortest_path(nodes, first[1], second[1])
        if n >= len(nodes.areas)
    ]
    by = ", ".join(f"{quoted(link.name)} at {_position(link.at)}" for link in through[:_TOLD])
    more = f" and {len(through) - _TOLD} more" if len(through) > _TOLD else ""
    joined = f"joined by {by}{more}" if through else f"both on one area of copper{_of_area(nodes, first[1])}"
    return JobError(
        where,
        f"the nets {quoted(first[0])} ({first[2]}) and {quoted(second[0])} ({second[2]}) meet: {joined}",
        "correct the name or the place of one, or the `level` that lets two areas run together",
    )


def _of_area(nodes: _Nodes, node: int) -> str:
    return f" of layer {nodes.layer[node]}" if node < len(nodes.areas) else ""


def _shortest_path(nodes: _Nodes, start: int, end: int) -> list[int]:
    """The fewest areas and links from one to the other, both with it."""
    near: dict[int, list[int]] = {}
    for one, two in nodes.joins.tolist():
        near.setdefault(one, []).append(two)
        near.setdefault(two, []).append(one)
    came = {start: start}
    todo = deque([start])
    while todo and end not in came:
        here = todo.popleft()
        for following in near.get(here, []):
            if following not in came:
                came[following] = here
                todo.append(following)
    path = [end]
    while path[-1] != start:
        path.append(came[path[-1]])
    return path[::-1]


def _severable(
    nodes: _Nodes, seeds: Sequence[Seed], named: Mapping[int, str], may_cut: Mapping[int, bool]
) -> dict[tuple[int, str | None], bool]:
    """Whether copper may be cut, by layer and net (None: copper without a name)."""
    result: dict[tuple[int, str | None], bool] = {}
    kept = {seed.net for seed in seeds if seed.may_cut is False}
    for layer in sorted({int(each) for each in nodes.layer}):
        result[layer, None] = may_cut.get(layer, True)
        for net in sorted(set(named.values())):
            own = [s.may_cut for s in seeds if s.layer == layer and s.net == net and s.may_cut is not None]
            result[layer, net] = all(own) if own else net not in kept and result[layer, None]
    return result


def _of_layer(
    nodes: _Nodes, layer: int, named: Mapping[int, str], severable: Mapping[tuple[int, str | None], bool]
) -> Iterable[CopperArea]:
    """Areas of one layer, those of a named net as one; a number that is a net's name there is left out."""
    here = nodes.of_layer(layer)
    net_of = [named.get(int(nodes.group[n])) for n in here]
    taken = {net for net in net_of if net is not None}
    by_net: dict[str, list[Polygon]] = {}
    for n, net in zip(here, net_of, strict=True):
        if net is not None:
            by_net.setdefault(net, []).append(nodes.areas[n])
    number, told = 0, set()
    for n, net in zip(here, net_of, strict=True):
        number += 1
        while str(number) in taken:
            number += 1
        if net is None:
            yield CopperArea(layer, number, None, nodes.areas[n], severable[layer, None])
        elif net not in told:
            told.add(net)
            parts = by_net[net]
            whole = parts[0] if len(parts) == 1 else _whole(parts)
            yield CopperArea(layer, number, net, whole, severable[layer, net])


def _whole(parts: Sequence[Polygon]) -> Area:
    """One area of several; parts that touch along a line, which no multi-polygon may have, are united."""
    whole = MultiPolygon(parts)
    return whole if whole.is_valid else shapely.union_all(parts)
