from __future__ import annotations

import importlib.util
import subprocess
import sys
import zlib
from functools import cache
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import shapely
from PIL import Image

import trimgeo
from trimgeo.model.job import Job, KeepoutTable
from trimgeo.model.plan import Plan

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
GREENHOUSE = SAMPLES / "greenhouse"
VARIANTS = ("display", "bare")
PICTURES = ("scan-top", "scan-bottom", "inner-2", "inner-3")
READING = 0.5
"""How far from the truth, in pixels, a person's reading of a position is meant to be at most."""

XY = tuple[float, float]


@cache
def drawing() -> ModuleType:
    """The script that drew the pictures, loaded as a file: it is no part of the package."""
    spec = importlib.util.spec_from_file_location("draw_greenhouse", SAMPLES / "draw_greenhouse.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up there
    spec.loader.exec_module(module)
    return module


@cache
def truth() -> Any:
    return drawing().truth()


@cache
def job(variant: str) -> Job:
    return trimgeo.load(GREENHOUSE, variant=variant)


@cache
def plan(variant: str) -> Plan:
    return trimgeo.plan(trimgeo.prepare(job(variant)))


def picture(name: str) -> Any:
    return next(each for each in truth().pictures if each.name == name)


def test_the_script_draws_the_same_files_again() -> None:
    """The pixels must be equal; the bytes too, unless this Python packs with another deflate."""
    usual_zlib = "ng" not in zlib.ZLIB_RUNTIME_VERSION  # such as "1.3.1.zlib-ng"
    for each in truth().pictures:
        drawn = drawing().picture(each)
        kept = np.asarray(Image.open(GREENHOUSE / each.file)).reshape(drawn.shape)
        assert np.array_equal(drawn, kept), f"{each.file}: pixels differ"
        if usual_zlib:
            data = drawing().png(drawn, each.dpi)
            assert data == (GREENHOUSE / each.file).read_bytes(), f"{each.file}: bytes differ"


@pytest.mark.parametrize("name", PICTURES)
def test_an_independent_reader_finds_the_resolution_that_was_drawn(name: str) -> None:
    with Image.open(GREENHOUSE / f"{name}.png") as image:
        assert image.size == picture(name).size
        found = image.info.get("dpi")
    # pHYs counts whole pixels per metre: 300 dpi is 11811.02 of them
    assert (found is None) if picture(name).dpi is None else found == pytest.approx((300, 300), abs=0.002)


@pytest.mark.parametrize("name", PICTURES)
def test_each_mounting_hole_is_drawn_where_the_truth_says(name: str) -> None:
    """Judged by brightness, as a person would: the middle of the light that a hole lets through."""
    grey = np.asarray(Image.open(GREENHOUSE / f"{name}.png").convert("L"), dtype=float)
    level, per_mm = (115.0, 11.8) if name.startswith("scan") else (155.0, 9.8)
    for hole in truth().holes:
        u, v = picture(name).to_pixel(hole.at)
        reach = (hole.diameter / 2 + 0.2) * per_mm
        rows, columns = np.mgrid[int(v - reach) : int(v + reach) + 2, int(u - reach) : int(u + reach) + 2]
        light = (grey[rows, columns] > level) & (np.hypot(columns - u, rows - v) < reach)
        assert light.sum() == pytest.approx(np.pi * (hole.diameter / 2 * per_mm) ** 2, rel=0.05)
        # the rim's shading pulls the middle by about a fifth of a pixel (0.02 mm) in a scan
        assert (columns[light].mean(), rows[light].mean()) == pytest.approx((u, v), abs=0.3), hole.name


@pytest.mark.parametrize("name", PICTURES)
def test_pixel_maps_go_there_and_back(name: str) -> None:
    for point in truth().edge:
        assert picture(name).to_board(picture(name).to_pixel(point)) == pytest.approx(point, abs=1e-9)


def test_a_skew_stays_under_a_degree_and_a_half() -> None:
    for each in truth().pictures:
        (a, b), (c, d) = each.to_pixel((0.0, 0.0)), each.to_pixel((140.0, 0.0))
        assert abs(np.degrees(np.arctan2(d - b, abs(c - a)))) < 1.5


def test_the_bottom_scan_is_seen_from_below() -> None:
    assert picture("scan-bottom").to_pixel((0.0, 0.0))[0] > picture("scan-bottom").to_pixel((140.0, 0.0))[0]
    assert picture("scan-top").to_pixel((0.0, 0.0))[0] < picture("scan-top").to_pixel((140.0, 0.0))[0]


def true_shape(name: str) -> tuple[tuple[XY, ...], float]:
    """The points of the true thing that a keep-out or part of the job is named after, and its width."""
    real = truth()
    for trace in real.traces:
        if trace.name == name:
            return trace.points, trace.width
    for plane in real.planes:
        if name in (plane.name, f"{plane.name} plane"):
            return plane.points, 0.0
    for round_one in (*real.vias, *real.holes):
        if name.split()[0] == round_one.name:
            return (round_one.at,), round_one.diameter
    part = next(part for part in real.parts if part.name == name.split()[0])
    return ((part.at,), part.size[0]) if part.round else (part.corners, 0.0)


def written_shape(entry: Any) -> tuple[tuple[XY, ...], float]:
    if entry.circle is not None:
        return (entry.circle.at,), entry.circle.diameter
    if getattr(entry, "path", None) is not None:
        return entry.path.points, entry.path.width
    return entry.polygon, 0.0


def everything_marked() -> list[Any]:
    entries: list[Any] = [e for v in VARIANTS for e in (*job(v).keepout, *job(v).lift, *job(v).part)]
    return [entry for entry in entries if entry.name != "coin cell"]  # its holder is what was drawn


def test_every_marked_thing_lies_within_half_a_pixel_of_the_truth() -> None:
    for entry in everything_marked():
        true_points, true_width = true_shape(entry.name)
        points, width = written_shape(entry)
        assert width == true_width and len(points) == len(true_points), entry.name
        if entry.on is None:
            assert points == pytest.approx(np.array(true_points)), entry.name
            continue
        seen = np.array([picture(entry.on).to_pixel(point) for point in true_points])
        off = np.hypot(*(seen - np.array(points)).T).max()
        assert off <= READING, f"{entry.name}: {off:.2f} px off"


def test_pixels_are_read_to_half_a_pixel_and_so_not_exact() -> None:
    pixels = [p for e in everything_marked() if e.on is not None for p in written_shape(e)[0]]
    assert np.all(np.mod(np.array(pixels) * 2, 1) == 0)


def test_board_and_holes_of_the_job_are_the_true_ones() -> None:
    written, real = job("bare").board, truth()
    assert written.edge == real.edge
    assert (written.thickness, written.depths) == (real.thickness, real.depths)
    assert [(h.name, h.at, h.diameter, h.plated) for h in written.holes] == [
        (h.name, h.at, h.diameter, h.plated) for h in real.holes
    ]


def test_scale_points_and_places_of_the_job_lie_within_half_a_pixel_of_the_truth() -> None:
    for view in job("bare").view:
        seen = picture(view.name)
        pairs = [(p.pixel, p.at) for p in getattr(view.scale, "points", ())]
        if view.place is not None:
            pairs += [(view.place.origin, (0.0, 0.0)), (view.place.along, (140.0, 0.0))]
        assert pairs
        for pixel, at in pairs:
            assert np.hypot(*np.subtract(seen.to_pixel(at), pixel)) <= READING, view.name


def test_caliper_checks_of_the_job_agree_with_the_truth() -> None:
    for view in job("bare").view:
        for check in view.checks:
            here, there = (picture(view.name).to_board(pixel) for pixel in (check.from_, check.to))
            assert np.hypot(*np.subtract(here, there)) == pytest.approx(check.length, abs=0.1)


def test_probes_of_the_job_are_the_test_pads() -> None:
    for probe, pad in zip(job("bare").probe, truth().test_pads, strict=True):
        assert probe.on is not None
        assert (probe.name, probe.face, probe.rail) == (pad.name, pad.face, pad.net)
        assert np.hypot(*np.subtract(picture(probe.on).to_pixel(pad.at), probe.at)) <= READING


def true_clearance(entry: KeepoutTable, finished: shapely.Polygon) -> float:
    """Distance from the true thing to the new edges: those off the true board edge."""
    points, width = true_shape(entry.name)
    body: Any = shapely.Point(points[0]) if len(points) == 1 else shapely.LineString(points)
    if entry.polygon is not None:
        body = shapely.Polygon(points)
    board_edge = shapely.Polygon(truth().edge).exterior
    ring = list(finished.exterior.coords)
    sides = [shapely.LineString(pair) for pair in pairwise(ring)]
    new = [side for side in sides if not board_edge.buffer(0.05).covers(side)]
    return float(shapely.distance(body, shapely.MultiLineString(new))) - width / 2


def is_inner_copper(entry: KeepoutTable) -> bool:
    inner = entry.layers is None or bool({2, 3} & set(entry.layers))
    return entry.kind in ("trace", "via", "copper", "pad") and inner and not entry.may_cut


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_outline_of_each_variant_is_clear_with_four_cuts_and_keeps_two_edges(variant: str) -> None:
    answer = plan(variant)
    assert answer.state == "clear"
    assert len(answer.cuts) == 4
    kept = shapely.LineString([(0.0, 24.0), (0.0, 82.0), (8.0, 90.0), (70.0, 90.0)])
    assert answer.finished.polygon.exterior.buffer(1e-6).covers(kept)


def test_the_board_without_the_display_is_smaller() -> None:
    assert plan("bare").finished.polygon.area < plan("display").finished.polygon.area - 500


@pytest.mark.parametrize("variant", VARIANTS)
def test_least_clearance_to_inner_copper_is_the_true_one_within_its_uncertainty(variant: str) -> None:
    answer = plan(variant)
    least = answer.inner_minimum
    assert least is not None and least.nominal is not None
    entries = [entry for entry in job(variant).keepout if is_inner_copper(entry)]
    true_least = min(true_clearance(entry, answer.finished.polygon) for entry in entries)
    assert least.nominal == pytest.approx(true_least, abs=least.uncertainty)
    assert least.nominal == pytest.approx(true_least, abs=0.1)  # a reading of half a pixel is 0.05 mm


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_clearance_is_the_true_one_within_its_uncertainty(variant: str) -> None:
    answer = plan(variant)
    for entry, row in zip(job(variant).keepout, answer.rows, strict=True):
        if not entry.may_cut:
            assert row.nominal is not None
            expected = true_clearance(entry, answer.finished.polygon)
            assert row.nominal == pytest.approx(expected, abs=row.uncertainty), entry.name


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_nearest_inner_trace_moved_a_fifth_of_a_millimetre_changes_the_least_clearance_by_as_much(
    variant: str,
) -> None:
    """The line is held as it was built, and the trace moves square to it, in pixels of its picture."""
    built = plan(variant)
    held = job(variant).outline
    assert held is not None and built.inner_minimum is not None and built.inner_minimum.nominal is not None
    points = tuple(built.finished.polygon.exterior.coords[:-1])
    fixed = job(variant).model_copy(
        update={"outline": held.model_copy(update={"points": points, "build": None})}
    )
    (trace,) = (entry for entry in fixed.keepout if entry.name == built.inner_minimum.name)
    to_board = next(view for view in built.board.views if view.name == trace.on).to_board
    assert trace.path is not None
    line = to_board.to_mm(trace.path.points)
    cuts = shapely.MultiLineString([cut.line for cut in built.cuts])
    (here, there) = shapely.get_coordinates(shapely.shortest_line(shapely.LineString(line), cuts))
    pixels = to_board.to_pixels(line + 0.2 * (there - here) / np.hypot(*(there - here)))
    moved = trace.model_copy(
        update={"path": trace.path.model_copy(update={"points": tuple(map(tuple, pixels))})}
    )
    keepouts = tuple(moved if entry.name == trace.name else entry for entry in fixed.keepout)
    after = trimgeo.plan(trimgeo.prepare(fixed.model_copy(update={"keepout": keepouts}))).inner_minimum
    assert after is not None and after.name == trace.name
    assert after.nominal == pytest.approx(built.inner_minimum.nominal - 0.2, abs=1e-6)
    assert after.state == "tight"


@pytest.mark.parametrize("variant", VARIANTS)
def test_what_stands_in_the_band_is_lifted_and_planes_are_severed(variant: str) -> None:
    answer = plan(variant)
    lifted = {lift.name for lift in answer.lift}
    assert {"K1 pump relay", "X4 supply terminal", "C10 capacitor", "coin cell"} <= lifted
    assert "J6 flow connector" not in lifted  # a part may be lost, but this one is not in the way
    assert ("J5 display connector" in lifted) == (variant == "bare")
    assert {"GND", "3V3", "PUMP", "FLOW"} == {severed.net for severed in answer.severed}


def test_the_plain_job_needs_no_picture_and_is_clear() -> None:
    written = trimgeo.load(SAMPLES / "plain")
    lines = (SAMPLES / "plain" / "job.toml").read_text(encoding="utf-8").splitlines()
    assert not written.view
    assert sum(1 for line in lines if line and not line.startswith("#")) <= 10
    answer = trimgeo.plan(trimgeo.prepare(written))
    # the cut (36, 0)-(30, 40) passes the corner (28, 30) of U1 at 3.5 * 40 / sqrt(36 + 1600)
    assert answer.rows[0].nominal == pytest.approx(3.5 * 40 / 1636**0.5, abs=1e-9)
    assert answer.state == "clear"


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_command_answers_the_sample_with_status_zero(variant: str) -> None:
    words = [sys.executable, "-m", "trimgeo", "check", str(GREENHOUSE), "--variant", variant]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "CLEAR" in done.stdout
