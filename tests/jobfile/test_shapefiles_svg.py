"""Shapes out of SVG files."""

from __future__ import annotations

import socket
from collections.abc import Callable
from math import pi
from pathlib import Path

import numpy as np
import pytest
import svgelements  # type: ignore[import-untyped]
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from shapely import Polygon

from trimgeo.errors import JobError
from trimgeo.jobfile.shapefiles import Shape, read_shapes
from trimgeo.jobfile.svg_in import Element
from trimgeo.jobfile.svg_path import transform

NAMESPACES = (
    'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:e="urn:some-editor"'
)
PAGE = 'width="100mm" height="80mm" viewBox="0 0 100 80"'


HUGE = '<g transform="scale(1e9)">' * 60


def shapes(folder: Path, body: str, page: str = PAGE, layer: str | None = None) -> tuple[Shape, ...]:
    path = folder / "drawn.svg"
    path.write_text(f"<svg {NAMESPACES} {page}>{body}</svg>", encoding="utf-8")
    return read_shapes(path, layer, "job.toml, [outline], file")


def refusal(folder: Path, body: str, page: str = PAGE, layer: str | None = None) -> str:
    with pytest.raises(JobError) as caught:
        shapes(folder, body, page, layer)
    assert str(caught.value).startswith("job.toml, [outline], file: drawn.svg: ")
    assert str(caught.value).count("\n") == 0
    return str(caught.value)


def bounds(shape: Shape) -> tuple[float, ...]:
    return tuple(shape.ring.polygon.bounds)


@pytest.mark.parametrize(
    ("page", "expected"),
    [
        # 1 in = 96 px = 25.4 mm, W3C CSS Values and Units; y is turned up from the page's lower edge.
        ('width="100mm" height="80mm" viewBox="0 0 100 80"', (10, 40, 30, 70)),
        ('width="10cm" height="8cm" viewBox="0 0 100 80"', (10, 40, 30, 70)),
        ('width="400Q" height="320Q" viewBox="0 0 100 80"', (10, 40, 30, 70)),
        ('width="2in" height="2in" viewBox="0 0 50.8 50.8"', (10, 10.8, 30, 40.8)),
        ('width="96" height="96px"', (10 * 25.4 / 96, 56 * 25.4 / 96, 30 * 25.4 / 96, 86 * 25.4 / 96)),
        ('width="72pt" height="6pc"', (10 * 25.4 / 96, 56 * 25.4 / 96, 30 * 25.4 / 96, 86 * 25.4 / 96)),
        ('width="100mm" viewBox="0 0 200 160"', (5, 60, 15, 75)),
        ('height="80mm" viewBox="-10 -10 100 80"', (20, 30, 40, 60)),
        # A page wider than its viewBox: centred, or where it says.
        ('width="120mm" height="80mm" viewBox="0 0 100 80"', (20, 40, 40, 70)),
        ('width="120mm" height="80mm" viewBox="0 0 100 80" preserveAspectRatio="xMinYMin"', (10, 40, 30, 70)),
        ('width="120mm" height="80mm" viewBox="0 0 100 80" preserveAspectRatio="none"', (12, 40, 36, 70)),
    ],
)
def test_a_rectangle_is_where_the_page_says(tmp_path: Path, page: str, expected: tuple[float, ...]) -> None:
    (shape,) = shapes(tmp_path, '<rect x="10" y="10" width="20" height="30"/>', page)
    assert bounds(shape) == pytest.approx(expected)
    assert shape.ring.polygon.exterior.is_ccw


@pytest.mark.parametrize(
    ("element", "area"),
    [
        ('<path d="M10 10h20v30h-20z"/>', 600),
        ('<path d="M10,10 30,10L30 40 10 40z"/>', 600),
        ('<path d="m10 10 20 0 0 30-20 0Z"/>', 600),
        ('<path d="M10 10H30V40H10V10"/>', 600),
        ('<path d="M10-10.5.5.5 1e1-20.z"/>', 45.125),
        ('<polygon points="10,10 30,10 30,40 10,40"/>', 600),
        ('<polyline points="10 10 30 10 30 40 10 40 10 10"/>', 600),
        ('<line x1="0" y1="0" x2="3" y2="0"/><line x1="3" y1="4" x2="3" y2="0"/><path d="M0 0 3 4"/>', 6),
        ('<rect x="10%" y="10" width="20" height="50%"/>', 800),
        ('<rect x="5" y="10" width="20mm" height="10" />', 20 * 96 / 25.4 * 10),
        # Parabola segment: two thirds of its box (Archimedes).
        ('<path d="M0 0Q10 20 20 0Z"/>', 20 * 10 * 2 / 3),
        ('<path d="M0 0Q10 20 20 0T40 0L40 30 0 30Z"/>', 1200),
        # The same parabola as a cubic: control points two thirds of the way.
        ('<path d="M0 0C6.6666667 13.3333333 13.3333333 13.3333333 20 0Z"/>', 20 * 10 * 2 / 3),
    ],
)
def test_areas_of_straight_and_curved_shapes(tmp_path: Path, element: str, area: float) -> None:
    (shape,) = shapes(tmp_path, element)
    assert abs(shape.ring.polygon.area - area) <= max(0.005 * shape.ring.polygon.length, 1e-6)


def test_a_smooth_cubic_mirrors_its_handle(tmp_path: Path) -> None:
    (smooth,) = shapes(tmp_path, '<path d="M0 0C0 5 5 10 10 10S20 5 20 0z"/>')
    (plain,) = shapes(tmp_path, '<path d="M0 0C0 5 5 10 10 10C15 10 20 5 20 0z"/>')
    assert smooth.ring.polygon.equals_exact(plain.ring.polygon, 1e-9)


@pytest.mark.parametrize(
    "element",
    [
        '<circle cx="30" cy="20" r="5"/>',
        '<ellipse cx="30" cy="20" rx="5" ry="5"/>',
        '<path d="M25 20a5 5 0 0 0 10 0a5 5 0 1 0-10 0z"/>',
        '<path d="M25 20a5 5 0 1110 0 5 5 0 01-10 0"/>',
        '<circle cx="0" cy="0" r="2.5" transform="translate(30,20) rotate(33) scale(-2 2)"/>',
        '<ellipse cx="0" cy="0" rx="5" ry="2.5" transform="matrix(1 0 0 2 30 20)"/>',
        '<rect x="25" y="15" width="10" height="10" rx="5"/>',
    ],
)
def test_circles_stay_circles_through_transforms(tmp_path: Path, element: str) -> None:
    (shape,) = shapes(tmp_path, element)
    assert shape.disc is not None
    assert (*shape.disc.centre, shape.disc.radius) == pytest.approx((30, 60, 5))
    assert shape.ring.circles == (shape.disc,)


@pytest.mark.parametrize(("large", "sweep"), [(0, 0), (0, 1), (1, 0), (1, 1)])
def test_the_four_arcs_of_one_chord(tmp_path: Path, large: int, sweep: int) -> None:
    # SVG 1.1, 8.3.8: through (40, 30) and (50, 40) with radius 10 run a quarter and three quarters.
    (shape,) = shapes(tmp_path, f'<path d="M40 30 A10 10 0 {large} {sweep} 50 40 Z"/>')
    segment = 100 * (pi / 4 - 0.5)
    assert shape.ring.polygon.area == pytest.approx(100 * pi - segment if large else segment, rel=5e-3)
    (circle,) = shape.ring.circles
    # On the page, sweep 1 runs clockwise as seen: the centre of the short arc is then (40, 40).
    assert circle.centre == pytest.approx((40, 40) if large != sweep else (50, 50), abs=1e-9)
    assert circle.radius == pytest.approx(10)


def test_an_arc_too_small_for_its_chord_grows_until_it_fits(tmp_path: Path) -> None:
    # SVG 1.1, F.6.6.
    (shape,) = shapes(tmp_path, '<path d="M10 10 A1 1 0 0 1 30 10 Z"/>')
    assert shape.ring.circles[0].radius == pytest.approx(10)


coordinate = st.floats(-40, 40).map(lambda x: round(x, 3))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.tuples(coordinate, coordinate),
    st.tuples(st.floats(1, 50), st.floats(1, 50)),
    st.floats(-180, 180),
    st.booleans(),
    st.booleans(),
)
def test_elliptical_arcs_against_a_second_reader(
    tmp_path: Path,
    end: tuple[float, float],
    radii: tuple[float, float],
    turn: float,
    large: bool,
    sweep: bool,
) -> None:
    assume(abs(end[0]) + abs(end[1]) > 1)
    words = f"M0 0 A{radii[0]:f} {radii[1]:f} {turn:f} {large:d} {sweep:d} {end[0]} {end[1]}"
    (found,) = shapes(tmp_path, f'<path d="{words} Z"/>', 'width="96" height="96" viewBox="0 0 96 96"')
    arc = svgelements.Path(words)[1]
    points = np.array([(p.x, -p.y) for p in (arc.point(t) for t in np.linspace(0, 1, 500))])
    judge = Polygon(points * 25.4 / 96 + (0, 25.4))
    polygon = found.ring.polygon
    assume(judge.area > 0.5)
    # The judge's own chords lie inside by an 8th of their step squared over the radius.
    assert abs(polygon.area - judge.area) <= 0.006 * judge.length
    assert polygon.hausdorff_distance(judge) <= 0.006 + judge.length / 900


def test_round_corners_are_arcs(tmp_path: Path) -> None:
    (shape,) = shapes(tmp_path, '<rect x="10" y="10" width="20" height="30" ry="4"/>')
    assert [c.radius for c in shape.ring.circles] == pytest.approx([4, 4, 4, 4])
    assert shape.ring.polygon.area == pytest.approx(600 - 16 * (4 - pi), abs=0.005 * 8 * pi)


def test_nested_transforms_pages_and_copies(tmp_path: Path) -> None:
    body = """
      <defs><rect id="r" width="2" height="3"/>
      <symbol id="s" viewBox="0 0 10 10"><use href="#r"/></symbol></defs>
      <g transform="translate(10 10)"><g transform="scale(2)"><use xlink:href="#r" x="1" y="2"/></g></g>
      <svg x="40" y="0" width="20" height="20" viewBox="0 0 10 10"><use href="#r"/></svg>
      <use href="#s" x="60" y="20" width="40" height="40"/>
      <use href="#r" transform="rotate(90 20 20)" x="20" y="20"/>
    """
    found = [bounds(shape) for shape in shapes(tmp_path, body)]
    assert np.allclose(
        found, [(12, 60, 16, 66), (40, 74, 44, 80), (60, 48, 68, 60), (17, 58, 20, 60)], atol=1e-9
    )


def test_transforms_against_matrices_multiplied_by_hand(tmp_path: Path) -> None:
    words = "translate(30 20) rotate(20) skewX(10) scale(1.5 .7) skewY(-5)"
    (shape,) = shapes(tmp_path, f'<polygon transform="{words}" points="0,0 10,0 3,8"/>')
    t = np.tan(np.radians([10, -5]))
    c, s = np.cos(np.radians(20)), np.sin(np.radians(20))
    linear = np.array([[c, -s], [s, c]]) @ [[1, t[0]], [0, 1]] @ np.diag([1.5, 0.7]) @ [[1, 0], [t[1], 1]]
    page = np.array([(0, 0), (10, 0), (3, 8)]) @ linear.T + (30, 20)
    expected = Polygon(page * (1, -1) + (0, 80))
    assert shape.ring.polygon.normalize().equals_exact(expected.normalize(), 1e-9)


LAYERED = """
  <g id="edge"><rect width="50" height="50"/></g>
  <g id="layer7" e:label="Keep-outs"><g id="inner"><rect id="chip" width="5" height="5"/></g>
    <circle r="2" cx="9" cy="9"/><circle r="1" cx="9" cy="19"/></g>
  <g id="hidden" style="fill:red;display:none"><rect width="7" height="7"/></g>
"""


@pytest.mark.parametrize(
    ("layer", "labels"),
    [
        ("edge", ["edge:1"]),
        ("layer7", ["chip", "layer7:1", "layer7:2"]),
        ("Keep-outs", ["chip", "Keep-outs:1", "Keep-outs:2"]),
        ("inner", ["chip"]),
        (None, ["shape:1", "chip", "shape:2", "shape:3"]),
    ],
)
def test_a_layer_is_a_group_by_id_or_label(tmp_path: Path, layer: str | None, labels: list[str]) -> None:
    assert [shape.label for shape in shapes(tmp_path, LAYERED, layer=layer)] == labels


def test_a_missing_layer_names_those_that_are_there_nearest_first(tmp_path: Path) -> None:
    message = refusal(tmp_path, LAYERED, layer="keepouts")
    assert 'has no group "keepouts"; use one that it has: "Keep-outs", ' in message
    assert '"edge"' in message


def test_what_is_hidden_is_not_read(tmp_path: Path) -> None:
    assert "no closed shape" in refusal(tmp_path, LAYERED, layer="hidden")


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (
            '<path d="M0 0L10 0L10 10"/>',
            "do not close: a gap of 14.1 mm between (0.000, 80.000) and (10.000, 70.000)",
        ),
        ('<path d="M0 0L10 0L10 10L0 0.02"/>', "a gap of 0.02 mm"),
        ('<path d="M0 0L10 10L10 0L0 10z"/>', "crosses or touches itself at (5.000, 75.000)"),
        ('<path d="M0 0L10 0z"/>', "fewer than three points"),
        ('<path d="M0 0L10 0L5 0z"/>', "crosses or touches itself"),
        ('<path d="M0 0L10 0L1e999 5z"/>', "1e999 is too large a number"),
        ('<path d="M0 0L10 0L99999 5z"/>', "more than 10 m"),
        ('<polygon points="0 0 99999 0 5 5"/>', "more than 10 m"),
        ('<circle r="1e9"/>', "more than 10 m"),
        (f'{HUGE}<circle r="1e9"/>{"</g>" * 60}', "more than 10 m"),
        (f'{HUGE}<rect width="1" height="1"/>{"</g>" * 60}', "more than 10 m"),
        (f'{HUGE}<polygon points="0 0 1 1 1 0"/>{"</g>" * 60}', "not a number"),
        ('<path d="M0 0L10 0L2000 5z"/>', "is 2000 mm wide or high, over the 1000 mm"),
        ('<path d="M0 0L10 0L nan 5z"/>', "path is damaged"),
        ('<path d="M0 0L10 0L5"/>', "path is damaged"),
        ('<path d="L0 0L10 0L5 5z"/>', "path is damaged"),
        ('<path d="M0 0 10 0 5 5 @ z"/>', "path is damaged"),
        ('<path id="edge" d="M0 0 10 0 5 5 z 1"/>', 'path "edge" is damaged'),
        ('<path d="M0 0A5 5 0 2 0 5 5z"/>', "path is damaged"),
        ('<polygon points="0,0 10,0 5"/>', "an odd number"),
        ('<rect width="10em" height="5"/>', 'rect is damaged: length "10em"'),
        ('<rect width="-10" height="5"/>', "negative"),
        ('<circle r="-1"/>', "negative"),
        ('<g transform="rotate(a)"><rect width="1" height="1"/></g>', "g is damaged"),
        ('<g transform="translate(10mm)"><rect width="1" height="1"/></g>', "g is damaged"),
        ('<g style="transform:scale(2)"><rect width="1" height="1"/></g>', "transform in a style"),
        ('<use href="#none"/>', "which it does not have"),
        ('<use href="other.svg#a"/>', "from elsewhere"),
        ('<use href="http://127.0.0.1:9/a.svg#a"/>', "from elsewhere"),
        ('<g id="a"><use href="#a"/></g>', "holds itself"),
        ("<text>only words</text>", "no closed shape"),
        ("", "no closed shape"),
    ],
)
def test_what_cannot_be_a_shape_is_refused_in_one_sentence(tmp_path: Path, body: str, words: str) -> None:
    assert words in refusal(tmp_path, body)


@pytest.mark.parametrize(
    ("page", "words"),
    [
        ("", "how large its page is"),
        ('viewBox="0 0 10 10"', "how large its page is"),
        ('width="100%" height="100%" viewBox="0 0 10 10"', "how large its page is"),
        ('width="0" height="10" viewBox="0 0 10 10"', "how large its page is"),
        ('width="1em" height="10"', "unreadable"),
        ('width="10" height="10" viewBox="0 0 10"', "no rectangle"),
        ('width="10" height="10" viewBox="0 0 0 10"', "no rectangle"),
        ('width="10" height="10" viewBox="a b c d"', "unreadable"),
        ('width="1e400" height="10"', "unreadable page size: 1e400 is too large"),
    ],
)
def test_a_page_without_a_true_size_is_refused(tmp_path: Path, page: str, words: str) -> None:
    assert words in refusal(tmp_path, '<rect width="1" height="1"/>', page)


class Counted:
    """A function that counts how often it is called."""

    def __init__(self, function: Callable[..., object]) -> None:
        self.function, self.calls = function, 0

    def __call__(self, *given: object) -> object:
        self.calls += 1
        return self.function(*given)


def written(folder: Path, data: bytes, name: str = "drawn.svg") -> str:
    (folder / name).write_bytes(data)
    with pytest.raises(JobError) as caught:
        read_shapes(folder / name, None, "place")
    return str(caught.value)


def test_entities_do_not_grow_and_nothing_outside_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_network(*_: object) -> None:
        raise AssertionError("the network was asked for")

    monkeypatch.setattr(socket, "socket", no_network)
    grown = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 12))
    bomb = f'<!DOCTYPE svg [<!ENTITY e0 "M0 0">{grown}]><svg {NAMESPACES} {PAGE}><path d="&e11;"/></svg>'
    outside = f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]><svg {NAMESPACES} {PAGE}>&x;</svg>'
    with monkeypatch.context() as walked:
        # Refused while it is parsed, at the first declaration: nothing is there that could grow.
        walked.setattr("trimgeo.jobfile.svg_in.Element", counted := Counted(Element))
        for text in (bomb, outside):
            assert "declares entities" in written(tmp_path, text.encode())
        assert counted.calls == 2  # the tree's top, once a file
    elsewhere = (
        '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
    )
    body = f'<svg {NAMESPACES} {PAGE}><rect width="5" height="5"/></svg>'
    (tmp_path / "ok.svg").write_text(elsewhere + body)
    assert len(read_shapes(tmp_path / "ok.svg", None, "place")) == 1
    assert "entities" in written(
        tmp_path, (elsewhere + body.replace("</svg>", '<path d="&x;"/></svg>')).encode()
    )


def test_copies_of_copies_do_not_grow_without_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trimgeo.jobfile.svg_in.MOST_PIECES", 1000)
    levels = "".join(f'<g id="g{n}">' + f'<use href="#g{n - 1}"/>' * 10 + "</g>" for n in range(1, 12))
    monkeypatch.setattr("trimgeo.jobfile.svg_in.transform", counted := Counted(transform))
    message = refusal(
        tmp_path, f'<defs><rect id="g0" width="1" height="1"/>{levels}</defs><use href="#g11"/>'
    )
    assert "more than" in message or "too many" in message
    assert counted.calls <= 4 * 1000  # elements looked at, of the 10^11 that are asked for


def test_deep_nesting_is_refused(tmp_path: Path) -> None:
    assert "nested over" in refusal(tmp_path, "<g>" * 5000 + "</g>" * 5000)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"  \n",
        b"\x89PNG\r\n\x1a\n\0\0\0",
        bytes(range(256)) * 40,
        b"  0\nSECTION\n  0\nEOF\n",
        b"<html><body/></html>",
        b"<svg",
        f"<svg {NAMESPACES} {PAGE}><rect width='5'".encode(),
        f'<?xml version="1.0" encoding="no-such"?><svg {NAMESPACES} {PAGE}/>'.encode(),
    ],
)
def test_what_is_no_svg_file_is_refused(tmp_path: Path, data: bytes) -> None:
    assert written(tmp_path, data).startswith("place: drawn.svg: ")


def test_other_kinds_of_files_folders_and_missing_ones_are_refused(tmp_path: Path) -> None:
    assert "neither a DXF nor an SVG" in written(tmp_path, b"x", "drawn.txt")
    (tmp_path / "folder.svg").mkdir()
    for name, words in [
        ("folder.svg", "a folder"),
        ("none.svg", "no such file"),
        ("n\0ne.svg", "n"),
        ("n" * 300 + ".svg", "n"),
    ]:
        with pytest.raises(JobError, match=words):
            read_shapes(tmp_path / name, None, "place")


def test_a_file_over_the_limit_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "large.svg").open("wb") as file:
        file.truncate(2**40)
    with pytest.raises(JobError, match="larger than 32 MB"):
        read_shapes(tmp_path / "large.svg", None, "place")


def test_names_with_odd_characters(tmp_path: Path) -> None:
    path = tmp_path / "Gehäuse Ω 'x' #1.SVG"
    path.write_text(
        f'<svg {NAMESPACES} {PAGE}><g id="Ω&quot;"><rect id="a&#10;b" width="5" height="5"/></g></svg>'
    )
    (shape,) = read_shapes(path, 'Ω"', "place")
    assert shape.label == "a b"
