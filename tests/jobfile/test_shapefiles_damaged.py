"""Damaged DXF and SVG files: one sentence, or sound shapes."""

from __future__ import annotations

import io
import itertools
import random
import warnings
from math import pi, tan
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trimgeo.errors import JobError
from trimgeo.jobfile.shapefiles import read_shapes


def sample_dxf() -> bytes:
    document = ezdxf.new("R2000", units=4)  # type: ignore[attr-defined]
    space = document.modelspace()
    outline = [(0, 0, 0), (60, 0, tan(pi / 8)), (70, 10, 0), (70, 40, 0), (0, 40, 0)]
    space.add_lwpolyline(outline, format="xyb", close=True, dxfattribs={"layer": "EDGE"})
    for side in itertools.pairwise([(80, 0), (110, 0), (110, 20), (80, 20), (80, 0)]):
        space.add_line(*side, dxfattribs={"layer": "EDGE"})
    space.add_circle((50, 20), 3, dxfattribs={"layer": "EDGE"})
    space.doc.blocks.new("DOT").add_ellipse((0, 0), (2, 0), 0.5)
    space.add_blockref("DOT", (10, 30), dxfattribs={"layer": "EDGE"})
    stream = io.StringIO()
    document.write(stream)
    text = stream.getvalue()
    # Without tables and objects, which no damage to the shapes can show in.
    start, end = text.index("  0\nSECTION\n  2\nBLOCKS"), text.index("  0\nSECTION\n  2\nOBJECTS")
    return (
        "  0\nSECTION\n  2\nHEADER\n  9\n$ACADVER\n  1\nAC1015\n  9\n$INSUNITS\n 70\n4\n  0\nENDSEC\n"
        + text[start:end]
        + "  0\nEOF\n"
    ).encode()


SAMPLES = {
    ".dxf": sample_dxf(),
    ".svg": b"""<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="80mm"
 viewBox="0 0 100 80"><g id="EDGE" transform="translate(1 2) rotate(3)">
 <path d="M0 0H60A10 10 0 0 1 70 10V40H0Z"/>
 <rect x="75" y="2" width="20" height="30" rx="2"/><circle cx="50" cy="60" r="3"/><g id="b">
 <ellipse id="dot" cx="20" cy="60" rx="4" ry="2"/><polyline points="80,50 90,50 90,60 80,60 80,50"/></g>
 <use href="#dot" x="10"/></g></svg>""",
}


@st.composite
def damaged(draw: st.DrawFn) -> tuple[str, bytes]:
    """A file with bytes changed, left out or put in twice, or cut off; or digits alone changed."""
    suffix = draw(st.sampled_from(sorted(SAMPLES)))
    data = bytearray(SAMPLES[suffix])
    for _ in range(draw(st.integers(1, 2))):
        at = draw(st.integers(0, len(data) - 1))
        how = draw(st.sampled_from(["digit"] * 12 + ["byte", "word", "drop", "twice", "cut"]))
        if how == "byte":
            data[at] = draw(st.integers(0, 255))
        elif how == "digit":
            digits = [n for n, c in enumerate(data) if chr(c).isdigit()] or [0]
            data[digits[at % len(digits)]] = ord(draw(st.sampled_from("01234567895555.-")))
        elif how == "word":
            data[at:at] = draw(
                st.sampled_from([b"nan", b"1e400", b"-inf", b"\0", b"&x;", b"\xff\xfe", b"\n", b"9" * 40])
            )
        elif how == "drop":
            del data[at : at + draw(st.integers(1, 40))]
        elif how == "twice":
            data[at:at] = data[at : at + draw(st.integers(1, 200))]
        else:
            del data[at:]
        if not data:
            break
    return suffix, bytes(data)


def answered(suffix: str, data: bytes, folder: Path) -> bool:
    """Whether a damaged file still gives shapes, which then are sound; else it is refused in one sentence."""
    path = folder / f"hurt{suffix}"
    path.write_bytes(data)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            found = read_shapes(path, "EDGE", "job.toml, [outline], file")
        except JobError as error:
            assert str(error).startswith(f"job.toml, [outline], file: hurt{suffix}: ")
            assert str(error).isprintable()
            assert len(str(error)) < 600
            return False
    assert found
    assert len({shape.label for shape in found}) == len(found)
    for shape in found:
        polygon = shape.ring.polygon
        assert polygon.is_valid
        assert polygon.area > 0
        assert np.isfinite(polygon.bounds).all()
        assert max(np.abs(polygon.bounds)) <= 10_000
    return True


def test_damaged_files_are_refused_in_one_sentence_or_give_sound_shapes(tmp_path: Path) -> None:
    tally = {True: 0, False: 0}

    @settings(max_examples=400, deadline=None)
    @given(damaged())
    def try_one(case: tuple[str, bytes]) -> None:
        tally[answered(*case, tmp_path)] += 1

    try_one()
    assert sum(tally.values()) >= 300
    assert min(tally.values()) >= 0.1 * sum(tally.values()), "both kinds are met, so both are tested"


@pytest.mark.parametrize("suffix", sorted(SAMPLES))
def test_a_file_cut_off_anywhere_is_refused(tmp_path: Path, suffix: str) -> None:
    whole = SAMPLES[suffix].rstrip()
    path = tmp_path / f"cut{suffix}"
    for length in random.Random(5).sample(range(1, len(whole)), 60):
        path.write_bytes(whole[:length])
        with pytest.raises(JobError):
            read_shapes(path, None, "place")


def test_every_coordinate_that_changes_changes_the_shape_by_as_much(tmp_path: Path) -> None:
    # The right answer for another number is another shape: none of them is lost or made up.
    base = SAMPLES[".svg"].decode()
    # A corner 1 mm further in takes half of 40 mm² away, an edge of 70 mm 1 mm further out adds 70.
    for old, new, shift in [("M0 0H60", "M1 0H60", -20.0), ("V40H0Z", "V41H0Z", 70.0)]:
        areas = []
        for text in (base, base.replace(old, new)):
            (tmp_path / "moved.svg").write_text(text)
            areas.append(read_shapes(tmp_path / "moved.svg", "EDGE", "place")[0].ring.polygon.area)
        assert areas[1] - areas[0] == pytest.approx(shift, abs=0.02)
