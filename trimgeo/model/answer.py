"""A Plan as the dict of report.json: the one place that knows its keys.

It stands in `model`, below the readable report, because `Plan.report()` is part of the library.
Lengths are rounded to the nanometre, so that the last bits of a floating-point sum do not show.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from shapely import LineString, Polygon

from trimgeo.model.board import Board, View
from trimgeo.version import __version__

if TYPE_CHECKING:
    from trimgeo.model.plan import Choice, Corner, Distance, Exposed, Fit, Lift, Plan, Row, Trade, Weighed

Json = dict[str, Any]
_PLACES = 9


def report(plan: Plan) -> Json:
    """The dict of report.json, in mm and mm²; ``files`` is None until files are written."""
    board = plan.board
    job = board.job
    return {
        "trimgeo": __version__,
        "job": job.job.title,
        "revision": job.job.revision,
        "variant": job.variant,
        "units": "mm",
        "views": [view(each) for each in board.views],
        "board": {"edge": _ring(board.edge.polygon), "area_mm2": _mm(board.edge.area)},
        "outline": _outline(plan),
        "clearance": {
            "minimum": _row(plan.minimum),
            "inner_copper_minimum": _row(plan.inner_minimum),
            "keepouts": [_row(row) for row in plan.rows],
        },
        "lift": [_lift(part) for part in plan.lift],
        "severed": [
            {"name": each.name, "net": each.net, "at": [_point(p) for p in each.at]} for each in plan.severed
        ],
        "exposed": [_exposed(each) for each in plan.exposed],
        "short_risk": None,
        "corners": [_corner(each) for each in plan.corners],
        "set_out": [
            {"n": each.n, "at": _point(each.at), "from": [_distance(d) for d in each.distances]}
            for each in plan.set_out
        ],
        "wires": None,
        "fit": _fit(plan.holding.fit),
        "unknown_layers": list(plan.unknown_layers),
        "files": None,
        "warnings": list(plan.warnings),
    }


def view(view: View) -> Json:
    """One entry of ``views``, in mm."""
    return {
        "name": view.name,
        "method": view.method,
        "pixels_per_mm": _mm(view.picture.pixels_per_mm),
        "residual_rms_mm": _mm(view.residual_rms),
        "residual_max_mm": _mm(view.residual_max),
        "uncertainty_mm": _mm(view.uncertainty),
        "checks": [
            {"length_mm": _mm(c.length), "measured_mm": _mm(c.measured), "error_mm": _mm(c.error)}
            for c in view.checks
        ],
    }


def straightened(shown: View, board: Board, image: str) -> Json:
    """One entry of ``rectify --json``: a view, the file of its picture, and what was found in it, mm."""
    entry: Json = {**view(shown), "image": image, "origin": list(shown.picture.origin)}
    if shown.card is not None:
        entry |= {"markers": shown.card.markers, "focal_px": _mm(shown.card.focal)}
    if board.edge_view == shown.name:
        entry["edge"] = _ring(board.edge.polygon)
        entry["holes"] = [
            {"at": _point(hole.centre), "diameter": _mm(2 * hole.radius)} for hole in board.found_holes
        ]
    return entry


def trade(trade: Trade) -> Json:
    """The dict of ``outline --json``.

    >>> from trimgeo.model.plan import Choice, Trade
    >>> whole = Choice(0, Polygon([(0, 0), (9, 0), (9, 4), (0, 4)]), 36.0, 0.0, 0, None)
    >>> found = trade(Trade((whole,)))["choices"][0]
    >>> found["area_mm2"], found["clearance_mm"], found["finished"][2]
    (36.0, None, [9.0, 4.0])
    """
    return {
        "fewest": trade.fewest,
        "proved": trade.proved,
        "choices": [_choice(choice) for choice in trade.choices],
    }


def comparison(variants: Sequence[Weighed], together: Weighed) -> Json:
    """The dict of ``outline --compare --json``: the trade of each variant, and of one that serves all.

    Each is as in ``outline --json``, with the number of cuts that the job chooses and, where it chooses
    none, the reason.

    >>> from trimgeo.model.plan import Weighed
    >>> found = comparison([], Weighed(None, None, None, "no outline"))["together"]
    >>> found["choices"], found["chosen"], found["reason"]
    ([], None, 'no outline')
    """
    return {
        "variants": [{"variant": each.variant, **_weighed(each)} for each in variants],
        "together": _weighed(together),
    }


def _weighed(each: Weighed) -> Json:
    found = {"fewest": None, "proved": None, "choices": []} if each.trade is None else trade(each.trade)
    chosen = None if each.chosen is None else each.chosen.cuts
    return {**found, "chosen": chosen, "reason": each.refused}


def _choice(choice: Choice) -> Json:
    return {
        "cuts": choice.cuts,
        "area_mm2": _mm(choice.area),
        "cut_length_mm": _mm(choice.cut_length),
        "inside_corners": choice.inside_corners,
        "clearance_mm": _mm(choice.clearance),
        "fits": choice.fits,
        "notes": list(choice.notes),
        "finished": _ring(choice.finished),
    }


def _outline(plan: Plan) -> Json:
    return {
        "finished": _ring(plan.finished.polygon),
        "guide": _lines(plan.lines.guide),
        "tool_centre": _lines(plan.lines.tool_centre),
        "area_mm2": _mm(plan.finished.area),
        "cut_length_mm": _mm(sum(cut.length for cut in plan.cuts)),
        "cuts": [
            {"n": cut.n, "from": _point(cut.start), "to": _point(cut.end), "length_mm": _mm(cut.length)}
            for cut in plan.cuts
        ],
    }


def _row(row: Row | None) -> Json | None:
    if row is None:
        return None
    return {
        "name": row.name,
        "kind": row.kind,
        "layers": list(row.layers),
        "net": row.net,
        "nominal_mm": _mm(row.nominal),
        "uncertainty_mm": _mm(row.uncertainty),
        "worst_mm": _mm(row.worst),
        "required_mm": _mm(row.required),
        "at": None if row.at is None else _point(row.at),
        "state": row.state,
    }


def _lift(part: Lift) -> Json:
    return {
        "name": part.name,
        "face": part.face,
        "at": _point(part.at),
        "height_mm": _mm(part.height),
        "reason": part.reason,
    }


def _exposed(each: Exposed) -> Json:
    return {
        "cut": each.cut,
        "layer": each.layer,
        "net": each.net,
        "from": _point(each.start),
        "to": _point(each.end),
        "length_mm": _mm(each.length),
    }


def _corner(corner: Corner) -> Json:
    return {
        "at": _point(corner.at),
        "inside": corner.inside,
        "stop_short_mm": _mm(corner.stop_short),
        "fillet_mm": _mm(corner.fillet),
    }


def _fit(fit: Fit | None) -> Json | None:
    if fit is None:
        return None
    return {
        "fits": fit.fits,
        "spare_mm": _mm(fit.spare),
        "shift": _point(fit.shift),
        "angle_deg": _mm(fit.angle),
        "as_placed_mm": _mm(fit.as_placed),
        "most_mm": _mm(fit.most),
        "binds": [{"board": _point(board), "case": _point(case)} for board, case in fit.binds],
    }


def _distance(distance: Distance) -> Json:
    return {"edge": distance.edge, "hole": distance.hole, "mm": _mm(distance.mm)}


def _ring(polygon: Polygon) -> list[list[float]]:
    return [_point(p) for p in polygon.exterior.coords[:-1]]


def _lines(lines: Iterable[LineString]) -> list[list[list[float]]]:
    return [[_point(p) for p in line.coords] for line in lines]


def _point(point: Sequence[float]) -> list[float]:
    return [round(float(c), _PLACES) + 0.0 for c in point[:2]]


def _mm(value: float | None) -> float | None:
    return None if value is None else round(float(value), _PLACES) + 0.0
