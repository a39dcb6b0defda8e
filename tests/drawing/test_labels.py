"""Labels: none on another, none on a strong line, none lost while there is room."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import LineString

from trimgeo.drawing.cells import CELL, room
from trimgeo.drawing.labels import Form, Wish, place
from trimgeo.drawing.lettering import SUBSTITUTE, width, wrapped, written

coordinate = st.floats(0.0, 60.0)
wishes = st.lists(
    st.tuples(coordinate, coordinate, st.floats(1.0, 25.0), st.floats(1.0, 6.0)), min_size=1, max_size=25
)


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    wide, high = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
    return max(wide, 0.0) * max(high, 0.0)


@given(wishes)
@example([(0.0, 0.0, 1.0, 1.0), (0.0, 0.0, 1.0, 1.0), (0.0, 31.0, 1.0, 2.0), (0.0, 32.0, 1.0, 1.0)])
@settings(max_examples=30, deadline=None)
def test_labels_never_meet_each_other_a_pointer_or_a_strong_line(
    wanted: list[tuple[float, float, float, float]],
) -> None:
    strong = LineString([(0, 30), (35, 31), (60, 12)])
    taken = (10.0, 40.0, 22.0, 55.0)
    space = room((0, 0, 60, 60), [taken], [strong])
    found = place(space, [Wish(((x, y),), (Form(w, h), Form(2.0, 2.0, 8.0))) for x, y, w, h in wanted])
    put = [one for one in found if one is not None]
    first = wanted[0]
    if not shapely.box(*taken).buffer(2 * CELL).contains(shapely.Point(first[:2])):
        assert found[0] is not None
    for one, (_, _, w, h) in ((one, wish) for one, wish in zip(found, wanted, strict=True) if one):
        needed = [(w, h), (2.0, 2.0)][one.form]
        assert one.box[2] - one.box[0] >= needed[0] - 1e-9
        assert one.box[3] - one.box[1] >= needed[1] - 1e-9
        assert min(one.box) >= 0 and max(one.box) <= 60
        assert not strong.intersects(shapely.box(*one.box))
        assert overlap(one.box, taken) < 1e-9
    assert all(overlap(a.box, b.box) < 1e-9 for a, b in combinations(put, 2))
    for one in put:
        others = [shapely.box(*other.box).buffer(-1e-6) for other in put if other is not one]
        if one.pointer is not None:
            assert not any(LineString(one.pointer).buffer(-1e-9).intersects(box) for box in others)
            # A pointer is sampled three times a cell: what it may graze is a corner of under a third of one.
            grazed = max((LineString(one.pointer).intersection(box).length for box in others), default=0.0)
            assert grazed <= CELL / 2


def test_a_label_with_free_room_sits_on_its_anchor() -> None:
    (found,) = place(room((0, 0, 50, 50)), [Wish(((25.0, 25.0),), (Form(10.0, 3.0),))])
    assert found is not None and found.pointer is None
    assert np.allclose(shapely.box(*found.box).centroid.coords[0], (25, 25), atol=CELL)


def test_a_label_goes_far_before_it_is_lost() -> None:
    strong = [LineString([(x, 0), (x, 50)]) for x in np.arange(0, 120, 2.0)]
    (found,) = place(room((0, 0, 140, 50), strong=strong), [Wish(((5.0, 25.0),), (Form(8.0, 3.0),))])
    assert found is not None and found.box[0] > 115 and found.pointer is not None


def test_a_label_whose_anchor_is_covered_has_no_place() -> None:
    taken = [(0.0, 0.0, 60.0, 50.0)]
    (found,) = place(room((0, 0, 140, 50), taken), [Wish(((5.0, 25.0),), (Form(8.0, 3.0),))])
    assert found is None


def test_another_anchor_serves_where_the_first_is_covered() -> None:
    wish = Wish(((5.0, 25.0), (70.0, 25.0)), (Form(8.0, 3.0),))
    (found,) = place(room((0, 0, 140, 50), [(0.0, 0.0, 60.0, 50.0)]), [wish])
    assert found is not None and found.box[0] < 70 < found.box[2]


def test_the_short_form_is_taken_where_the_long_one_has_no_room() -> None:
    wish = Wish(((10.0, 2.0),), (Form(40.0, 3.0), Form(4.0, 3.0, 8.0)))
    (found,) = place(room((0, 0, 20, 4)), [wish])
    assert found is not None and found.form == 1


@given(st.text(max_size=60), st.floats(3.0, 80.0))
@settings(max_examples=40, deadline=None)
def test_any_text_can_be_written_and_wraps_into_its_room(text: str, space: float) -> None:
    clean = written(text)
    lines = wrapped(text, 2.2, space)
    assert "".join(lines).replace(" ", "") == clean.replace(" ", "")
    widest = max((width(c, 2.2) for c in clean), default=0.0)
    assert all(width(line, 2.2) <= max(space, widest) + 1e-9 for line in lines)


def test_what_the_typeface_lacks_is_shown_as_a_substitute() -> None:
    assert written("板 R1 \U0001f50b") == f"{SUBSTITUTE} R1 {SUBSTITUTE}"
