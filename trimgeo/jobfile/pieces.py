"""What the readers of drawing files hand over, and the limits that all of them keep."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trimgeo.errors import JobError, NothingThereError, printable, quoted
from trimgeo.jobfile.words import nearest_first, short
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
        """The error for something found in this file.

        >>> print(Source("job.toml, [board], edge", "edge.dxf").error("is empty", "save it again"))
        job.toml, [board], edge: edge.dxf: is empty; save it again.
        """
        return JobError(self.place, *self._words(found, fix))

    def nothing(self, found: str, fix: str) -> NothingThereError:
        """The error for a layer of this file on which nothing is."""
        return NothingThereError(self.place, *self._words(found, fix))

    def _words(self, found: str, fix: str) -> tuple[str, str]:
        named = found if self.place == self.name else f"{self.name}: {found}"
        return printable(named), printable(fix)


def read_bytes(path: Path, source: Source) -> bytes:
    """The whole file; raises `JobError` where it is missing, no file, empty or too large.

    >>> read_bytes(Path("none.dxf"), Source("[outline], file", "none.dxf"))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    trimgeo.errors.JobError: [outline], file: none.dxf: there is no such file; give the name of a DXF or...
    """
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


def unknown_layer(source: Source, layer: str, there: Iterable[str], word: str) -> NothingThereError:
    """The error for a layer that is not in the file: names those that are, nearest first.

    ``word`` is what the format calls a layer.

    >>> print(unknown_layer(Source("x.dxf", "x.dxf"), "EGDE", ["0", "EDGE"], "layer"))
    x.dxf: has no layer "EGDE"; use one that it has: "EDGE", "0".
    """
    wanted, names = quoted(short(layer)), nearest_first(layer, filter(None, there))
    if not names:
        return source.nothing(f"has no {word} {wanted}, nor any other", f"name its {word}s first")
    more = f" and {len(names) - 12} more" if len(names) > 12 else ""
    known = ", ".join(quoted(short(name)) for name in names[:12]) + more
    return source.nothing(f"has no {word} {wanted}", f"use one that it has: {known}")


def checked(piece: Piece, source: Source) -> Piece:
    """The same piece; raises `JobError` where it is not finite or further away than any board.

    >>> metres = Piece(np.array([[0.0, 0.0, 0.0], [20000.0, 0.0, 0.0]]), closed=False)
    >>> checked(metres, Source("x.dxf", "x.dxf"))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    trimgeo.errors.JobError: x.dxf: has a position more than 10 m from its origin; draw the board near...
    """
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
