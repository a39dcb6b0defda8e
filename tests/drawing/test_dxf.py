"""The DXF, judged by GDAL and by the DXF library's own auditor."""

from __future__ import annotations

import io
import logging
import os
import subprocess
import sys
import textwrap
import warnings
from collections.abc import Iterator, Sequence
from math import pi
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio  # type: ignore[import-untyped]
import pytest
import shapely
from ezdxf.lldxf.encoding import decode_dxf_unicode
from shapely import LineString, MultiPolygon, Point, Polygon

from trimgeo.drawing.dxf import LAYERS, to_dxf
from trimgeo.errors import JobError
from trimgeo.jobfile.shapefiles import read_shapes
from trimgeo.model.board import Board, Circle, Hole, Keepout, Probe, Ring
from trimgeo.model.job import Job
from trimgeo.model.plan import Cut, Lines, Plan
from trimgeo.plane.arcs import flatten

RELEASES = ("R2018", "R12")
ODD = 'Ω % 5%%d ^J "quo\'te" \\U+0041 \N{GRINNING FACE} end'
THICKNESS, SANDING, KERF = 1.6, 0.4, 1.0
# A 100 x 80 board with round corners of 3 mm; finished: the left 70 mm, its new corner rounded by 10 mm.
QUARTER = np.tan(pi / 8)
EDGE = [(3, 0, 0), (97, 0, QUARTER), (100, 3, 0), (100, 77, QUARTER), (97, 80, 0), (3, 80, QUARTER)]
EDGE += [(0, 77, 0), (0, 3, QUARTER)]
FINISHED = [(3, 0, 0), (70, 0, 0), (70, 30, QUARTER), (60, 40, 0), (0, 40, 0), (0, 3, QUARTER)]
FINISHED_AREA = 70 * 40 - 10**2 * (1 - pi / 4) - 3**2 * (1 - pi / 4)
HOLES = (
    Hole("a", (10, 10), 3.2, False),
    Hole("b", (30.5, 20.25), 1.0, True),
    Hole("c", (90, 70), 3.2, False),
)


def ring_of(vertices: Sequence[tuple[float, float, float]]) -> Ring:
    points, circles = flatten(np.array(vertices, dtype=float), closed=True)
    return Ring(Polygon(points), tuple(Circle((x, y), r) for x, y, r in circles.tolist()))


def keepout(kind: str, spine: Any, radius: float = 0.0, **more: Any) -> Keepout:
    return Keepout(kind, kind, spine, radius, (1,), None, 0.5, "test", **more)


KEEPOUTS = (
    keepout("component", shapely.box(10, 20, 20, 28), height=5.0, face="top"),
    keepout("component", shapely.box(10, 20, 20, 28), height=2.5, face="bottom"),
    keepout("component", Point(40, 30), 4.0, height=11.0, face="top"),
    keepout("component", shapely.box(45, 5, 50, 9), face="top"),
    keepout("via", Point(50, 20), 0.4),
    keepout("trace", LineString([(10, 15), (30, 15), (40, 20)]), 0.25),
    keepout("copper", Polygon(shapely.box(2, 2, 68, 38).exterior, [shapely.box(5, 5, 8, 8).exterior])),
    keepout("copper", shapely.box(2, 2, 8, 38)),
    keepout("copper", Polygon([(8, 38), (2, 38), (2, 2), (8, 2)])),
    keepout("hole", Point(10, 10), 1.6),
    keepout("hole", Point(30.5, 20.25), 2.0),
    keepout("hole", LineString([(55, 10), (58, 10)]), 0.5),
    keepout("other", shapely.box(60, 2, 66, 6)),
)


def make_plan(title: str = "Logger half", **changes: Any) -> Plan:
    job = Job.model_validate(
        {
            "job": {"title": title, "revision": "B"},
            "board": {"thickness": THICKNESS, "edge": ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))},
            "cutter": {"kind": "bit", "kerf": KERF, "diameter": KERF},
            "finish": {"sanding": SANDING},
        }
    )
    edge, finished = ring_of(EDGE), ring_of(FINISHED)
    corner, _ = flatten(np.array([(70, 30, QUARTER), (60, 40, 0.0)]), closed=False)
    new = LineString([(70, -2), *corner, (-2, 40)])
    guide, centre, far = (
        new.offset_curve(-d, join_style="mitre", mitre_limit=1e6)
        for d in (SANDING, SANDING + KERF / 2, SANDING + KERF)
    )
    band = Polygon([*guide.coords, *far.coords[::-1]]) & edge.polygon
    probe = Probe("P1", (25, 25), "bottom", "3V3 Ω\nnext\tline\x00")
    values: dict[str, Any] = {
        "board": Board(job, edge, (0.0, 1.6), HOLES, keepouts=KEEPOUTS, probes=(probe,)),
        "finished": finished,
        "cuts": (
            Cut(1, LineString([(70, 0), (70, 30)])),
            Cut(2, LineString(corner), Circle((60, 30), 10)),
            Cut(3, LineString([(60, 40), (0, 40)])),
        ),
        "lines": Lines((guide,), (centre,), MultiPolygon([band]), MultiPolygon([band])),
        "rows": (),
        "minimum": None,
        "inner_minimum": None,
        **dict.fromkeys(
            ("lift", "severed", "exposed", "corners", "set_out", "unknown_layers", "warnings"), ()
        ),
    }
    return Plan(**values | changes)


@pytest.fixture(params=RELEASES)
def release(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def gdal_rows(data: bytes, folder: Path) -> list[tuple[str, Any, str | None]]:
    """Layer, geometry and text of each entity as GDAL reads them; any warning or log line is an error."""
    path = folder / "out.dxf"
    path.write_bytes(data)
    said: list[str] = []
    handler = logging.Handler()
    handler.emit = lambda record: said.append(record.getMessage())  # type: ignore[method-assign]
    logging.getLogger("pyogrio").addHandler(handler)
    # GDAL draws arcs as chords of 4 degrees; a finer step lets its areas be compared.
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.05"})
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            meta, _, geometry, columns = pyogrio.raw.read(path, encoding="utf-8")
    finally:
        logging.getLogger("pyogrio").removeHandler(handler)
        pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": None})
    assert [line for line in said if "Driver DXF" not in line] == []
    fields = dict(zip(meta["fields"], columns, strict=True))
    return list(zip(fields["Layer"], shapely.from_wkb(geometry), fields["Text"], strict=True))


def on(rows: list[tuple[str, Any, str | None]], layer: str) -> list[Any]:
    return [geometry for name, geometry, _ in rows if name == layer]


def inside(data: bytes) -> Any:
    text = data.decode("utf-8" if b"AC1032" in data[:200] else "cp1252")
    return ezdxf.read(io.StringIO(text))  # type: ignore[attr-defined]


def entities(data: bytes, layer: str) -> list[Any]:
    return [e for e in inside(data).modelspace() if e.dxf.layer == layer]


def test_gdal_reads_every_layer_without_a_warning(tmp_path: Path, release: str) -> None:
    rows = gdal_rows(to_dxf(make_plan(), release), tmp_path)
    assert {name for name, _, _ in rows} == set(LAYERS)


def test_areas_that_gdal_reads_are_those_of_the_plan(tmp_path: Path, release: str) -> None:
    straight = [(0, 0, 0), (70.3, 0, 0), (51.7, 37.9, 0), (0, 40, 0)]
    plan = make_plan(finished=ring_of(straight))
    (ring,) = on(gdal_rows(to_dxf(plan, release), tmp_path), "FINISHED")
    assert ring.is_closed
    assert Polygon(ring).area == pytest.approx(plan.finished.polygon.area, rel=1e-6)


def test_arcs_reach_gdal_as_arcs_and_not_as_chords(tmp_path: Path, release: str) -> None:
    rows = gdal_rows(to_dxf(make_plan(), release), tmp_path)
    (ring,) = on(rows, "FINISHED")
    assert Polygon(ring).area == pytest.approx(FINISHED_AREA, rel=1e-6)
    (edge,) = on(rows, "BOARD")
    assert Polygon(edge).area == pytest.approx(100 * 80 - 4 * 9 * (1 - pi / 4), rel=1e-6)


def test_outlines_have_as_many_sides_as_they_were_drawn_with(release: str) -> None:
    data = to_dxf(make_plan(), release)
    for layer, sides, arcs in [("FINISHED", 6, 2), ("BOARD", 8, 4)]:
        (line,) = entities(data, layer)
        assert line.is_closed
        bulges = bulges_of(line)
        assert len(bulges) == sides
        assert sorted(b for b in bulges if b) == pytest.approx([QUARTER] * arcs, abs=1e-9)


def bulges_of(line: Any) -> list[float]:
    if line.dxftype() == "LWPOLYLINE":
        return [b for *_, b in line.get_points("xyb")]
    return [v.dxf.bulge if v.dxf.hasattr("bulge") else 0.0 for v in line.vertices]


def test_lines_beside_an_arc_are_arcs_about_the_same_centre(release: str) -> None:
    data = to_dxf(make_plan(), release)
    for layer, count in [("GUIDE", 1), ("TOOL_CENTRE", 1), ("KERF", 2)]:
        (line,) = entities(data, layer)
        assert line.is_closed == (layer == "KERF")
        curved = [b for b in bulges_of(line) if b]
        assert len(curved) == count
        # The mitres of the flattened arc's ends leave a straight stub of some hundredths of a mm.
        assert np.abs(curved) == pytest.approx(QUARTER, rel=0.03)


def test_holes_are_circles_at_their_centres_and_drawn_once(tmp_path: Path, release: str) -> None:
    data = to_dxf(make_plan(), release)
    circles = [e for e in entities(data, "HOLES") if e.dxftype() == "CIRCLE"]
    assert [(*e.dxf.center.vec2, 2 * e.dxf.radius) for e in circles] == [(*h.at, h.diameter) for h in HOLES]
    found = [Polygon(g) for g in on(gdal_rows(data, tmp_path), "HOLES")][:3]
    assert np.allclose([(p.centroid.x, p.centroid.y) for p in found], [h.at for h in HOLES], atol=1e-6)


def test_a_component_is_a_closed_polyline_with_its_height_at_its_face(release: str) -> None:
    lines = entities(to_dxf(make_plan(), release), "KEEPOUT_COMPONENT")
    parts = [e for e in lines if e.dxftype() != "CIRCLE"]
    assert all(e.is_closed for e in parts)
    heights = [(elevation(e), e.dxf.thickness) for e in parts]
    assert heights == [(0, 5.0), (-THICKNESS, -2.5), (0, 11.0), (0, 0), (0, 0)]
    assert bulges_of(parts[2]) == [1.0, 1.0]  # a round part: two half circles
    # The room around a board hole is kept clear, but is no hole to drill.
    assert [(tuple(e.dxf.center.vec2), e.dxf.radius) for e in lines if e.dxftype() == "CIRCLE"] == [
        ((30.5, 20.25), 2.0)
    ]


def elevation(line: Any) -> float:
    return float(line.dxf.elevation if line.dxftype() == "LWPOLYLINE" else line.dxf.elevation.z)


def test_gdal_finds_a_bottom_part_at_the_bottom_face(tmp_path: Path, release: str) -> None:
    rows = gdal_rows(to_dxf(make_plan(), release), tmp_path)
    # A line at elevation 0 may come without z.
    first = [shapely.get_coordinates(g, include_z=True)[0, 2] for g in on(rows, "KEEPOUT_COMPONENT")]
    heights = np.nan_to_num(first).tolist()
    assert heights.count(-THICKNESS) == 1
    assert heights.count(0.0) == len(heights) - 1


def test_copper_keeps_its_circles_round_ends_and_windows(tmp_path: Path, release: str) -> None:
    data = to_dxf(make_plan(), release)
    copper = entities(data, "KEEPOUT_COPPER")
    assert [e.dxftype() for e in copper].count("CIRCLE") == 1
    trace = copper[1]
    # Two round ends, and one join where the path turns.
    assert sorted(bulges_of(trace))[-2:] == pytest.approx([1.0, 1.0], abs=1e-9)
    area = Polygon(on(gdal_rows(data, tmp_path), "KEEPOUT_COPPER")[1]).area
    length, turn = 20 + 125**0.5, np.arctan2(5, 10)
    # Offset formulas: straight runs, two half discs, and a sector less the overlap at the join.
    exact = length * 0.5 + pi * 0.25**2 + (turn / 2 - np.tan(turn / 2)) * 0.25**2
    assert area == pytest.approx(exact, rel=1e-6)


def test_nothing_lies_on_its_double_and_nothing_outside_the_named_layers(release: str) -> None:
    data = to_dxf(make_plan(), release)
    document = inside(data)
    assert {e.dxf.layer for e in document.modelspace()} == set(LAYERS)
    # The library adds a layer of its own when it reads, so look at the bytes for that one.
    assert {layer.dxf.name for layer in document.layers} - {"Defpoints"} == {*LAYERS, "0"}
    assert b"Defpoints" not in data
    assert [len(layout) for layout in document.layouts if layout.name != "Model"] == [0]
    copper = [e for e in document.modelspace() if e.dxf.layer == "KEEPOUT_COPPER"]
    assert len(copper) == 5  # via, trace, area and its window, and one of the two that are the same


@pytest.mark.parametrize("title", ["Logger half", ODD, "x" * 200])
def test_the_auditor_finds_nothing_and_units_are_millimetres(title: str, release: str) -> None:
    document = inside(to_dxf(make_plan(title), release))
    auditor = document.audit()
    assert auditor.errors == []
    assert auditor.fixes == []
    assert (document.header["$INSUNITS"], document.header["$MEASUREMENT"]) == (4, 1)
    assert document.dxfversion == {"R2018": "AC1032", "R12": "AC1009"}[release]


def test_outlines_are_light_weight_polylines_and_old_ones_for_old_programs() -> None:
    kinds = {e.dxftype() for e in inside(to_dxf(make_plan())).modelspace()}
    assert kinds == {"LWPOLYLINE", "CIRCLE", "POINT", "TEXT"}
    kinds = {e.dxftype() for e in inside(to_dxf(make_plan(), "R12")).modelspace()}
    assert kinds == {"POLYLINE", "CIRCLE", "POINT", "TEXT"}


def test_odd_characters_stay_text(tmp_path: Path, release: str) -> None:
    data = to_dxf(make_plan(ODD), release)
    notes = [text for name, _, text in gdal_rows(data, tmp_path) if name == "NOTES"]
    assert "quo'te" in str(notes[0])
    (label,) = [text for name, _, text in gdal_rows(data, tmp_path) if name == "PROBES" and text]
    assert "next line , bottom face" in label
    assert not any("\n" in str(text) for text in [*notes, label])
    # Read as a text, without the codes that a title must not smuggle in: the title again.
    title = decode_dxf_unicode(entities(data, "NOTES")[0].plain_text())
    last = "\N{GRINNING FACE}" if release == "R2018" else "?"
    assert title == f'Ω % 5% % d ^J "quo\'te" \\ U+0041 {last} end'


def test_the_notes_say_title_units_frame_and_cautions() -> None:
    words = " / ".join(e.dxf.text for e in entities(to_dxf(make_plan()), "NOTES"))
    for needed in ("Logger half", "revision: B", "millimetres", "z = 0", "-1.6", "dust", "lithium"):
        assert needed in words
    assert "variant" not in words


def test_another_release_is_refused() -> None:
    with pytest.raises(JobError, match="R2018 or R12"):
        to_dxf(make_plan(), "R2000")


def test_round_trip_gives_the_ring_back_with_its_arcs(tmp_path: Path, release: str) -> None:
    plan = make_plan()
    path = tmp_path / "outline.dxf"
    path.write_bytes(to_dxf(plan, release))
    for layer, ring in [("FINISHED", plan.finished), ("BOARD", plan.board.edge)]:
        (shape,) = read_shapes(path, layer, "test")
        assert shape.ring.polygon.normalize().equals_exact(ring.polygon.normalize(), 1e-9)
        mine, theirs = (
            sorted(tuple(np.round([*c.centre, c.radius], 6).tolist()) for c in circles)
            for circles in (shape.ring.circles, ring.circles)
        )
        assert mine == theirs
    assert [s.disc for s in read_shapes(path, "HOLES", "test")][:3] == [
        Circle(pytest.approx(h.at), pytest.approx(h.diameter / 2))  # type: ignore[arg-type]
        for h in HOLES
    ]


def test_a_round_board_comes_back_as_a_circle(tmp_path: Path, release: str) -> None:
    disc = ring_of([(0, 20, 1.0), (40, 20, 1.0)])
    plan = make_plan(finished=disc)
    (tmp_path / "o.dxf").write_bytes(to_dxf(plan, release))
    (shape,) = read_shapes(tmp_path / "o.dxf", "FINISHED", "test")
    assert shape.disc is not None
    assert (*shape.disc.centre, shape.disc.radius) == pytest.approx((20, 20, 20))


def test_a_closed_guide_line_is_closed(release: str) -> None:
    loop = LineString(shapely.box(20, 20, 60, 35).exterior.coords)
    plan = make_plan(lines=Lines((loop,), (), MultiPolygon(), MultiPolygon()))
    (line,) = entities(to_dxf(plan, release), "GUIDE")
    assert line.is_closed
    assert len(line) == 4


@pytest.fixture(scope="module")
def bytes_elsewhere() -> Iterator[list[bytes]]:
    """The DXF as written by processes of other hash seeds, time zones and locales."""
    script = textwrap.dedent(
        """
        import sys, importlib.util
        spec = importlib.util.spec_from_file_location("plans", sys.argv[1])
        plans = importlib.util.module_from_spec(spec)
        sys.modules["plans"] = plans
        spec.loader.exec_module(plans)
        for release in plans.RELEASES:
            sys.stdout.buffer.write(plans.to_dxf(plans.make_plan(plans.ODD), release))
        """
    )
    found = []
    for seed, zone in [("0", "UTC"), ("1", "Asia/Kolkata"), ("4242", "America/Lima")]:
        surroundings = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": "C"}
        done = subprocess.run(
            [sys.executable, "-c", script, __file__], capture_output=True, env=surroundings, check=True
        )
        assert done.stderr == b""
        found.append(done.stdout)
    yield found


def test_the_same_plan_gives_the_same_bytes_in_any_process(bytes_elsewhere: list[bytes]) -> None:
    here = b"".join(to_dxf(make_plan(ODD), release) for release in RELEASES)
    assert [data == here for data in bytes_elsewhere] == [True, True, True]


def test_no_date_and_no_random_identifier_is_in_the_file(release: str) -> None:
    # From the bytes: the library dates and names a file anew when it reads one.
    text = to_dxf(make_plan(), release).decode("utf-8" if release == "R2018" else "cp1252")
    if release == "R2018":
        for key in ("$TDCREATE", "$TDUPDATE", "$TDUCREATE", "$TDUUPDATE"):
            assert text.split(key)[1].split("\n")[2] == "2451545.0"  # 2000-01-01
        assert (
            text.split("$VERSIONGUID")[1].split("\n")[2] == text.split("$FINGERPRINTGUID")[1].split("\n")[2]
        )
    assert "@ 202" not in text


def test_the_library_is_left_as_it_was_found() -> None:
    before = ezdxf.options.write_fixed_meta_data_for_testing  # type: ignore[attr-defined]
    to_dxf(make_plan())
    assert ezdxf.options.write_fixed_meta_data_for_testing == before  # type: ignore[attr-defined]
    assert not logging.getLogger("ezdxf").disabled
