"""The legend of a sheet: a sample of each sign that is on it, and its words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import shapely

from trimgeo.drawing.furniture import SMALL
from trimgeo.drawing.lettering import LEADING, width
from trimgeo.drawing.sheet import XY, Box, Discs, Filled, Item, Strokes, Text
from trimgeo.drawing.signs import (
    CASE_HATCH,
    GROWN_FILL,
    KEPT_FILL,
    KERF_HATCH,
    LINES,
    STATES,
    Hatch,
    layer_hatch,
    state_strokes,
)
from trimgeo.drawing.strokes import dashed, dots, hatched, paths_of

SAMPLE: Final = 8.0
"""Length of a sample."""

ROW: Final = SMALL * LEADING + 1.0

_LINE_KINDS: Final = (
    *("guide", "finished", "board", "swept", "window", "lift"),
    *("cut", "witness", "lacks", "stop", "hit", "relief", "start", "clamp", "case-gap", "match", "overlap"),
)


@dataclass(frozen=True)
class _Sample:
    """A sign drawn in a box from (0, -1) to (SAMPLE, 1), and its words."""

    items: tuple[Item, ...]
    words: str


def legend(
    kinds: frozenset[str], layers: Sequence[int], last: int, box: Box
) -> tuple[tuple[Item, ...], float]:
    """Samples of the kinds and copper layers shown, laid in rows from the top of ``box``.

    ``last`` is the number of the bottom layer.  Returns the items and the height they take, mm.

    >>> items, height = legend(frozenset({"board", "tight"}), [2], 2, (0.0, 0.0, 60.0, 50.0))
    >>> [item.text for item in items if isinstance(item, Text)]
    ['board edge', 'tight: nearest point', 'keep-out [its copper layers]', '[2] bottom']
    >>> round(height / ROW)
    3
    """
    x, y = box[0], box[3] - ROW / 2
    items: list[Item] = []
    for sample in _samples(kinds, tuple(layers), last):
        length = SAMPLE + 1.2 + width(sample.words, SMALL) + 3.5
        if x + length - 3.5 > box[2] and x > box[0]:
            x, y = box[0], y - ROW
        items.extend(_moved(item, (x, y)) for item in sample.items)
        items.append(Text((x + SAMPLE + 1.2, y - SMALL * 0.36), sample.words, SMALL))
        x += length
    return tuple(items), box[3] - y + ROW / 2


@lru_cache(maxsize=32)
def _samples(kinds: frozenset[str], layers: tuple[int, ...], last: int) -> tuple[_Sample, ...]:
    found = [_line(kind) for kind in _LINE_KINDS if kind in kinds]
    if "kerf" in kinds:
        found.insert(2, _Sample(_swatch(KERF_HATCH, "kerf-hatch"), LINES["kerf"].words))
    if "case" in kinds:
        found.append(_Sample(_wall(), LINES["case"].words))
    found += [_state(state) for state in STATES if state in kinds]
    if "kept" in kinds:
        found.append(_Sample(_filled("kept", KEPT_FILL), "what is kept"))
    if "grown" in kinds:
        found.append(_Sample(_filled("grown", GROWN_FILL), "kept clear around it"))
    if "around" in kinds:
        found.append(_Sample(_filled("around", GROWN_FILL), "what outlines lead around"))
    if layers:
        found.append(_Sample(_swatch(None, "keepout"), "keep-out [its copper layers]"))
    found += [_Sample(_swatch(layer_hatch(n), "keepout-hatch"), _layer_words(n, last)) for n in layers]
    return tuple(found)


def _layer_words(layer: int, last: int) -> str:
    return f"[{layer}]" + (" top" if layer == 1 else " bottom" if layer == last else "")


def _line(kind: str) -> _Sample:
    line = LINES[kind]
    run = ((0.0, 0.0), (SAMPLE, 0.0))
    if kind == "swept":
        spots = dots(shapely.LineString(run), max(line.dashes))
        return _Sample((Discs(kind, spots, line.width / 2, line.colour, None),), line.words)
    if kind == "stop":
        mid = SAMPLE / 2
        bar = (((mid, -1.0), (mid, 1.0)), ((mid - 1.0, 1.0), (mid + 1.0, 1.0)))
        return _Sample((Strokes(kind, bar, line.colour, line.width),), line.words)
    if kind in ("start", "clamp"):
        return _Sample(_spot(kind), line.words)
    if kind == "match":
        return _Sample(match_mark((SAMPLE / 2, 0.0), 1.0), line.words)
    paths = dashed(run, *line.dashes) if line.dashes else (run,)
    return _Sample((Strokes(kind, paths, line.colour, line.width),), line.words)


def _spot(kind: str) -> tuple[Item, ...]:
    """A small circle with cross hairs: those of a start hole reach out of it, those of the clamp do not."""
    line, mid = LINES[kind], SAMPLE / 2
    radius, reach, thin = (1.0, 1.7, LINES["hole"].width) if kind == "start" else (1.2, 0.4, line.width)
    rim = shapely.Point(mid, 0.0).buffer(radius).exterior
    paths = dashed(rim.coords, *line.dashes) if line.dashes else paths_of(rim)
    hairs = ((mid - reach, 0.0), (mid + reach, 0.0)), ((mid, -reach), (mid, reach))
    return Strokes(kind, paths, line.colour, line.width), Strokes(kind, hairs, line.colour, thin)


def _filled(kind: str, colour: str) -> tuple[Item, ...]:
    return (Filled(kind, paths_of(shapely.box(0.5, -1.2, SAMPLE - 0.5, 1.2))[0], colour),)


def _wall() -> tuple[Item, ...]:
    """A stretch of wall, and the solid behind it."""
    solid, line = shapely.box(0.0, 0.0, SAMPLE, 1.2), LINES["case"]
    hatch = paths_of(hatched([solid], CASE_HATCH.angles[0], CASE_HATCH.pitch))
    return (
        Strokes("case-hatch", hatch, CASE_HATCH.colour, CASE_HATCH.width),
        Strokes("case", (((0.0, 0.0), (SAMPLE, 0.0)),), line.colour, line.width),
    )


def match_mark(at: XY, radius: float) -> tuple[Item, ...]:
    """A diamond with a cross through it: where it lies on its likeness, two pages match.

    >>> (mark,) = match_mark((10.0, 20.0), 2.0)
    >>> mark.paths[:2]  # the arms of the cross reach out of the diamond
    (((7.0, 20.0), (13.0, 20.0)), ((10.0, 17.0), (10.0, 23.0)))
    """
    (x, y), reach, line = at, 1.5 * radius, LINES["match"]
    cross = ((x - reach, y), (x + reach, y)), ((x, y - reach), (x, y + reach))
    diamond = ((x - radius, y), (x, y - radius), (x + radius, y), (x, y + radius), (x - radius, y))
    return (Strokes("match", (*cross, diamond), line.colour, line.width),)


def _state(state: str) -> _Sample:
    sign = STATES[state]
    middle, half = SAMPLE / 2, sign.size / 2
    if sign.shape == "ring":
        items: tuple[Item, ...] = (Discs(state, ((middle, 0.0),), half, sign.colour, sign.width),)
    else:
        paths = tuple(tuple((middle + half * x, half * y) for x, y in path) for path in state_strokes(state))
        items = (Strokes(state, paths, sign.colour, sign.width),)
    return _Sample(items, f"{sign.words}: nearest point")


def _swatch(hatch: Hatch | None, kind: str) -> tuple[Item, ...]:
    box = shapely.box(0.5, -1.2, SAMPLE - 0.5, 1.2)
    rim = Strokes(kind.removesuffix("-hatch"), paths_of(box), LINES["keepout"].colour, 0.12)
    if hatch is None:
        return (rim,)
    lines = paths_of(hatched([box], hatch.angles[0], hatch.pitch))
    return Strokes(kind, lines, hatch.colour, hatch.width), rim


def _moved(item: Item, by: XY) -> Item:
    """A sample in its place; its kind tells it from the real thing."""
    if isinstance(item, Strokes):
        paths = tuple(tuple((x + by[0], y + by[1]) for x, y in path) for path in item.paths)
        return replace(item, kind="legend", paths=paths)
    if isinstance(item, Filled):
        return replace(item, kind="legend", ring=tuple((x + by[0], y + by[1]) for x, y in item.ring))
    if isinstance(item, Discs):
        return replace(item, kind="legend", centres=tuple((x + by[0], y + by[1]) for x, y in item.centres))
    return item
