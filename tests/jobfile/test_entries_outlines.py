"""The board edge and a given outline: one simple shape each, snapped to the board or refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from ezdxf import units
from ezdxf.filemanagement import new
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from trimgeo.errors import JobError
from trimgeo.jobfile import entries
from trimgeo.model.board import Picture, Ring, View
from trimgeo.model.job import Job
from trimgeo.model.planemap import PlaneMap

EDGE = [[0, 0], [100, 0], [100, 80], [0, 80]]
NOTCHED = [[0, 0], [100, 0], [100, 80], [60, 80], [60, 40], [40, 40], [40, 80], [0, 80]]


def job(edge: Any = EDGE, folder: Path = Path(), **tables: Any) -> Job:
    data = {"job": {"title": "t"}, "board": {"thickness": 1.6, "edge": edge}, "folder": folder}
    return Job.model_validate({**data, **tables})


def outline(points: Any, edge: Any = EDGE) -> Ring:
    given_job = job(edge, outline={"points": points})
    found = entries.given_outline(given_job, {}, entries.edge_ring(given_job))
    assert found is not None
    return found


def corners(ring: Ring) -> list[tuple[float, ...]]:
    return [tuple(point) for point in ring.polygon.exterior.coords[:-1]]


def drawing(file: Path, **layers: list[Any]) -> Path:
    """A DXF in mm: on each layer closed polylines (lists of points) and circles (centre, radius)."""
    document = new(units=units.MM)
    for layer, shapes in layers.items():
        document.layers.add(layer)
        for shape in shapes:
            if len(shape) == 2 and not isinstance(shape[1], list | tuple):
                document.modelspace().add_circle(shape[0], shape[1], dxfattribs={"layer": layer})
            else:
                document.modelspace().add_lwpolyline(shape, close=True, dxfattribs={"layer": layer})
    document.saveas(file)
    return file


def test_rings_run_counter_clockwise_from_their_first_corner() -> None:
    clockwise = [[0, 0], [0, 80], [100, 80], [100, 0]]
    assert corners(entries.edge_ring(job(clockwise))) == [(0, 0), (100, 0), (100, 80), (0, 80)]
    assert corners(outline([[5, 5], [5, 9], [9, 9], [9, 5]])) == [(5, 5), (9, 5), (9, 9), (5, 9)]


def test_an_outline_loses_collinear_corners_and_no_other() -> None:
    points = [[10, 5], [20, 5], [30, 5], [30, 20], [30.0001, 25], [30, 30], [20, 20], [10, 10], [5, 5]]
    found = corners(outline(points))
    assert found == [(5, 5), (30, 5), (30, 20), (30.0001, 25), (30, 30)]
    on_slope = [[0.1, 0.1], [0.7, 0.1], [0.7, 0.7], [0.3, 0.3]]  # 0.3 is no double: off by its rounding
    assert len(corners(outline(on_slope))) == 3


def test_an_outline_that_is_built_is_not_given() -> None:
    built = job(outline={"build": "smallest"})
    assert entries.given_outline(built, {}, entries.edge_ring(built)) is None
    assert entries.given_outline(job(), {}, entries.edge_ring(job())) is None


def test_a_little_over_the_edge_is_snapped_to_it() -> None:
    found = outline([[-0.04, 10], [50, -0.03], [100.049, 0], [100, 80.02], [0.03, 80]])
    assert found.polygon.within(Polygon(EDGE).buffer(1e-12))
    assert found.polygon.area == pytest.approx(
        Polygon([(-0.04, 10), (50, -0.03), (100.049, 0), (100, 80.02), (0.03, 80)])
        .intersection(Polygon(EDGE))
        .area
    )
    assert corners(found)[0] == pytest.approx((0, 10), abs=0.05)
    assert found.polygon.exterior.is_ccw


@pytest.mark.parametrize(
    ("points", "far", "near"),
    [
        ([[0, 0], [50, 0], [50, 80.06]], "0.06", r"\(50, 80\.06\)"),
        ([[-7.5, 0], [50, 0], [50, 50]], "7.50", r"\(-7\.5, 0\)"),
    ],
)
def test_an_outline_over_the_edge_is_refused_with_how_far_and_where(points: Any, far: str, near: str) -> None:
    with pytest.raises(JobError, match=rf"\[outline\], points: .* leaves the board by {far} mm near {near}"):
        outline(points)


@pytest.mark.parametrize("least", [5e-324, 1e-310, 1e-229, 1e-20])
def test_a_spike_thinner_than_numbers_tell_apart_is_refused_like_any_other(least: float) -> None:
    with pytest.raises(JobError, match=r"leaves the board by 920.00 mm near \(0.000, 1000.000\)"):
        outline([[0, 0], [50, 0], [100, 0], [100, 60], [0, 60], [-least, 1000]])


@pytest.mark.parametrize("least", [5e-324, 1e-310, 1e-229, 1e-20])
def test_corners_nearer_than_numbers_tell_apart_count_once_or_are_refused_in_a_sentence(least: float) -> None:
    clean = outline([[0, 0], [50, 0], [50, 60], [0, 60]])
    again = outline([[0, 0], [0, 0], [50, 0], [50, least], [50, 60], [50, 60], [least, 60], [0, 60]])
    assert again.polygon.symmetric_difference(clean.polygon).area < 1e-12
    for points in ([[0, 0], [least, 0], [0, least]], [[0, 0], [0, 0], [50, 0], [50, 0]], [[0, 0]] * 5):
        with pytest.raises(JobError, match=r"found (fewer than three different points|points in one line)"):
            outline(points)


def test_a_side_across_a_notch_leaves_the_board_though_no_corner_does() -> None:
    with pytest.raises(JobError, match=r"leaves the board by 10\.00 mm near \(50, (80|[5-7]\d(\.\d+)?)\)"):
        outline([[10, 10], [90, 10], [90, 80], [10, 80]], NOTCHED)


def test_a_bridge_over_a_narrow_slit_would_leave_two_pieces_and_is_refused() -> None:
    slit = [[0, 0], [100, 0], [100, 80], [50.04, 80], [50.04, 1], [49.96, 1], [49.96, 80], [0, 80]]
    with pytest.raises(JobError, match="falls into 2 pieces"):
        outline([[10, 40], [90, 40], [90, 60], [10, 60]], slit)


def test_an_outline_may_leave_the_board_by_the_bound_of_its_view() -> None:
    picture = Picture(10.0, (0.0, 0.0), (1, 1), lambda: np.zeros((1, 1, 3), dtype=np.uint8))
    to_board = PlaneMap(np.diag([0.1, 0.1, 1.0]), np.zeros((9, 9)))
    top = {"name": "top", "image": "a.png", "shows": "top", "scale": {"dpi": 254}}
    given_job = job(view=[top], outline={"points": [[-3, 0], [500, 0], [500, 500]], "on": "top"})
    edge = entries.edge_ring(given_job)
    views = {b: View("top", "top", "dpi", to_board, picture, None, None, b) for b in (0.2, 0.35)}
    found = entries.given_outline(given_job, {"top": views[0.35]}, edge)
    assert found is not None
    assert found.polygon.bounds == pytest.approx((0, 0, 50, 50))
    with pytest.raises(JobError, match=r"by 0\.30 mm"):
        entries.given_outline(given_job, {"top": views[0.2]}, edge)


def test_an_outline_within_the_tolerance_beside_the_board_is_named_as_that() -> None:
    with pytest.raises(JobError, match="lies beside the board; draw it on the board"):
        outline([(0.0, 0.0), (0.0, 1.0), (-0.03125, 0.0)])


@given(
    st.lists(st.tuples(st.floats(-0.045, 100.045), st.floats(-0.045, 80.045)), min_size=3, max_size=9),
    st.booleans(),
)
def test_whatever_is_accepted_is_simple_counter_clockwise_and_on_the_board(
    points: list[tuple[float, float]], hull: bool
) -> None:
    if hull and shapely.MultiPoint(points).convex_hull.geom_type == "Polygon":
        points = list(shapely.MultiPoint(points).convex_hull.exterior.coords[:-1])
    drawn = Polygon(points)
    on_it = shapely.get_parts(drawn.intersection(Polygon(EDGE))) if drawn.is_valid else ()
    pieces = [each for each in on_it if each.area > 0.05**2]  # less is a sliver within the tolerance
    try:
        found = outline(points)
    except JobError:
        beyond = shapely.distance(Polygon(EDGE), shapely.points(points)).max()
        # No shape, beside the board, parted by it, or past one of its corners by more than the tolerance.
        assert drawn.area < 1e-3 or len(pieces) != 1 or beyond > 0.05
        return
    assert found.polygon.is_valid
    assert found.polygon.exterior.is_ccw
    assert found.polygon.difference(Polygon(EDGE)).area < 1e-9
    assert found.polygon.symmetric_difference(pieces[0] if pieces else drawn).area < 1e-3


def test_an_edge_from_a_file_is_its_largest_shape_with_round_holes_ignored(tmp_path: Path) -> None:
    drawing(tmp_path / "edge.dxf", E=[EDGE, ((10, 10), 1.6), ((90, 10), 1.6)])
    ring = entries.edge_ring(job({"file": "edge.dxf"}, tmp_path))
    assert corners(ring) == [(0, 0), (100, 0), (100, 80), (0, 80)]


@pytest.mark.parametrize(
    "more",
    [
        [[40, 40], [60, 40], [60, 50]],  # a slot within: a cut could cross it
        [[140, 40], [160, 40], [160, 50]],  # a second board
        ((99.5, 40), 1.0),  # a hole over the edge
    ],
)
def test_an_edge_from_a_file_must_be_one_shape(tmp_path: Path, more: Any) -> None:
    drawing(tmp_path / "edge.dxf", E=[EDGE, more])
    with pytest.raises(JobError, match=r"\[board\], edge: found 2 closed shapes where one is meant"):
        entries.edge_ring(job({"file": "edge.dxf"}, tmp_path))


def test_a_round_board_keeps_its_circle(tmp_path: Path) -> None:
    drawing(tmp_path / "edge.dxf", E=[((50, 40), 30.0)])
    ring = entries.edge_ring(job({"file": "edge.dxf"}, tmp_path))
    (circle,) = ring.circles
    assert (*circle.centre, circle.radius) == pytest.approx((50, 40, 30))
    assert ring.polygon.area == pytest.approx(np.pi * 30**2, rel=0.005 / 30 * 2)


def test_an_outline_comes_from_a_file_of_the_job_or_of_the_call(tmp_path: Path) -> None:
    drawing(tmp_path / "mine.dxf", LINE=[[[0, 0], [50, 0], [50, 80], [0, 80]]])
    drawing(
        tmp_path / "other.dxf",
        FINISHED=[[[0, 0], [20, 0], [20, 80], [0, 80]]],
        BOARD=[EDGE, [[140, 40], [160, 40], [160, 50]]],
    )
    given_job = job(EDGE, tmp_path, outline={"file": "mine.dxf", "layer": "LINE"})
    edge = entries.edge_ring(given_job)
    own = entries.given_outline(given_job, {}, edge)
    other = entries.given_outline(given_job, {}, edge, path=tmp_path / "other.dxf")
    assert own is not None
    assert other is not None
    assert (own.polygon.area, other.polygon.area) == (4000.0, 1600.0)


def test_keepouts_of_a_file_are_named_by_layer_and_told_apart(tmp_path: Path) -> None:
    square = [[10, 10], [20, 10], [20, 20]]
    drawing(tmp_path / "a.dxf", P=[square, ((50, 50), 2.0)], Q=[square])
    drawing(tmp_path / "b.dxf", P=[square])
    entry = {"layer": "P", "kind": "component", "height": 3}
    given_job = job(EDGE, tmp_path, keepouts=[{"file": "a.dxf", **entry}, {"file": "b.dxf", **entry}])
    found = entries.keepouts(given_job, {}, entries.edge_ring(given_job)).kept
    assert [each.name for each in found] == ["P:1 of a.dxf", "P:2", "P:1 of b.dxf"]
    assert found[1].spine == shapely.Point(50, 50)
    assert found[1].radius == 2.0
    assert {each.height for each in found} == {3.0}


@pytest.mark.parametrize(
    "file", ["missing.dxf", "../../../../etc/passwd", "a\tb.dxf", "job.toml", ".", "x.svg"]
)
def test_a_file_that_gives_no_shape_is_named_by_its_place_in_the_job(tmp_path: Path, file: str) -> None:
    (tmp_path / "x.svg").write_bytes(b"\x00\xff<svg")
    try:
        bad = job({"file": file}, tmp_path)
    except ValueError:
        assert "\t" in file  # refused by its form already
        return
    with pytest.raises(JobError, match=r"^job\.toml, \[board\], edge"):
        entries.edge_ring(bad)
