"""Entries of a job become shapes in mm: exact, named, with their layers, faces and clearances."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from trimgeo.errors import JobError
from trimgeo.jobfile import entries
from trimgeo.jobfile.shapes import around_disc
from trimgeo.model.board import Circle, Keepout, Picture, View
from trimgeo.model.job import Job
from trimgeo.model.planemap import PlaneMap

EDGE = [[0, 0], [100, 0], [100, 80], [0, 80]]
NO_PICTURE = Picture(10.0, (0.0, 0.0), (1, 1), lambda: np.zeros((1, 1, 3), dtype=np.uint8))


def job(layers: int = 4, edge: Any = EDGE, **tables: Any) -> Job:
    data = {"job": {"title": "t"}, "board": {"thickness": 1.6, "layers": layers, "edge": edge}}
    data["board"] |= tables.pop("board", {})
    return Job.model_validate({**data, **tables})


def view(name: str, shows: Any, matrix: Any, variance: float = 0.0, bound: float = 0.0) -> View:
    """A view of known map; ``variance`` is of the two shifts (mm²), the same in x and y."""
    covariance = np.zeros((9, 9))
    covariance[2, 2] = covariance[5, 5] = variance
    to_board = PlaneMap(np.asarray(matrix, dtype=float), covariance)
    return View(name, shows, "points", to_board, NO_PICTURE, None, None, bound)


def view_table(name: str, shows: Any = "top") -> dict[str, Any]:
    return {"name": name, "image": "a.png", "shows": shows, "scale": {"dpi": 300}}


def keepouts(given: Job, **views: View) -> tuple[Keepout, ...]:
    return entries.keepouts(given, views, entries.edge_ring(given)).kept


def circle(name: str, kind: str, **more: Any) -> dict[str, Any]:
    return {"name": name, "kind": kind, "circle": {"at": [20, 20], "diameter": 2}, **more}


def test_each_form_of_keepout_keeps_its_exact_shape() -> None:
    found = keepouts(
        job(
            keepout=[
                circle("C", "via"),
                {"name": "P", "kind": "other", "polygon": [[1, 1], [5, 1], [5, 4]]},
                {
                    "name": "T",
                    "kind": "trace",
                    "layers": [2],
                    "path": {"points": [[1, 1], [9, 1], [9, 7]], "width": 0.3},
                },
            ]
        )
    )
    assert [each.name for each in found] == ["C", "P", "T"]
    assert (found[0].spine, found[0].radius) == (shapely.Point(20, 20), 1.0)
    assert (found[1].spine.area, found[1].radius) == (6.0, 0.0)
    assert (found[2].spine.length, found[2].radius) == (14.0, 0.15)
    assert all(each.on_board and each.uncertainty == 0 for each in found)


def test_layers_left_out_follow_the_kind() -> None:
    # CONTRACT: a component lies on layer 1 where no view says more; via, hole and other on all.
    found = keepouts(job(keepout=[circle(kind, kind) for kind in ("component", "via", "hole", "other")]))
    assert [each.layers for each in found] == [(1,), (1, 2, 3, 4), (1, 2, 3, 4), (1, 2, 3, 4)]
    assert [each.face for each in found] == ["top", None, None, None]


def test_a_component_stands_on_the_face_that_its_view_or_its_layers_show() -> None:
    below = view("below", "bottom", np.diag([0.1, 0.1, 1]))
    given_job = job(
        view=[view_table("below", "bottom")],
        keepout=[
            circle("seen below", "component", on="below"),
            circle("on 4", "component", layers=[4]),
            circle("on 1, seen below", "component", layers=[1], on="below"),
            circle("through, seen below", "component", layers=[4, 1, 4], on="below"),
            circle("through", "component", layers=[1, 4]),
        ],
    )
    found = keepouts(given_job, below=below)
    assert [(each.face, each.layers) for each in found] == [
        ("bottom", (4,)),
        ("bottom", (4,)),
        ("top", (1,)),
        ("bottom", (1, 4)),
        ("top", (1, 4)),
    ]


@pytest.mark.parametrize(
    ("kind", "layers", "mm"),
    [
        # Conductors: spacing of IPC-2221B table 6-1 (0.05 inner, 0.1 outer, up to 30 V; from memory)
        # + 0.4 mm to the edge (IPC-2222 10.1.1, second hand).
        ("trace", [2], 0.05 + 0.4),
        ("copper", [2, 3], 0.05 + 0.4),
        ("trace", [1], 0.1 + 0.4),
        ("pad", [3, 4], 0.1 + 0.4),
        ("via", None, 0.1 + 0.4),
        ("component", None, 0.5),  # CONTRACT, [clearance]
        ("hole", None, 0.5),
        ("other", None, 0.0),
    ],
)
def test_the_required_clearance_has_a_default_with_its_reason(
    kind: str, layers: list[int] | None, mm: float
) -> None:
    entry = circle("K", kind) | ({"layers": layers} if layers else {})
    (found,) = keepouts(job(keepout=[entry]))
    assert found.required == pytest.approx(mm, abs=1e-12)
    assert len(found.reason) > 20


def test_a_clearance_of_the_keepout_outranks_that_of_the_table() -> None:
    given_job = job(clearance={"via": 1.25}, keepout=[circle("A", "via", clearance=0.0), circle("B", "via")])
    own, table = keepouts(given_job)
    assert (own.required, own.reason) == (0.0, "given for this keep-out")
    assert (table.required, table.reason) == (1.25, "given for via in [clearance]")


def test_on_a_board_of_two_layers_no_copper_is_inner() -> None:
    (found,) = keepouts(job(layers=2, keepout=[circle("A", "trace", layers=[1, 2])]))
    assert found.required == 0.5


def test_pixels_become_mm_and_lengths_stay_mm() -> None:
    # 10 pixels a mm, rows downwards, (0, 0) mm at pixel (100, 900); the shift known to 0.04 mm.
    top = view("top", "top", [[0.1, 0, -10], [0, -0.1, 90], [0, 0, 1]], variance=0.04**2)
    given_job = job(
        view=[view_table("top")],
        board={"holes": [{"name": "H", "at": [150, 850], "diameter": 3, "on": "top"}]},
        keepout=[
            circle("mm", "via"),
            {
                "name": "px",
                "kind": "other",
                "polygon": [[110, 890], [130, 890], [130, 870]],
                "on": "top",
            },
            {
                "name": "line",
                "kind": "trace",
                "layers": [1],
                "path": {"points": [[200, 800], [300, 800]], "width": 0.25},
                "on": "top",
            },
        ],
        probe=[{"name": "TP", "at": [110, 890], "face": "top", "rail": "3V3", "on": "top"}],
        lift=[{"name": "J", "circle": {"at": [300, 700], "diameter": 4}, "on": "top"}],
    )
    views = {"top": top}
    mm, px, line = keepouts(given_job, **views)
    assert shapely.equals_exact(px.spine, shapely.Polygon([(1, 1), (3, 1), (3, 3)]), 1e-12)
    assert shapely.equals_exact(line.spine, shapely.LineString([(10, 10), (20, 10)]), 1e-12)
    assert line.radius == 0.125
    assert [each.uncertainty for each in (mm, px, line)] == pytest.approx([0.0, 0.04, 0.04])
    (hole,) = entries.holes(given_job, views)
    assert (*hole.at, hole.diameter) == pytest.approx((5, 5, 3))
    assert entries.probes(given_job, views)[0].at == pytest.approx((1, 1))
    (part,) = entries.parts(given_job, views)
    assert part.area.centroid.coords[0] == pytest.approx((20, 20))


def test_the_uncertainty_is_that_of_the_least_certain_corner() -> None:
    # Variance of the x scale alone: the standard uncertainty grows as sigma * column.
    covariance = np.zeros((9, 9))
    covariance[0, 0] = 1e-8
    to_board = PlaneMap(np.diag([0.1, 0.1, 1.0]), covariance)
    top = View("top", "top", "points", to_board, NO_PICTURE, None, None, 0.1)
    corners = [[100, 100], [700, 100], [700, 300]]
    given_job = job(
        view=[view_table("top")],
        keepout=[{"name": "A", "kind": "other", "polygon": corners, "on": "top"}],
    )
    (found,) = keepouts(given_job, top=top)
    assert found.uncertainty == pytest.approx(1e-4 * 700)


def test_a_pixel_that_nobody_can_have_read_off_the_picture_is_refused() -> None:
    to_board = PlaneMap(np.diag([0.1, 0.1, 1.0]), np.zeros((9, 9)), size=(640, 480))
    top = View("top", "top", "points", to_board, NO_PICTURE, None, None, 0.1)

    def marked(at: list[float]) -> Job:
        hole = {"name": "A", "kind": "via", "circle": {"at": at, "diameter": 1}, "on": "top"}
        return job(view=[view_table("top")], keepout=[hole])

    assert len(keepouts(marked([639, 479]), top=top)) == 1
    with pytest.raises(JobError, match=r'"A", circle: .* off the picture of view "top"; .* 640 x 480 pixels'):
        keepouts(marked([641, 100]), top=top)


def test_pixels_on_the_horizon_of_a_view_are_refused() -> None:
    tilted = view("top", "top", [[0.1, 0, 0], [0, 0.1, 0], [-0.001, 0, 1]])
    given_job = job(view=[view_table("top")], keepout=[circle("A", "via", on="top")])
    at_horizon = given_job.keepout[0].model_copy(
        update={"circle": given_job.keepout[0].circle.model_copy(update={"at": (1000.0, 5.0)})}  # type: ignore[union-attr]
    )
    with pytest.raises(JobError, match=r'\[\[keepout\]\] "A", circle: found a pixel .* view "top"'):
        keepouts(given_job.model_copy(update={"keepout": (at_horizon,)}), top=tilted)


def test_a_keepout_off_the_board_is_warned_about_by_name_and_has_no_effect() -> None:
    def at(name: str, x: float) -> dict[str, Any]:
        return {"name": name, "kind": "via", "circle": {"at": [x, 40], "diameter": 2}}

    given_job = job(
        keepout=[
            at("in", 98.9),
            at("touching inside", 99),
            at("over", 99.5),
            at("just over", 100.9),
            at("touching outside", 101),
            at("off", 120),
            {"name": "beside", "kind": "other", "polygon": [[100, 0], [110, 0], [110, 9], [100, 9]]},
            {"name": "corner", "kind": "other", "polygon": [[90, 70], [110, 70], [110, 90]]},
            {"name": "flush", "kind": "other", "polygon": [[90, 0], [100, 0], [100, 9]]},
            {"name": "path over", "kind": "other", "path": {"points": [[90, 40], [99.95, 40]], "width": 0.2}},
            {"name": "path off", "kind": "other", "path": {"points": [[101, 0], [101, 80]], "width": 1.9}},
        ]
    )
    everything = entries.keepouts(given_job, {}, entries.edge_ring(given_job))
    found, warnings = everything.kept, everything.warnings
    assert {each.name: each.on_board for each in found} == {
        "in": True,
        "touching inside": True,
        "over": False,
        "just over": False,
        "corner": False,
        "flush": True,
        "path over": False,
    }
    assert [warning.split('"')[1] for warning in warnings] == [
        "touching outside",
        "off",
        "beside",
        "path off",
    ]


def test_a_keepout_off_the_board_is_told_what_may_be_wrong_with_it() -> None:
    """Pixels without their view are taken for millimetres, and mostly lie off the board."""
    top = view("top", "top", np.diag([0.1, -0.1, 1.0]))

    def warning(**more: Any) -> str:
        far = {"circle": {"at": [800, 400], "diameter": 2}, **more}
        given_job = job(view=[view_table("top")], keepout=[circle("K", "via", **far)])
        (text,) = entries.keepouts(given_job, {"top": top}, entries.edge_ring(given_job)).warnings
        return text

    assert warning().endswith("if its points are pixels, name their view with `on`")
    assert warning(on="top").endswith("check its pixels, [column, row]")


@settings(max_examples=50)
@given(
    st.lists(
        st.tuples(
            st.floats(-20, 120, allow_nan=False), st.floats(-20, 100, allow_nan=False), st.floats(0.01, 30)
        ),
        min_size=1,
        max_size=12,
    )
)
def test_circles_are_on_over_or_off_a_rectangle_as_plain_arithmetic_says(
    discs: list[tuple[float, float, float]],
) -> None:
    given_job = job(
        keepout=[
            {"name": str(n), "kind": "hole", "circle": {"at": [x, y], "diameter": d}}
            for n, (x, y, d) in enumerate(discs)
        ]
    )
    found = {each.name: each.on_board for each in keepouts(given_job)}
    for n, (x, y, d) in enumerate(discs):
        outside = math.hypot(max(-x, 0, x - 100), max(-y, 0, y - 80))
        inside = min(x, 100 - x, y, 80 - y)
        if abs(outside - d / 2) > 1e-9 and abs(inside - d / 2) > 1e-9:
            assert (str(n) in found) == (outside < d / 2)
            assert found.get(str(n), False) == (inside > d / 2)


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        ([[0, 0], [2, 2], [2, 0], [0, 2]], r"sides that cross at \(1, 1\)"),
        ([[0, 0], [9, 0], [9, 9], [4, -3]], r"sides that cross at"),
        ([[0, 0], [4, 0], [2, 2], [4, 4], [0, 4], [2, 2]], r"sides that (touch|cross) at \(2, 2\)"),
        ([[0, 0], [1, 1], [2, 2]], "points in one line"),
        ([[1, 1], [1, 1], [1, 1], [1, 1]], "fewer than three different points"),
        ([[1, 1], [2, 2], [1, 1]], "fewer than three different points"),
        ([[0, 0], [2000, 0], [2000, 5]], "a shape 2000 mm long; .*unit mistake"),
    ],
)
def test_a_shape_that_is_none_is_refused_by_name(corners: list[list[float]], said: str) -> None:
    good = circle("good", "via")
    bad = {"name": "bad", "kind": "other", "polygon": corners}
    with pytest.raises(JobError, match=rf'\[\[keepout\]\] "bad", polygon: found {said}'):
        keepouts(job(keepout=[good, bad]))
    with pytest.raises(JobError, match=rf"\[board\], edge: found {said}"):
        entries.edge_ring(job(edge=corners))
    with pytest.raises(JobError, match=rf'\[\[part\]\] "bad", polygon: found {said}'):
        entries.parts(job(part=[{"name": "bad", "polygon": corners}]), {})


def test_a_path_without_length_is_refused() -> None:
    path = {"points": [[1, 1], [1, 1]], "width": 1}
    with pytest.raises(JobError, match="without length"):
        keepouts(job(keepout=[{"name": "A", "kind": "other", "path": path}]))


def test_points_repeated_one_after_another_count_once() -> None:
    repeated = [[0, 0], [0, 0], [4, 0], [4, 3], [4, 3], [4, 3], [0, 0]]
    ring = entries.edge_ring(job(edge=repeated))
    assert list(ring.polygon.exterior.coords) == [(0, 0), (4, 0), (4, 3), (0, 0)]


def test_parts_that_must_go_come_first_and_a_circle_is_held_whole() -> None:
    given_job = job(
        view=[view_table("below", "bottom")],
        part=[
            {"name": "B", "circle": {"at": [10, 10], "diameter": 6}, "height": 5},
            {"name": "C", "polygon": [[100, 100], [200, 100], [200, 200]], "on": "below"},
        ],
        lift=[{"name": "A", "polygon": [[1, 1], [5, 1], [5, 4]], "face": "bottom"}],
    )
    found = entries.parts(given_job, {"below": view("below", "bottom", np.diag([0.1, 0.1, 1]))})
    assert [(each.name, each.must_go, each.face) for each in found] == [
        ("A", True, "bottom"),
        ("B", False, "top"),
        ("C", False, "bottom"),
    ]
    assert found[1].area.exterior.distance(shapely.Point(10, 10)) >= 3 - 1e-12


@given(st.floats(0.0005, 500))
def test_a_polygon_around_a_disc_holds_it_within_the_flattening_tolerance(radius: float) -> None:
    corners = np.asarray(around_disc(Circle((3.0, -7.0), radius)).exterior.coords)[:-1] - (3.0, -7.0)
    middles = (corners + np.roll(corners, 1, axis=0)) / 2
    assert np.hypot(*middles.T).min() >= radius * (1 - 1e-9)
    assert np.hypot(*corners.T).max() <= radius + 0.005 + 1e-9


def test_what_no_view_or_keepout_describes_stays_unknown() -> None:
    given_job = job(
        layers=6,
        view=[view_table("below", "bottom"), view_table("inner", 3)],
        keepout=[
            circle("part", "component"),
            circle("via", "via"),
            circle("trace", "trace", layers=[2]),
            {"name": "off", "kind": "trace", "layers": [5], "circle": {"at": [500, 0], "diameter": 1}},
        ],
    )
    found = entries.described_layers(given_job, keepouts(given_job))
    # Shown: 6 and 3.  Named on the board: 2.  A via passes 4 and 5 and tells nothing of them.
    assert found == {2, 3, 6}
