"""What the readers of drawing files hand over, and the limits that all of them keep."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import numpy as np

from trimgeo.errors import JobError
from trimgeo.plane.arcs import Floats
from trimgeo.tables import LARGEST_BOARD

LARGEST_FILE = 32 * 2**20
"""Bytes: a drawing of one board has thousands of lines, not millions."""

MOST_PIECES = 20_000
"""Pieces of line in one file, blocks and copies counted each time they appear."""

MOST_POINTS = 2_000_000
"""Points in one file once its curves are flattened."""

DEEPEST = 32
"""Blocks within blocks, groups within groups: nobody draws deeper, files that loop do."""

FURTHEST = 10 * LARGEST_BOARD
"""mm from the origin; a board further away than ten metres is a mistake of units or origin."""


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of line in mm, y up: vertices as in `trimgeo.plane.arcs`, shape (n, 3).

    ``layer`` keeps pieces apart that must not be chained to each other; ``label`` is what the
    file calls the piece, "" where it says nothing.
    """

    vertices: Floats
    closed: bool
    layer: str = ""
    label: str = ""


@dataclass(frozen=True)
class Source:
    """Where messages say that a fault is: the place in the job, and the file's name."""

    place: str
    name: str

    def error(self, found: str, fix: str) -> JobError:
        """The error for something found in this file."""
        named = found if self.place == self.name else f"{self.name}: {found}"
        return JobError(self.place, shown(named), shown(fix))


def shown(text: str) -> str:
    r"""Text of a file as a terminal can show it: nothing that moves its cursor or has no letter.

    >>> shown("layer\x1b[2J \udc80")
    'layer?[2J ?'
    """
    return "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in text)


def read_bytes(path: Path, source: Source) -> bytes:
    """The whole file; raises `JobError` where it is missing, no file, empty or too large."""
    try:
        if not path.is_file():
            found = "is a folder or a device, not a file" if path.exists() else "there is no such file"
            raise source.error(
                found, "give the name of a DXF or SVG file (in a job, relative to the job file)"
            )
        if path.stat().st_size > LARGEST_FILE:
            raise source.error(
                f"is larger than {LARGEST_FILE // 2**20} MB", "save a drawing that holds these shapes alone"
            )
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name cannot be used"
        raise source.error(f"cannot be read ({reason})", "check the name and who may read it") from error
    if not data.strip():
        raise source.error("is empty", "save the drawing again")
    return data


def unknown_layer(source: Source, layer: str, there: Iterable[str], word: str) -> JobError:
    """The error for a layer that is not in the file: names those that are, nearest first."""
    names = list(dict.fromkeys(name for name in there if name))
    near = get_close_matches(layer, names, n=3, cutoff=0.4)
    listed = [*near, *(name for name in names if name not in near)]
    more = f" and {len(listed) - 12} more" if len(listed) > 12 else ""
    shown = ", ".join(f'"{_short(name)}"' for name in listed[:12]) + more
    if not listed:
        return source.error(f'has no {word} "{_short(layer)}", nor any other', f"name its {word}s first")
    return source.error(f'has no {word} "{_short(layer)}"', f"use one that it has: {shown}")


def checked(piece: Piece, source: Source) -> Piece:
    """The same piece; raises `JobError` where it is not finite or further away than any board."""
    values = piece.vertices
    if not np.isfinite(values).all():
        raise source.error("has a position that is not a number", "draw or export it again")
    chord = np.hypot(*(np.roll(values, -1, axis=0) - values)[:, :2].T)
    rise = np.abs(values[:, 2]) * chord / 2
    if not piece.closed:
        rise = rise[:-1]
    if max(np.abs(values[:, :2]).max(initial=0), rise.max(initial=0)) > FURTHEST:
        raise source.error(
            f"has a position more than {FURTHEST / 1000:g} m from its origin",
            "draw the board near the origin, in its true size",
        )
    return piece


def _short(name: str) -> str:
    return name if len(name) <= 40 else name[:39] + "…"
