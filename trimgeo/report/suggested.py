"""Suggested keep-outs as a list, as job tables to paste, and as JSON."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from textwrap import wrap
from typing import Any

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.model.board import View
from trimgeo.model.proposal import Proposal

WIDTH = 80
_WORD = {"component": "part", "pad": "pad", "hole": "hole"}

Named = tuple[str, Proposal]


def named(proposals: Sequence[Proposal], taken: Collection[str]) -> list[Named]:
    """Proposals with names that the job does not have yet, most confident first.

    >>> disc = Proposal("hole", None, ((3.0, 4.0), 2.0), 0.9, None)
    >>> [name for name, _ in named([disc, disc], {"hole-1"})]
    ['hole-2', 'hole-3']
    """
    used, found = set(taken), []
    for each in sorted(proposals, key=lambda each: (-each.confidence, each.centre)):
        number = 1
        while f"{_WORD[each.kind]}-{number}" in used:
            number += 1
        used.add(f"{_WORD[each.kind]}-{number}")
        found.append((f"{_WORD[each.kind]}-{number}", each))
    return found


def suggested_lines(view: View, found: Sequence[Named], layers: int) -> list[str]:
    """What is suggested, then tables for the job file, each line commented out."""
    if not found:
        return wrap(f"{view.name}: nothing found; mark the keep-outs by hand.", WIDTH)
    counts = [
        f"{n} {word}{'' if n == 1 else 's'}"
        for kind, word in _WORD.items()
        if (n := sum(each.kind == kind for _, each in found))
    ]
    lines = wrap(f"{view.name}: {', '.join(counts)} suggested. Nothing was entered into the job.", WIDTH)
    lines += ["", f"{'name':<10} {'confidence':>10}  {'size mm':<13} middle mm"]
    lines += [_row(name, each) for name, each in found]
    lines += ["", *wrap("To accept one, paste its table into the job file without the # signs:", WIDTH)]
    for name, each in found:
        lines += ["", *_table(view, name, each, layers)]
    return lines


def suggested_json(view: View, found: Sequence[Named]) -> list[dict[str, Any]]:
    """The same as JSON: an object for each proposal.

    ``name``; ``kind``; ``polygon``, corners in mm, or ``circle`` with ``at`` and ``diameter`` in mm;
    ``pixels`` of the view's picture, corners or the middle of a circle; ``confidence``; ``traced``, "top" or
    None.
    """
    return [
        {
            "name": name,
            "kind": each.kind,
            **_place(each),
            "pixels": _pixels(view, each),
            "confidence": each.confidence,
            "traced": each.traced,
        }
        for name, each in found
    ]


def _row(name: str, each: Proposal) -> str:
    if each.circle is not None:
        size = f"round {each.circle[1]:.1f}"
    else:
        box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(each.shape))
        sides = sorted(np.hypot(*np.diff(box[:3], axis=0).T).tolist(), reverse=True)
        size = f"{sides[0]:.1f} x {sides[1]:.1f}"
    x, y = each.centre
    leaning = "  top, leans" if each.traced else ""
    return f"{name:<10} {each.confidence:>10.2f}  {size:<13} {x:.1f}, {y:.1f}{leaning}"


def _table(view: View, name: str, each: Proposal, layers: int) -> list[str]:
    pixels = _pixels(view, each)
    lines = ["[[keepout]]", f'name = "{name}"', f'kind = "{each.kind}"', f"on = {_quoted(view.name)}"]
    if each.circle is not None:
        lines.append(f"circle = {{ at = {pixels[0]}, diameter = {each.circle[1]:.2f} }}")
    else:
        lines.append("polygon = [")
        lines += [
            f"  {'  '.join(f'{point},' for point in pixels[n : n + 4])}" for n in range(0, len(pixels), 4)
        ]
        lines.append("]")
    if each.kind == "pad":
        lines.append(f"layers = [{layers if view.shows == 'bottom' else 1}]")
    if each.traced is not None:
        lines += [f'traced = "{each.traced}"', 'height = "FILL IN"  # mm above the board, by a caliper']
    return [f"# {line}" for line in lines]


def _quoted(name: str) -> str:
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _place(each: Proposal) -> dict[str, Any]:
    if each.circle is not None:
        (x, y), diameter = each.circle
        return {"circle": {"at": [round(x, 3), round(y, 3)], "diameter": round(diameter, 3)}}
    return {"polygon": np.round(_corners(each.shape), 3).tolist()}


def _pixels(view: View, each: Proposal) -> list[list[float]]:
    mm = [each.circle[0]] if each.circle is not None else _corners(each.shape)
    pixels: list[list[float]] = np.round(view.to_board.to_pixels(mm), 1).tolist()
    return pixels


def _corners(polygon: Polygon) -> list[list[float]]:
    corners: list[list[float]] = shapely.get_coordinates(polygon.exterior)[:-1].tolist()
    return corners
