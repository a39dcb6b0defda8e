"""The enclosure of a job: cavity and posts from points, circles and drawings, and what is refused."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import numpy as np
import pytest

from trimgeo.errors import JobError
from trimgeo.jobfile import entries, load
from trimgeo.jobfile.cases import told_case
from trimgeo.model.board import Case

JOB = """[job]
title = "t"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 80], [0, 80]]
[case]
"""
CAVITY = "cavity = [[0, 0], [62, 0], [62, 41], [0, 41]]\n"


def given(folder: Path, text: str) -> Case:
    (folder / "job.toml").write_text(JOB + text, encoding="utf-8")
    found = entries.case(load(folder / "job.toml"))
    assert found is not None
    return found


def drawing(path: Path, cavity: str = "INNER", posts: str = "PINS") -> None:
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (62, 0), (62, 41), (0, 41)], close=True, dxfattribs={"layer": cavity})
    space.add_circle((10, 10), 3, {"layer": posts})
    space.add_lwpolyline([(40, 20), (46, 20), (46, 26), (40, 26)], close=True, dxfattribs={"layer": posts})
    document.saveas(path)


def test_posts_are_circles_points_and_drawings(tmp_path: Path) -> None:
    drawing(tmp_path / "case.dxf")
    posts = (
        '{ at = [20, 20], diameter = 6 }, [[30, 5], [35, 5], [35, 9]], { file = "case.dxf", layer = "PINS" }'
    )
    found = given(tmp_path, CAVITY + f"gap = 0.3\nholes = [{posts}]\nlid = 12\n")
    # A circle is held by a polygon around it, 0.005 mm larger at most.
    areas = [post.area for post in found.posts]
    assert areas == pytest.approx([np.pi * 9, 10, np.pi * 9, 36], abs=0.1)
    assert found.room.area == pytest.approx(62 * 41 - 2 * np.pi * 9 - 10 - 36, abs=0.1)
    assert (found.gap, found.lid, found.floor) == (0.3, 12, None)


@pytest.mark.parametrize("layers", [("INNER", "PINS"), ("CASE", "POSTS")])
def test_of_a_drawing_the_largest_shape_is_the_cavity_and_the_rest_posts(
    tmp_path: Path, layers: tuple[str, str]
) -> None:
    drawing(tmp_path / "case.dxf", *layers)
    found = given(tmp_path, 'cavity = { file = "case.dxf" }\ngap = 0\n')
    assert found.cavity.area == pytest.approx(62 * 41)
    assert sorted(post.area for post in found.posts) == pytest.approx([np.pi * 9, 36], abs=0.1)


def test_a_job_without_a_case_has_none(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB.replace("[case]\n", ""), encoding="utf-8")
    assert entries.case(load(tmp_path / "job.toml")) is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (CAVITY, "[case]: found no gap"),
        ("gap = 0.3\n", "[case]: found no cavity"),
        (CAVITY + "gap = -1\n", "[case], gap: found -1"),
        (
            CAVITY + "gap = 0\nholes = [{ at = [31, 20], diameter = 200 }]\n",
            "posts that fill the whole cavity",
        ),
        (CAVITY + "gap = 0\nholes = [7]\n", "[case], holes, number 1: found 7"),
        ("cavity = [[0, 0], [9, 9], [9, 0], [0, 9]]\ngap = 0\n", "[case], cavity: found sides that cross"),
        ('cavity = { file = "none.dxf" }\ngap = 0\n', "none.dxf"),
        (CAVITY + "gap = 0\nlit = 4\n", "the nearest known key is lid"),
    ],
)
def test_what_is_no_case_is_refused_with_its_place(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(JobError) as caught:
        given(tmp_path, text)
    assert said in str(caught.value)


@pytest.mark.parametrize("gap", [60.0, 34.9])
def test_a_gap_that_leaves_no_room_is_named(tmp_path, gap):
    wide = "cavity = [[0, 0], [90, 0], [90, 70], [0, 70]]\n"
    assert given(tmp_path, f"{wide}gap = 34.4\n").gap == 34.4
    with pytest.raises(JobError, match=rf"\[case\], gap: found {gap:g}, which leaves no room in the cavity"):
        given(tmp_path, f"{wide}gap = {gap}\n")


def test_a_post_that_cannot_be_read_is_told_and_never_left_out(tmp_path: Path) -> None:
    drawing(tmp_path / "case.dxf", "CASE", "POSTS")
    document = ezdxf.readfile(tmp_path / "case.dxf")
    document.modelspace().add_lwpolyline([(20, 5), (26, 5), (26, 9)], dxfattribs={"layer": "POSTS"})
    document.saveas(tmp_path / "case.dxf")
    with pytest.raises(JobError, match='lines on layer "POSTS" that do not close'):
        given(tmp_path, 'cavity = { file = "case.dxf" }\ngap = 0\n')


@pytest.mark.parametrize(
    ("post", "told"),
    [
        ("{ at = [500, 500], diameter = 6 }", ["post 1 of the case, at (500, 500), lies outside the cavity"]),
        ("{ at = [64, 20], diameter = 6 }", []),  # reaches 1 mm in
    ],
)
def test_a_post_wholly_outside_the_cavity_is_told(tmp_path: Path, post: str, told: list[str]) -> None:
    found = told_case(given(tmp_path, CAVITY + f"gap = 0.3\nholes = [{post}]\n"))
    assert [text.split(" and counts")[0] for text in found] == told


@pytest.mark.parametrize(("side", "told"), [(9.9, 1), (10.1, 0)])
def test_a_cavity_under_ten_millimetres_is_likely_in_inches(tmp_path: Path, side: float, told: int) -> None:
    corners = f"cavity = [[0, 0], [{side}, 0], [{side}, {side}], [0, {side}]]\ngap = 0.1\n"
    assert len(told_case(given(tmp_path, corners))) == told


def test_a_drawn_case_without_a_unit_is_told_with_the_size_read(tmp_path: Path) -> None:
    document = ezdxf.new("R2010", units=0)
    document.modelspace().add_lwpolyline([(0, 0), (62, 0), (62, 41), (0, 41)], close=True)
    document.saveas(tmp_path / "case.dxf")
    (tmp_path / "job.toml").write_text(JOB + 'cavity = { file = "case.dxf" }\ngap = 0.3\n', encoding="utf-8")
    _, told = entries.case_given(load(tmp_path / "job.toml"))
    assert told == (
        "case.dxf says no unit, taken for mm: the case's cavity is 62 x 41 mm, if it is not, save it in mm",
    )
