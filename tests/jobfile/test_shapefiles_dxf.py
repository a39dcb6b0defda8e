"""Shapes out of DXF files, and what becomes of damaged files of either kind."""

from __future__ import annotations

import io
import itertools
import os
import subprocess
import sys
import warnings
from collections.abc import Callable
from math import pi, tan
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from shapely import Polygon, affinity

from trimgeo.errors import JobError
from trimgeo.jobfile.shapefiles import Shape, read_shapes
from trimgeo.model.board import Circle

QUARTER = tan(pi / 8)


def drawn(folder: Path, draw: Callable[[Any], object], release: str = "R2018", units: int = 4) -> Path:
    document = ezdxf.new(release, units=units)  # type: ignore[attr-defined]
    draw(document.modelspace())
    stream = io.StringIO()
    document.write(stream)
    path = folder / "drawn.dxf"
    path.write_bytes(document.encode(stream.getvalue()))
    return path


def shapes(
    folder: Path, draw: Callable[[Any], object], layer: str | None = None, **how: Any
) -> tuple[Shape, ...]:
    return read_shapes(drawn(folder, draw, **how), layer, "job.toml, [outline], file")


def refusal(folder: Path, draw: Callable[[Any], object], layer: str | None = None, **how: Any) -> str:
    with pytest.raises(JobError) as caught:
        shapes(folder, draw, layer, **how)
    assert str(caught.value).startswith("job.toml, [outline], file: drawn.dxf: ")
    assert "\n" not in str(caught.value)
    return str(caught.value)


def ring(space: Any, points: Any, **attributes: Any) -> Any:
    return space.add_lwpolyline(points, format="xyb", close=True, dxfattribs=attributes)


BOX = [(0, 0), (30, 0), (30, 20), (0, 20)]
SIDES = list(itertools.pairwise([*BOX, BOX[0]]))


@pytest.mark.parametrize("release", ["R12", "R2000", "R2018"])
def test_the_same_slot_drawn_in_four_ways_is_the_same_ring(tmp_path: Path, release: str) -> None:
    vertices = [(0, 0, 0), (20, 0, 1), (20, 6, 0), (0, 6, 1)]

    def as_polyline(space: Any) -> None:
        if release == "R12":
            space.add_polyline2d(vertices, format="xyb", close=True)
        else:
            ring(space, vertices)

    def as_parts(space: Any) -> None:
        space.add_line((0, 0), (20, 0))
        space.add_arc((0, 3), 3, 90, 270)
        space.add_line((20, 6), (0, 6))
        space.add_arc((20, 3), 3, 270, 90)

    def from_above_and_below(space: Any) -> None:
        # Extrusion -z: the plane seen from below, x runs the other way (DXF object coordinates).
        space.add_arc((-20, 3), 3, 90, 270, dxfattribs={"extrusion": (0, 0, -1)})
        space.add_line((20, 0), (0, 0))
        space.add_line((20, 6), (0, 6))
        space.add_arc((0, 3), 3, 90, 270)

    def in_a_block(space: Any) -> None:
        block = space.doc.blocks.new("SLOT")
        block.add_line((0, 0), (10, 0))
        block.add_arc((0, 1.5), 1.5, 90, 270)
        block.add_line((10, 3), (0, 3))
        block.add_arc((10, 1.5), 1.5, 270, 90)
        space.add_blockref("SLOT", (20, 6), dxfattribs={"xscale": 2, "yscale": 2, "rotation": 180})

    expected = None
    for draw in (as_polyline, as_parts, from_above_and_below, in_a_block):
        (shape,) = shapes(tmp_path, draw, release=release)
        assert sorted(tuple(np.round((*c.centre, c.radius), 6) + 0.0) for c in shape.ring.circles) == [
            (0, 3, 3),
            (20, 3, 3),
        ]
        # Area of the slot less the chords' share.
        assert shape.ring.polygon.area == pytest.approx(20 * 6 + 9 * pi, abs=0.005 * 6 * pi)
        assert shape.ring.polygon.exterior.is_ccw
        expected = expected or shape.ring.polygon.normalize()
        assert shape.ring.polygon.normalize().equals_exact(expected, 1e-6)


@pytest.mark.parametrize(
    ("units", "mm"),
    # $INSUNITS, DXF reference, from memory.
    [(0, 1), (1, 25.4), (2, 304.8), (4, 1), (5, 10), (6, 1000), (9, 0.0254), (13, 0.001), (14, 100)],
)
def test_units_are_those_of_the_header(tmp_path: Path, units: int, mm: float) -> None:
    points = [(x / mm, y / mm, 0) for x, y in BOX]
    (shape,) = shapes(tmp_path, lambda space: ring(space, points), units=units)
    assert shape.ring.polygon.equals_exact(Polygon(BOX), 1e-9)


def test_inches_that_make_no_board_are_refused_with_the_fix(tmp_path: Path) -> None:
    message = refusal(tmp_path, lambda space: ring(space, [(x, y, 0) for x, y in [*BOX, (0, 50)]]), units=1)
    assert "its header says inches" in message
    assert "1270 mm" in message
    assert "set its $INSUNITS to 4" in message
    assert "unit 3" in refusal(
        tmp_path, lambda space: ring(space, [(0, 0, 0), (1, 0, 0), (0, 1, 0)]), units=3
    )


def test_a_circle_is_exact(tmp_path: Path) -> None:
    (shape,) = shapes(tmp_path, lambda space: space.add_circle((10.1, 20.3), 3.7))
    assert shape.disc == Circle((10.1, 20.3), 3.7)
    assert shape.ring.circles == (shape.disc,)


def test_ellipses_and_splines_are_flattened(tmp_path: Path) -> None:
    whole, half, curve = shapes(
        tmp_path,
        lambda space: (
            space.add_ellipse((0, 0), (20, 0), 0.5),
            space.add_ellipse((100, 0), (0, 20), 0.5, 0, pi),
            space.add_line((100, -20), (100, 20)),
            # A parabola from (0, 50) to (20, 50): two thirds of its box (Archimedes).
            space.add_open_spline([(0, 50), (10, 70), (20, 50)], degree=2),
            space.add_line((0, 50), (20, 50)),
        ),
    )
    for shape, area in [(whole, 200 * pi), (half, 100 * pi), (curve, 20 * 10 * 2 / 3)]:
        assert shape.ring.polygon.area == pytest.approx(area, abs=0.005 * shape.ring.polygon.length)
        assert shape.ring.circles == ()
        assert shape.disc is None


def test_a_stretched_circle_in_a_block_is_an_ellipse(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.doc.blocks.new("DOT").add_circle((0, 0), 5)
        space.add_blockref("DOT", (50, 50), dxfattribs={"xscale": 2, "yscale": 1})

    (shape,) = shapes(tmp_path, draw)
    assert shape.disc is None
    assert shape.ring.polygon.bounds == pytest.approx((40, 45, 60, 55), abs=0.005)


@pytest.mark.parametrize(("across", "up"), [(1, 1), (-1, 1), (1, -1), (-1, -1), (2, 1), (-1, 3)])
def test_a_block_may_be_mirrored_and_stretched(tmp_path: Path, across: float, up: float) -> None:
    # A D of radius 5 with a notch: unlike its mirror image either way.
    vertices = [(0, 0, 0), (4, 0, 0), (4, 1, 0), (6, 1, 0), (6, 0, 0), (10, 0, 1.0), (10, 10, 0), (0, 10, 0)]

    def draw(space: Any) -> None:
        ring(space.doc.blocks.new("D"), vertices)
        space.add_blockref("D", (20, 30), dxfattribs={"xscale": across, "yscale": up})

    (plain,) = shapes(tmp_path, lambda space: ring(space, vertices))
    (placed,) = shapes(tmp_path, draw)
    moved = affinity.translate(affinity.scale(plain.ring.polygon, across, up, origin=(0, 0)), 20, 30)
    assert placed.ring.polygon.hausdorff_distance(moved) <= 0.005 * (1 + max(abs(across), abs(up)))
    assert len(placed.ring.circles) == (1 if abs(across) == abs(up) else 0)


def test_blocks_in_rows_and_columns_and_blocks_in_blocks(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        inner = space.doc.blocks.new("PIN")
        ring(inner, [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], layer="0")
        space.doc.blocks.new("ROW").add_blockref(
            "PIN", (0, 0), dxfattribs={"column_count": 3, "column_spacing": 5, "layer": "0"}
        )
        space.add_blockref("ROW", (100, 10), dxfattribs={"rotation": 90, "layer": "PINS"})

    # What lies on layer 0 of a block lies on the layer of its insert.
    found = shapes(tmp_path, draw, "pins")
    assert [s.ring.polygon.bounds for s in found] == [
        pytest.approx((99, 10 + 5 * n, 100, 11 + 5 * n), abs=1e-9) for n in range(3)
    ]
    assert [s.label for s in found] == ["PINS:1", "PINS:2", "PINS:3"]


def test_shapes_come_in_file_order_with_chains_where_they_begin(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        sides = list(itertools.pairwise([*BOX, BOX[0]]))
        space.add_line(*sides[0], dxfattribs={"layer": "A"})
        space.add_circle((80, 0), 2, dxfattribs={"layer": "B"})
        for side in reversed(sides[1:]):
            space.add_line(*side, dxfattribs={"layer": "A"})

    assert [s.label for s in shapes(tmp_path, draw)] == ["A:1", "B:1"]


def test_results_do_not_depend_on_the_hash_seed(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        for n in range(12):
            for start, end in itertools.pairwise([(n, 0), (n + 0.5, 0), (n, 1), (n, 0)]):
                space.add_line(start, end, dxfattribs={"layer": f"L{n % 3}"})

    path = drawn(tmp_path, draw)
    script = "import sys, pathlib; from trimgeo.jobfile.shapefiles import read_shapes as r;"
    script += "print([(s.label, s.ring.polygon.wkt) for s in r(pathlib.Path(sys.argv[1]), None, 'p')])"
    out = {
        subprocess.run(
            [sys.executable, "-c", script, path],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("0", "77")
    }
    assert len(out) == 1


def test_the_library_says_nothing(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = drawn(tmp_path, lambda space: ring(space, [(x, y, 0) for x, y in BOX]))
    data = path.read_bytes()
    (tmp_path / "odd.dxf").write_bytes(
        data.replace(b"  8\n0\n", b"  8\nno*such|layer\n", 1).replace(b"AC1032", b"AC1099")
    )
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for name in ("drawn.dxf", "odd.dxf"):
            try:
                read_shapes(tmp_path / name, None, "place")
            except JobError as error:
                assert str(error)
    assert capfd.readouterr() == ("", "")


def gap(space: Any) -> None:
    space.add_line((0, 0), (10, 0))
    space.add_line((10, 0), (10, 10))
    space.add_line((10, 10), (0.0, 0.3))


def nested_in_itself(space: Any) -> None:
    space.doc.blocks.new("A").add_blockref("B", (0, 0))
    space.doc.blocks.new("B").add_blockref("A", (0, 0))
    space.add_blockref("A", (0, 0))


def doubling(space: Any) -> None:
    space.doc.blocks.new("B0").add_circle((0, 0), 1)
    for n in range(1, 14):
        block = space.doc.blocks.new(f"B{n}")
        for x in range(4):
            block.add_blockref(f"B{n - 1}", (x, 0))
    space.add_blockref("B13", (0, 0))


@pytest.mark.parametrize(
    ("draw", "words"),
    [
        (gap, "a gap of 0.3 mm between (0.000, 0.000) and (0.000, 0.300)"),
        (lambda s: [s.add_line((0, 0), (x, 9)) for x in range(3)], "do not close"),
        (
            lambda s: ring(s, [(0, 0, 0), (9, 9, 0), (9, 0, 0), (0, 9, 0)]),
            "crosses or touches itself at (4.500, 4.500)",
        ),
        (lambda s: ring(s, [(0, 0, 0), (9, 9, 0)]), "fewer than three points"),
        (lambda s: ring(s, [(0, 0, 0), (2000, 0, 0), (0, 9, 0)]), "is 2000 mm wide or high"),
        (lambda s: ring(s, [(0, 0, 0), (1e300, 0, 0), (0, 9, 0)]), "more than 10 m"),
        (lambda s: ring(s, [(0, 0, 1e12), (9, 0, 0), (0, 9, 0)]), "more than 10 m"),
        (lambda s: s.add_circle((1e6, 0), 3), "more than 10 m"),
        (lambda s: s.add_circle((float("nan"), 0), 3), "not a number"),
        (lambda s: s.add_circle((0, 0), float("inf")), "not a number"),
        (lambda s: s.add_circle((0, 0), -3), "radius -3"),
        (lambda s: s.add_ellipse((0, 0), (1e200, 0), 0.5), "not a number"),
        (lambda s: s.add_open_spline([(0, 0), (1e200, 5), (9, 9), (0, 9)]), "not a number"),
        (lambda s: s.add_circle((0, 0), 3, dxfattribs={"extrusion": (1, 0, 1)}), "tilted CIRCLE"),
        (lambda s: s.add_solid([(0, 0), (9, 0), (0, 9)]), 'SOLID on layer "0", which has no outline'),
        (lambda s: s.add_hatch().paths.add_polyline_path(BOX), "HATCH"),
        (lambda s: s.add_blockref("NONE", (0, 0)), "a block that it does not have"),
        (nested_in_itself, "nested"),
        (doubling, "more than 20000 pieces"),
        (lambda s: s.add_text("words alone"), "no closed shape"),
        (lambda s: None, "no closed shape"),
    ],
)
def test_what_cannot_be_a_shape_is_refused_in_one_sentence(
    tmp_path: Path, draw: Callable[[Any], object], words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if draw is doubling:
        monkeypatch.setattr("trimgeo.jobfile.dxf_in.MOST_PIECES", 500)
        words = "more than 500 pieces"
    assert words in refusal(tmp_path, draw)


def test_a_missing_layer_names_those_that_are_there_nearest_first(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        for n, name in enumerate(["Zinc", "Outline_Old", "Parts"]):
            space.add_circle((10 * n, 0), 1, dxfattribs={"layer": name})

    message = refusal(tmp_path, draw, "outline")
    assert 'has no layer "outline"; use one that it has: "Outline_Old", "Zinc", "Parts"' in message


def test_a_hatch_on_another_layer_does_not_matter(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        ring(space, [(x, y, 0) for x, y in BOX], layer="EDGE")
        space.add_hatch(dxfattribs={"layer": "FILL"}).paths.add_polyline_path(BOX)
        space.add_line((0, 0), (5, 5), dxfattribs={"layer": "MARK"})

    assert len(shapes(tmp_path, draw, "edge")) == 1


@pytest.mark.parametrize(
    "data",
    [
        b"AutoCAD Binary DXF\r\n\x1a\0" + bytes(200),
        b"\x89PNG\r\n\x1a\n",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"some words\n",
        b"  0\nEOF\n",
        b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n  8\n0\n 10\nx\n 20\n0\n  0\nENDSEC\n  0\nEOF\n",
        b"  0\nSECTION\n  2\nENTITIES\n  0\nCIRCLE\n  8\n0\n 10\n0\n 20\n0\n  0\nENDSEC\n  0\nEOF\n",
    ],
)
def test_what_is_no_dxf_file_is_refused(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "bad.dxf").write_bytes(data)
    with pytest.raises(JobError, match=r"place: bad\.dxf: "):
        read_shapes(tmp_path / "bad.dxf", None, "place")


def test_a_bare_list_of_entities_is_enough(tmp_path: Path) -> None:
    body = "0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n8\n0\n10\n4.5\n20\n5\n40\n2\n0\nENDSEC\n0\nEOF\n"
    for name, text in [("unix.dxf", body), ("dos.dxf", body.replace("\n", "\r\n"))]:
        (tmp_path / name).write_bytes(text.encode())
        (shape,) = read_shapes(tmp_path / name, None, "place")
        assert shape.disc == Circle((4.5, 5.0), 2.0)


def test_names_of_layers_in_old_code_pages(tmp_path: Path) -> None:
    (shape,) = shapes(
        tmp_path,
        lambda s: s.add_circle((0, 0), 1, dxfattribs={"layer": "Gehäuse"}),
        "GEHÄUSE",
        release="R2000",
    )
    assert shape.label == "Gehäuse:1"
    # What the code page lacks is written as a code of its number.
    assert shapes(tmp_path, lambda s: s.add_circle((0, 0), 1, dxfattribs={"layer": "Ω"}), "ω", release="R12")


def test_names_that_no_terminal_can_show_are_cleaned(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda s: s.add_circle((0, 0), 1, dxfattribs={"layer": "A-B-C"}))
    path.write_bytes(path.read_bytes().replace(b"A-B-C", b"A\xff\x1b[2J"))
    (shape,) = read_shapes(path, None, "place")
    assert shape.label == "A\ufffd\ufffd[2J:1"
    with pytest.raises(JobError) as caught:
        read_shapes(path, "X", "place")
    assert str(caught.value).isprintable()
