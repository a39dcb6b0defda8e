"""Outlines around several islands: how near is each area to the best that two stronger searches find?

    python tests/bench/island_outlines.py [jobs] [first seed] [trees] [seconds for each number of cuts]

Jobs are those of `outlines_moved` with two to eight islands, every other one in a case.  The first judge
joins the islands by spanning trees of bridges, all of them where they are few, else trees by chance, as wide
as the neck and all but without width, and searches around each; the second anneals polygons (Kirkpatrick,
Gelatt and Vecchi 1983) that begin as what such a tree joins, with cuts taken away one by one, or as the best
outline known.  It is bound by nothing but what an outline has to be, and asks shapely alone.  Printed are
ours over the best for each number of cuts, in parts of 1, and who found that.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import shapely
from numpy.typing import NDArray
from outlines_moved import PLACING, drawn
from shapely import Polygon

from trimgeo.cutting.joining import field
from trimgeo.cutting.outline import Building, Wish, building, built
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Case, Ring

Floats = NDArray[np.float64]
Tree = list[tuple[int, int]]

MOST = 12
NECK = 5.0
THIN = 0.1
FEW_TREES = 16
SLACK = 1e-6
BOARD_EDGE = 0.05
LEAST_BODY = 0.02
WORTH = 1e-4


def job(seed: int) -> tuple[Building, Polygon] | None:
    """The prepared search of a job with two to eight islands, and its board's edge."""
    parts, edge, cavity = drawn(seed)
    case = None if cavity is None else Case(Ring(shapely.orient_polygons(cavity)), (), gap=0.0)
    try:
        plan = building(parts, edge, 0.3, 0.3, PLACING, Wish(case=case, neck=NECK))
    except NoOutlineError:
        return None
    return (plan, edge) if 2 <= len(plan.base.pieces) <= 8 else None


def trees(apart: Floats, count: int, draw: np.random.RandomState) -> Iterator[Tree]:
    """Spanning trees of n islands: all by their codes (Prüfer 1918), or by chance, short ones more often."""
    n = len(apart)
    if n ** (n - 2) <= FEW_TREES:
        for code in product(range(n), repeat=n - 2):
            yield decoded(list(code), n)
        return
    for number in range(count):
        noise = draw.uniform(0, 1.2 * (number > 0), (n, n))
        yield shortest_tree((apart + 1.0) * np.exp(noise + noise.T))


def decoded(code: list[int], n: int) -> Tree:
    """The tree of a code."""
    degree, tree = [1 + code.count(k) for k in range(n)], []
    for k in code:
        leaf = degree.index(1)
        tree.append((leaf, k))
        degree[leaf], degree[k] = 0, degree[k] - 1
    return [*tree, tuple(k for k in range(n) if degree[k] == 1)]  # type: ignore[list-item]


def shortest_tree(apart: Floats) -> Tree:
    """The spanning tree of least length (Prim 1957)."""
    inside, tree = [0], []
    while len(inside) < len(apart):
        rest = [k for k in range(len(apart)) if k not in inside]
        i, j = min(product(inside, rest), key=lambda pair: apart[pair])
        tree.append((i, j))
        inside.append(j)
    return tree


def joined(
    pieces: NDArray[np.object_], tree: Tree, wide: float, allowed: Polygon, draw: np.random.RandomState
) -> Polygon | None:
    """The islands with straight bridges along a tree: shortest ones, or from a corner by chance."""
    bridges = []
    for pair in tree:
        one, other = (pieces[k] for k in draw.permutation(list(pair)))
        if draw.uniform() < 0.5:
            corners = shapely.points(shapely.get_coordinates(one))
            one = corners[draw.randint(len(corners))]
        ends = shapely.get_coordinates(shapely.shortest_line(one, other))
        along = (ends[1] - ends[0]) / max(np.hypot(*(ends[1] - ends[0])), 1e-9)
        line = shapely.LineString([ends[0] - along * NECK / 2, ends[1] + along * NECK / 2])
        bridges.append(shapely.buffer(line, wide / 2, cap_style="flat"))
    whole = shapely.intersection(shapely.union_all([*pieces, *bridges]), allowed)
    return Polygon(whole.exterior) if isinstance(whole, Polygon) else None


def around_trees(plan: Building, count: int, seed: int) -> dict[int, Polygon]:
    """The smallest outline with each number of cuts around any tree."""
    draw, pieces, found = np.random.RandomState(seed), plan.base.pieces, {}
    apart = shapely.distance(pieces[:, None], pieces[None])
    for tree in trees(apart, count, draw):
        for wide in (NECK, THIN) if len(pieces) <= 4 else (draw.choice([NECK, THIN]),):
            shape = joined(pieces, tree, wide, plan.base.allowed, draw)
            some = field(plan.base, shape, plan.base.allowed) if shape is not None else []
            if some:
                other = replace(plan, fields=tuple(replace(each, neck=NECK) for each in some))
                try:
                    keep_smaller(found, {each.cuts: each.finished for each in built(other, MOST)})
                except NoOutlineError:
                    continue
    return found


def keep_smaller(found: dict[int, Polygon], others: dict[int, Polygon]) -> None:
    for cuts, each in others.items():
        if cuts not in found or each.area < found[cuts].area:
            found[cuts] = each


@dataclass
class Rules:
    """What an outline has to be: ``edge`` is free, all else that it runs along is cut.

    It falls into no more ``bodies`` than the known outlines do, and these hang together.
    """

    edge: Polygon
    allowed: Polygon
    pieces: NDArray[np.object_]
    known: dict[int, Polygon]

    def __post_init__(self) -> None:
        self.room = shapely.buffer(self.allowed, SLACK, join_style="mitre")
        self.beside = shapely.buffer(self.edge.exterior, BOARD_EDGE)
        for shape in (self.room, self.beside):
            shapely.prepare(shape)
        self.coarse = shapely.simplify(self.pieces, 0.01)
        shapely.prepare(self.coarse)
        self.touching = shapely.dwithin(self.coarse[:, None], self.coarse, 1e-9)
        self.bodies = max(len(bodies_of(each)) for each in self.known.values())
        self.all = shapely.union_all(shapely.buffer(self.pieces, -2 * SLACK, join_style="mitre"))

    def outline(self, corners: Floats, least: float) -> Polygon | None:
        """The part of the board within corners, where it is no larger than ``least`` mm²."""
        ring = Polygon(corners)
        if not ring.is_valid:
            return None
        outline = shapely.intersection(ring, self.edge)
        if not isinstance(outline, Polygon) or outline.interiors or outline.area > least:
            return None
        return outline if outline.covers(self.all) and self.room.covers(outline) else None

    def cuts(self, outline: Polygon) -> int:
        """How many sides do not follow the board's edge."""
        ring = shapely.get_coordinates(shapely.simplify(outline, 1e-7).exterior)
        sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
        return int(np.sum(~shapely.covers(self.beside, sides)))

    def holds(self, outline: Polygon) -> bool:
        """Whether islands and the bodies that a disc of `NECK` fits into hang together."""
        bodies = bodies_of(outline)
        if len(bodies) > self.bodies:
            return False
        reached = shapely.dwithin(self.coarse[:, None], bodies, NECK / 2)
        both = np.block([[self.touching, reached], [reached.T, np.eye(len(bodies), dtype=bool)]])
        seen = both[0]
        while (more := both[seen].any(axis=0)).sum() > seen.sum():
            seen = more
        return bool(seen[: len(self.pieces)].all())


def bodies_of(outline: Polygon) -> NDArray[np.object_]:
    """Where the middle of a disc of `NECK` may be."""
    areas = shapely.get_parts(shapely.buffer(outline, 1e-4 - NECK / 2, quad_segs=4))
    return np.asarray(areas[shapely.area(areas) > LEAST_BODY])


def pared(corners: Floats, rules: Rules, least: int) -> dict[int, Floats]:
    """Corners with cuts taken away, the cheapest first: a reflex corner, or a side between two others.

    Back comes the last of each number of cuts.
    """
    found: dict[int, Floats] = {}
    while (outline := rules.outline(corners, np.inf)) is not None:
        cuts = rules.cuts(outline)
        found[cuts] = corners
        if cuts <= least:
            break
        trials = [np.delete(corners, k, axis=0) for k in range(len(corners))]
        trials += [each for k in range(len(corners)) if (each := without_side(corners, k)) is not None]
        some = [(rules.outline(trial, np.inf), trial) for trial in trials if len(trial) > 2]
        some = sorted((each for each in some if each[0]), key=lambda each: each[0].area)  # type: ignore[union-attr]
        good = (trial for outline, trial in some if outline is not None and rules.holds(outline))
        if (trial := next(good, None)) is None:
            break
        corners = trial
    return found


def without_side(corners: Floats, k: int) -> Floats | None:
    """Corners where the sides before and after side k meet in one."""
    a, b, c, d = (corners[(k + j) % len(corners)] for j in (-1, 0, 1, 2))
    one, other = b - a, c - d
    across = one[0] * other[1] - one[1] * other[0]
    if abs(across) < 1e-9:
        return None
    tip = a + one * ((d - a)[0] * other[1] - (d - a)[1] * other[0]) / across
    return np.insert(np.delete(corners, [k, (k + 1) % len(corners)], axis=0), k % (len(corners) - 1), tip, 0)


def annealed(corners: Floats, rules: Rules, cuts: int, seconds: float, seed: int) -> Polygon | None:
    """The smallest outline met from corners on."""
    draw, begun = np.random.RandomState(seed), time.perf_counter()
    now = best = rules.outline(corners, np.inf)
    if now is None:
        return None
    while (share := (time.perf_counter() - begun) / seconds) < 1:
        heat = 0.004 * best.area * (1 - share) ** 3
        size = 10 ** draw.uniform(-3 * share - 1.0, 0.9)
        trial, k = corners.copy(), draw.randint(len(corners))
        kind, nearby = draw.randint(5), (k + 1) % len(corners)
        if kind == 0:
            trial[k] += size * draw.normal(size=2)
        elif kind == 1:
            trial[[k, nearby]] += size * draw.normal(size=2)
        elif kind == 2:  # along the side before or after it
            trial[k] += (
                (corners[nearby if draw.randint(2) else k - 1] - corners[k]) * draw.normal() * size / 9
            )
        elif kind == 3:
            trial[[k, nearby]] += size * draw.normal(size=(2, 2))
        else:  # a corner is put somewhere else
            trial = np.delete(corners, k, axis=0)
            at = draw.randint(len(trial))
            trial = np.insert(trial, at, (trial[at - 1] + trial[at]) / 2 + size * draw.normal(size=2), axis=0)
        there = rules.outline(trial, now.area - heat * np.log(draw.uniform(1e-9, 1)))
        if there is None or rules.cuts(there) > cuts or not rules.holds(there):
            continue
        corners, now = trial, there
        best = there if there.area < best.area else best
    return best


def annealed_from_all(
    plan: Building, edge: Polygon, known: dict[int, Polygon], seconds: float, seed: int
) -> dict[int, Polygon]:
    """The smallest outlines that annealing finds: half of the time from scratch, half from known ones."""
    pieces, allowed, draw = plan.base.pieces, plan.base.allowed, np.random.RandomState(seed)
    rules, found = Rules(edge, Polygon(allowed.exterior), pieces, known), {}
    apart, fewest = shapely.distance(pieces[:, None], pieces[None]), min(known)
    scratch: list[dict[int, Floats]] = []
    for tree in [*trees(apart, 3, draw)][-2:]:
        shape = joined(pieces, tree, NECK + 0.01, allowed, draw)
        if shape is not None:
            begun = shapely.simplify(shape.buffer(0.05, join_style="mitre"), 0.05)
            scratch.append(pared(shapely.get_coordinates(begun.exterior)[:-1], rules, fewest))
    for cuts in range(fewest, MOST + 1):
        known_one = known[max(k for k in known if k <= cuts)]
        corners = [shapely.get_coordinates(known_one.exterior)[:-1]]
        corners += [each[cuts] for each in scratch if cuts in each]
        for each in corners:
            outline = annealed(each, rules, cuts, seconds / len(corners), seed)
            if outline is not None and rules.cuts(outline) <= cuts:
                keep_smaller(found, {cuts: outline})
    return found


def best_of(*some: dict[int, Polygon]) -> dict[int, tuple[float, int]]:
    """The least area with up to each number of cuts, and which of some found it first."""
    least: dict[int, tuple[float, int]] = {}
    for cuts in range(MOST + 1):
        area = [(each[cuts].area * (1 + WORTH * (k > 0)), k) for k, each in enumerate(some) if cuts in each]
        area += [least[cuts - 1]] if cuts - 1 in least else []
        if area:
            least[cuts] = min(area)
    return least


def main() -> int:
    """Print a row for each job and the median, the share within 2 % and the worst of each number of cuts."""
    given = [float(word) for word in sys.argv[1:]]
    count, seed, tried, seconds = (*given, *(10, 0, 40, 6.0)[len(given) :])
    ratios: dict[int, list[float]] = {}
    done, seed = 0, int(seed)
    while done < count:
        found = job(seed)
        if found is not None:
            plan, edge = found
            ours = {each.cuts: each.finished for each in built(plan, MOST)}
            others = around_trees(plan, int(tried), seed)
            known = dict(ours)
            keep_smaller(known, others)
            long = annealed_from_all(plan, edge, known, seconds, seed) if seconds else {}
            least, own = best_of(ours, others, long), best_of(ours)
            row = {cuts: own[cuts][0] / least[cuts][0] for cuts in own}
            words = [f"{cuts}:{row[cuts]:.3f}{' ta'[least[cuts][1]]}" for cuts in row]
            print(f"job {seed}, {len(plan.base.pieces)} islands:", *words, flush=True)
            for cuts, ratio in row.items():
                ratios.setdefault(cuts, []).append(ratio)
            done += 1
        seed += 1
    for cuts, some in sorted(ratios.items()):
        within = np.mean(np.array(some) <= 1.02) * 100
        print(
            f"{cuts:3} cuts: median {np.median(some):.3f}, worst {max(some):.3f}, within 2 %: {within:.0f} %"
        )
    every = np.concatenate([*ratios.values()])
    print(f"all: median {np.median(every):.3f}, mean {every.mean():.4f}, worst {every.max():.3f}, "
          f"within 2 %: {np.mean(every <= 1.02) * 100:.0f} %")  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
