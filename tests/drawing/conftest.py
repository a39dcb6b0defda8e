"""Plans made by hand, with plain offsets, so that the sheets are tested apart from the cutting."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pypdfium2
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon

from trimgeo.drawing.sheet import Sheet
from trimgeo.drawing.template import template_sheets
from trimgeo.model.board import Board, Hole, Keepout, Part, Ring
from trimgeo.model.job import Job
from trimgeo.model.plan import Corner, Cut, Lift, Lines, Plan, Row

SANDING, KERF, WANDER, RUN_OUT = 0.4, 1.0, 0.3, 2.0


def _job(**changes: Any) -> Job:
    values: dict[str, Any] = {
        "job": {"title": "Greenhouse logger", "revision": "B", "variants": ("display", "plain")},
        "board": {"thickness": 1.6, "layers": 4, "edge": ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))},
        "cutter": {"kind": "wheel", "kerf": KERF, "diameter": 22.0},
        "finish": {"sanding": SANDING},
        "variant": "display",
    }
    return Job.model_validate(values | changes)


def _beside(chain: LineString, distance: float, closed: bool) -> LineString:
    if closed:
        grown = Polygon(chain).buffer(distance, join_style="mitre", mitre_limit=100.0)
        return LineString(grown.exterior.coords)
    return chain.offset_curve(-distance, join_style="mitre", mitre_limit=100.0)


def _stretched(chain: LineString) -> LineString:
    xy = shapely.get_coordinates(chain)
    first, last = xy[0] - xy[1], xy[-1] - xy[-2]
    ends = xy[0] + 40 * first / np.hypot(*first), xy[-1] + 40 * last / np.hypot(*last)
    return LineString([ends[0], *xy[1:-1], ends[1]])


def _band(chain: LineString, low: float, high: float, closed: bool, board: Polygon) -> MultiPolygon:
    if closed:
        area = Polygon(_beside(chain, high, True)) - Polygon(_beside(chain, low, True))
    else:
        inner, outer = _beside(chain, low, False), _beside(chain, high, False)
        area = Polygon([*inner.coords, *reversed(outer.coords)])
    cut = shapely.get_parts(area & board)
    return MultiPolygon([part for part in cut if isinstance(part, Polygon)])


def make_plan(
    edge: Sequence[tuple[float, float]],
    chain: Sequence[tuple[float, float]],
    finished: Sequence[tuple[float, float]],
    keepouts: Sequence[Keepout] = (),
    holes: Sequence[Hole] = (),
    parts: Sequence[Part] = (),
    lift: Sequence[Lift] = (),
    corners: Sequence[Corner] = (),
    rows: Sequence[Row] = (),
    warnings: Sequence[str] = (),
    unknown_layers: Sequence[int] = (),
    **job: Any,
) -> Plan:
    """A plan whose new edges are ``chain``, counter-clockwise along ``finished``."""
    board_area, line = Polygon(edge), LineString(chain)
    closed = chain[0] == chain[-1]
    run = line if closed else _stretched(line)
    reach = board_area.buffer(RUN_OUT, join_style="mitre")
    guide = _beside(run, SANDING, closed).intersection(reach)
    centre = _beside(run, SANDING + KERF / 2, closed).intersection(reach)
    cuts = [LineString(pair) for pair in pairwise(chain)]
    return Plan(
        board=Board(
            _job(**job),
            Ring(board_area),
            (0.0, 0.5, 1.1, 1.6),
            tuple(holes),
            (),
            tuple(keepouts),
            tuple(parts),
        ),
        finished=Ring(Polygon(finished)),
        cuts=tuple(Cut(n, cut) for n, cut in enumerate(cuts, start=1)),
        lines=Lines(
            (guide,),
            (centre,),
            _band(run, SANDING, SANDING + KERF, closed, board_area),
            _band(run, 0.0, SANDING + KERF + WANDER, closed, board_area),
        ),
        rows=tuple(rows),
        minimum=min((r for r in rows if r.nominal is not None), key=lambda r: r.nominal or 0.0, default=None),
        inner_minimum=None,
        lift=tuple(lift),
        severed=(),
        exposed=(),
        corners=tuple(corners),
        set_out=(),
        unknown_layers=tuple(unknown_layers),
        warnings=tuple(warnings),
    )


def keepout(name: str, kind: str, spine: Any, radius: float = 0.0, **more: Any) -> Keepout:
    """A keep-out with what the drawing does not look at filled in."""
    values = {"layers": (1,), "net": None, "required": 0.5, "reason": "test"} | more
    return Keepout(name, kind, spine, radius, **values)


def row(name: str, at: tuple[float, float], nominal: float, state: Any) -> Row:
    """A clearance row."""
    return Row(name, "trace", (2,), None, nominal, 0.41, nominal - 0.41, 0.45, at, state)


def small_plan(**job: Any) -> Plan:
    """A 100 x 80 board cut to an L: three outside corners, one inside, four holes, a few parts."""
    finished = [(0.0, 0.0), (70.0, 0.0), (70.0, 35.0), (45.0, 35.0), (45.0, 60.0), (0.0, 60.0)]
    chain = [(70.0, 0.0), (70.0, 35.0), (45.0, 35.0), (45.0, 60.0), (0.0, 60.0)]
    return make_plan(
        [(0, 0), (100, 0), (100, 80), (0, 80)],
        chain,
        finished,
        keepouts=[
            keepout("logger chip", "component", shapely.box(12, 14, 28, 26), face="top", height=2.2),
            keepout("rail 3V3", "trace", LineString([(30, 8), (60, 8), (68, 20)]), 0.4, layers=(2,)),
            keepout("ground", "copper", shapely.box(5, 32, 38, 52), layers=(3,)),
            keepout("via 12", "via", Point(43.8, 45), 0.35, layers=(1, 2, 3, 4)),
            keepout(
                "coin cell", "component", shapely.box(45, 12, 62, 30), face="bottom", layers=(4,), height=5.4
            ),
        ],
        holes=[
            Hole("fix 1", (4, 4), 3.2, False),
            Hole("fix 2", (96, 4), 3.2, False),
            Hole("fix 3", (4, 56), 3.2, False),
            Hole("fix 4", (96, 70), 3.2, False),
        ],
        parts=[
            Part("relay", shapely.box(64, 40, 84, 56), "top", 15.0, True),
            Part("choke", Point(80, 20).buffer(6), "top", 9.0, False),
        ],
        lift=[Lift("relay", "top", (74, 48), 15.0, "it is to come off")],
        corners=[
            Corner((70, 35), False, None, None),
            Corner((45, 35), True, 4.35, None),
            Corner((45, 60), False, None, None),
        ],
        rows=[
            row("rail 3V3", (68.3, 20.2), 1.6, "clear"),
            row("via 12", (44.15, 45.0), 0.85, "tight"),
        ],
        unknown_layers=(3,),
        **job,
    )


def crowded_plan(width: float, height: float, count: int = 60, long: int = 4, **job: Any) -> Plan:
    """A board with many keep-outs of all kinds, some with names of 200 characters."""
    rng = np.random.default_rng(7)
    keep_w, keep_h = 0.72 * width, 0.8 * height
    finished = [(0.0, 0.0), (keep_w, 0.0), (keep_w, keep_h), (0.0, keep_h)]
    found = []
    for n in range(count):
        x, y = rng.uniform([3, 3], [keep_w - 12, keep_h - 9])
        w, h = rng.uniform([2, 1.5], [9, 6])
        name = f"part {n}" if n % long else f"keep-out {n}, " + "a very long name indeed " * 7
        kind, layers = [("component", (1,)), ("trace", (2,)), ("copper", (3,)), ("via", (1, 2, 3, 4))][n % 4]
        if kind == "via":
            found.append(keepout(name[:200], kind, Point(x, y), 0.4, layers=layers))
        elif kind == "trace":
            found.append(keepout(name[:200], kind, LineString([(x, y), (x + w, y + h)]), 0.3, layers=layers))
        else:
            more = {"face": "top", "height": 1.0 + n % 9} if kind == "component" else {}
            found.append(keepout(name[:200], kind, shapely.box(x, y, x + w, y + h), layers=layers, **more))
    holes = [
        Hole(f"hole {n}", (x, y), 3.0, True)
        for n, (x, y) in enumerate([(4.0, 4.0), (width - 4, 4.0), (4.0, height - 4), (width - 4, height - 4)])
    ]
    lift = [
        Lift(f"part to lift {n}", "top", (keep_w, 8.0 + 5 * n), 4.0, "in the swept band") for n in range(6)
    ]
    return make_plan(
        [(0, 0), (width, 0), (width, height), (0, height)],
        [(keep_w, 0.0), (keep_w, keep_h), (0.0, keep_h)],
        finished,
        keepouts=found,
        holes=holes,
        lift=lift,
        warnings=[f"warning {n}: something that a person should know of" for n in range(3)],
        **job,
    )


def rendered(pdf: bytes, page: int, dpi: float) -> np.ndarray[Any, Any]:
    """A page as PDFium draws it, shape (rows, columns, 3), red-green-blue."""
    document = pypdfium2.PdfDocument(BytesIO(pdf))
    bitmap = document[page].render(scale=dpi / 72, rev_byteorder=True)
    return np.asarray(bitmap.to_numpy())[..., :3].copy()


def paths(sheet: Any, kind: str) -> list[tuple[tuple[float, float], ...]]:
    """The polylines of one kind on a sheet."""
    return [path for item in sheet.items if getattr(item, "kind", "") == kind for path in item.paths]


def ink_centre(
    picture: np.ndarray[Any, Any], sheet: Any, tick: Sequence[tuple[float, float]], axis: int, scale: float
) -> float:
    """Middle, in pixels from the left (axis 0) or top (axis 1), of the ink of a tick across that axis.

    Only the half of the tick away from the bar is looked at, so that the bar itself is not in the way.
    """
    (x0, y0), (x1, y1) = tick[0], tick[-1]
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    if axis == 0:
        x, y = (x0 + x1) / 2, y0 + 0.2 * (y1 - y0)
    else:
        x, y = x0 + 0.2 * (x1 - x0), (y0 + y1) / 2
    column, row, reach = x * scale, (sheet.height - y) * scale, 0.5 * scale
    along, across = (reach, 0.15 * scale) if axis == 0 else (0.15 * scale, reach)
    c0, r0 = round(column - along), round(row - across)
    patch = picture[r0 : round(row + across) + 1, c0 : round(column + along) + 1].astype(float)
    ink = 255.0 - patch.mean(axis=2)
    profile = ink.sum(axis=axis if axis == 0 else 1)
    assert profile.max() > 100
    return float((np.arange(len(profile)) + 0.5) @ profile / profile.sum()) + (c0 if axis == 0 else r0)


def corner_on_paper(
    picture: np.ndarray[Any, Any], around: tuple[float, float], scale: float
) -> tuple[float, float]:
    """Where the two legs of a green corner cross, in pixels: each leg's middle, away from the corner."""
    reach = round(1.6 * scale)
    column, row = round(around[0]), round(around[1])
    patch = picture[row - reach : row + reach + 1, column - reach : column + reach + 1].astype(float)
    # Bluish green #009E73: much more green than red.
    green = np.clip((patch[..., 1] - patch[..., 0]) / 158.0, 0.0, 1.0)
    near = round(0.7 * scale)
    at = np.arange(2 * reach + 1) - reach
    sides = {
        "down": green[reach + near :].sum(axis=0),
        "up": green[: reach - near].sum(axis=0),
        "right": green[:, reach + near :].sum(axis=1),
        "left": green[:, : reach - near].sum(axis=1),
    }
    upright = max(sides["down"], sides["up"], key=np.sum)
    level = max(sides["right"], sides["left"], key=np.sum)
    assert min(upright.sum(), level.sum()) > scale
    return column + float(at @ upright / upright.sum()), row + float(at @ level / level.sum())


def corner_errors(
    picture: np.ndarray[Any, Any], sheet: Any, plan: Plan, scale: float, mirrored: bool
) -> np.ndarray[Any, Any]:
    """Distances in mm of the drawn corners of the first guide line from the plan's.

    Measured from the corner of the board edge, on a board 100 mm wide and without stretch.
    """
    corners = np.asarray(plan.lines.guide[0].coords)[1:-1]
    edge = np.asarray([xy for path in paths(sheet, "board") for xy in path])
    seen = np.column_stack([100.0 - corners[:, 0], corners[:, 1]]) if mirrored else corners
    errors = []
    for x, y in seen + edge.min(axis=0):
        expected = x * scale - 0.5, (sheet.height - y) * scale - 0.5
        found = corner_on_paper(picture, expected, scale)
        errors.append(np.hypot(found[0] - expected[0], found[1] - expected[1]) / scale)
    return np.asarray(errors)


@lru_cache(maxsize=8)
def crowded_sheets(width: float, height: float, paper: str) -> tuple[Sheet, ...]:
    """The sheets of a crowded plan, drawn once for all tests."""
    return template_sheets(crowded_plan(width, height), paper)


@pytest.fixture(scope="session")
def hand() -> SimpleNamespace:
    """Plans made by hand, and tools to measure what is drawn of them."""
    return SimpleNamespace(
        plan=make_plan,
        keepout=keepout,
        row=row,
        small_plan=small_plan,
        crowded_sheets=crowded_sheets,
        rendered=rendered,
        paths=paths,
        ink_centre=ink_centre,
        corner_errors=corner_errors,
    )
