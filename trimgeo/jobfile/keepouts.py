"""Keep-outs of a job in millimetres, many at a time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.errors import JobError
from trimgeo.jobfile.clearances import required
from trimgeo.jobfile.positions import Marks, marks
from trimgeo.jobfile.shapefiles import Shape, read_shapes, told_unit
from trimgeo.jobfile.shapes import Floats, Ints, Shapes, Where, check_sizes, polygons
from trimgeo.jobfile.words import place, short
from trimgeo.model.board import FaceName, Keepout, Ring, View
from trimgeo.model.job import Job, KeepoutFileTable, KeepoutTable
from trimgeo.model.keys import Point
from trimgeo.plane.leaning import feet_of
from trimgeo.tables import PART_HEIGHT, Required


@dataclass(frozen=True, eq=False)
class _Exact:
    """Exact shapes: ``spines`` grown by ``radii``, both of shape (k,), with their uncertainty."""

    spines: Shapes
    radii: Floats
    uncertainty: Floats


@dataclass(frozen=True)
class Found:
    """Keep-outs that lie on the board at least in part; those that do not, with a warning each."""

    kept: tuple[Keepout, ...]
    ignored: tuple[Keepout, ...]
    warnings: tuple[str, ...]


def keepouts(job: Job, views: Mapping[str, View], edge: Ring) -> Found:
    """All keep-outs of a job in mm.

    Those of ``[[keepout]]`` come first, then those of ``[[keepouts]]``, each in the order of the job.

    Raises `trimgeo.JobError` where a shape is at fault or a file cannot be read.
    """
    tables, names, exact, warnings = _all(job, views)
    off, whole = _on_board(exact, edge)
    requirement = lru_cache(maxsize=None)(lambda kind, layers, own: required(job, kind, layers, own))
    kept: list[Keepout] = []
    ignored: list[Keepout] = []
    rest = zip(
        tables,
        names,
        exact.spines,
        exact.radii.tolist(),
        exact.uncertainty.tolist(),
        off.tolist(),
        whole.tolist(),
        strict=True,
    )
    for table, name, spine, radius, uncertainty, is_off, is_whole in rest:
        if is_off:
            warnings.append(
                f'keep-out "{short(name)}" lies off the board and has no effect{_hint(table, views)}'
            )
        layers, face = _where_it_is(job, table, views)
        clearance: Required = requirement(table.kind, layers, table.clearance)
        (ignored if is_off else kept).append(
            Keepout(
                name=name,
                kind=table.kind,
                spine=spine,
                radius=radius,
                layers=layers,
                net=table.net,
                required=clearance.mm,
                reason=clearance.reason,
                may_cut=table.may_cut,
                height=table.height,
                face=face,
                uncertainty=uncertainty,
                on_board=is_whole,
                view=_view_of(table),
                scale_known=_scale_known(table, views),
            )
        )
    return Found(tuple(kept), tuple(ignored), tuple(warnings))


def _view_of(table: KeepoutTable | KeepoutFileTable) -> str | None:
    return table.on if isinstance(table, KeepoutTable) else None


def _scale_known(table: KeepoutTable | KeepoutFileTable, views: Mapping[str, View]) -> bool:
    name = _view_of(table)
    return name is None or views[name].scale_known


def described_layers(job: Job, keepouts: Sequence[Keepout]) -> frozenset[int]:
    """Copper layers of which something is known: those that a view shows, or a keep-out names.

    A keep-out that leaves ``layers`` out says where a part or hole stands and nothing about the
    copper of the layers that it passes: those stay unknown, which is the safe side.

    >>> from trimgeo.model.job import About, BoardTable
    >>> board = BoardTable(thickness=1.6, layers=4, edge=((0, 0), (9, 0), (9, 9)))
    >>> drawn = KeepoutFileTable(file="inner.dxf", layer="GND", kind="copper", layers=(2,))
    >>> sorted(described_layers(Job(job=About(title="t"), board=board, keepouts=(drawn,)), ()))
    [2]
    """
    faces = {"top": 1, "bottom": job.board.layers}
    shown = {view.shows if isinstance(view.shows, int) else faces[view.shows] for view in job.view}
    here = {keepout.name for keepout in keepouts}
    named = {layer for table in job.keepout if table.name in here for layer in table.layers or ()}
    from_files = {layer for table in job.keepouts for layer in table.layers or ()}
    return frozenset(shown | named | from_files)


def _all(
    job: Job, views: Mapping[str, View]
) -> tuple[list[KeepoutTable | KeepoutFileTable], list[str], _Exact, list[str]]:
    """Every keep-out of the job: its table, its name and its shape; and warnings about files."""
    tables: list[KeepoutTable | KeepoutFileTable] = [*job.keepout]
    names = [table.name for table in job.keepout]
    pieces = [_drawn(job, views)]
    told: list[str] = []
    for number, table in enumerate(job.keepouts, 1):
        where = place(job.source, "[[keepouts]]", number, "file")
        found = read_shapes(job.folder / table.file, table.layer, where)
        pieces.append(_from_file(found))
        told += told_unit(found, table.file, f"what is on its layer {short(table.layer)}")
        tables += [table] * len(found)
        # A shape that the file does not name is labelled by its layer already.
        names += [f"{table.layer}:{shape.label.removeprefix(f'{table.layer}:')}" for shape in found]
    return tables, _told_apart(names, tables), _joined(pieces), told


def _from_file(shapes: Sequence[Shape]) -> _Exact:
    spines = np.empty(len(shapes), dtype=object)
    spines[:] = [shapely.Point(shape.disc.centre) if shape.disc else shape.ring.polygon for shape in shapes]
    radii = np.array([shape.disc.radius if shape.disc else 0.0 for shape in shapes])
    return _Exact(spines, radii, np.zeros(len(shapes)))


def _joined(pieces: Sequence[_Exact]) -> _Exact:
    return _Exact(
        np.concatenate([each.spines for each in pieces]),
        np.concatenate([each.radii for each in pieces]),
        np.concatenate([each.uncertainty for each in pieces]),
    )


def _told_apart(names: list[str], tables: Sequence[KeepoutTable | KeepoutFileTable]) -> list[str]:
    """Names from files, with the file where two files have the same, and a number after that."""
    often = Counter(names)
    longer = [
        f"{name} of {table.file}" if often[name] > 1 and isinstance(table, KeepoutFileTable) else name
        for name, table in zip(names, tables, strict=True)
    ]
    seen: Counter[str] = Counter()
    for n, name in enumerate(longer):
        seen[name] += 1
        longer[n] = f"{name} ({seen[name]})" if seen[name] > 1 else name
    return longer


def _drawn(job: Job, views: Mapping[str, View]) -> _Exact:
    """The shapes of ``[[keepout]]``: polygons, circles and paths, each kind at one go."""
    tables = job.keepout

    def where(i: int) -> str:
        return place(job.source, "[[keepout]]", tables[i].name, _shape_key(tables[i]))

    marked = _on_their_feet(
        marks([_points(table) for table in tables], [table.on for table in tables], views, where),
        tables,
        views,
        where,
    )
    forms = np.array([_shape_key(table) for table in tables], dtype="U7")
    spines = np.empty(len(tables), dtype=object)
    for form in ("polygon", "path", "circle"):
        chosen = forms == form
        numbers = np.flatnonzero(chosen)
        if not len(numbers):
            continue
        xy, counts = marked.of(chosen)
        place_of = _renumbered(where, numbers)
        if form == "polygon":
            spines[chosen] = polygons(xy, counts, place_of)
        elif form == "path":
            spines[chosen] = _middle_lines(xy, counts, place_of)
        else:
            spines[chosen] = shapely.points(xy)
    radii = np.array([_radius(table) for table in tables], dtype=np.float64)
    return _Exact(spines, radii, marked.uncertainty)


def _on_their_feet(
    marked: Marks, tables: Sequence[KeepoutTable], views: Mapping[str, View], where: Where
) -> Marks:
    """Those that were marked at their top, brought back to their foot along the camera's rays.

    The height was measured too: its uncertainty moves the foot along the lean.
    """
    chosen = [n for n, table in enumerate(tables) if table.traced == "top"]
    if not chosen:
        return marked
    xy, uncertainty = marked.xy.copy(), marked.uncertainty.copy()
    starts = np.cumsum(marked.counts) - marked.counts
    for n in chosen:
        table = tables[n]
        view = views[table.on or ""]
        eye, height = view.to_board.eye, table.height
        assert height is not None
        if eye is None or height >= eye[2]:
            found = (
                "a view that does not know where its camera stood"
                if eye is None
                else "a camera below the top"
            )
            raise JobError(
                where(n),
                f'found traced = "top" on {found}',
                "mark the foot of the part, or scale the view by a card",
            )
        own = slice(starts[n], starts[n] + marked.counts[n])
        lean = np.hypot(*(xy[own] - np.array(eye[:2])).T).max() / eye[2]
        xy[own] = feet_of(xy[own], eye, height)
        uncertainty[n] = np.hypot(uncertainty[n], PART_HEIGHT * lean)
    return Marks(xy, marked.counts, uncertainty)


def _renumbered(where: Where, numbers: Ints) -> Where:
    return lambda i: where(int(numbers[i]))


def _middle_lines(xy: Floats, counts: Ints, where: Where) -> Shapes:
    """Lines of paths, which may cross themselves but must have a length."""
    owner = np.repeat(np.arange(len(counts)), counts)
    check_sizes(xy, owner, where)
    lines: Shapes = shapely.linestrings(xy, indices=owner)
    points = shapely.length(lines) == 0
    if points.any():
        first = int(np.argmax(points))
        raise JobError(where(first), "found a path without length", "give it two different points or more")
    return lines


def _shape_key(table: KeepoutTable) -> str:
    return "polygon" if table.polygon is not None else "circle" if table.circle is not None else "path"


def _points(table: KeepoutTable) -> Sequence[Point]:
    if table.polygon is not None:
        return table.polygon
    if table.circle is not None:
        return (table.circle.at,)
    return table.path.points if table.path is not None else ()


def _radius(table: KeepoutTable) -> float:
    if table.circle is not None:
        return table.circle.diameter / 2
    return table.path.width / 2 if table.path is not None else 0.0


def _on_board(exact: _Exact, edge: Ring) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which shapes share no area with the board, and which lie on it whole; both of shape (k,)."""
    board, rim = edge.polygon, edge.polygon.exterior
    shapely.prepare(board)
    whole = shapely.covers(board, exact.spines)
    off = np.zeros(len(whole), dtype=bool)
    areas = exact.radii == 0
    doubtful = areas & ~whole
    spines = exact.spines[doubtful]
    off[doubtful] = ~shapely.intersects(board, spines) | shapely.touches(board, spines)
    grown = ~areas
    off[grown] = shapely.distance(board, exact.spines[grown]) >= exact.radii[grown]
    whole[grown] &= shapely.distance(rim, exact.spines[grown]) >= exact.radii[grown]
    return off, whole


def _hint(table: KeepoutTable | KeepoutFileTable, views: Mapping[str, View]) -> str:
    """What may be wrong with a keep-out off the board: most often, pixels without their view."""
    if isinstance(table, KeepoutFileTable) or not views:
        return ": check its positions"
    if table.on is None:
        return ": if its points are pixels, name their view with `on`"
    return ": check its pixels, [column, row]"


def _where_it_is(
    job: Job, table: KeepoutTable | KeepoutFileTable, views: Mapping[str, View]
) -> tuple[tuple[int, ...], FaceName | None]:
    """The copper layers of a keep-out, and the face that a component stands on."""
    last = job.board.layers
    if table.kind != "component":
        return (tuple(sorted(set(table.layers))) if table.layers else tuple(range(1, last + 1))), None
    view = views[table.on] if isinstance(table, KeepoutTable) and table.on else None
    shown = view.shows if view else "top"
    if not table.layers:
        return ((last,), "bottom") if shown == "bottom" else ((1,), "top")
    layers = tuple(sorted(set(table.layers)))
    if (1 in layers) == (last in layers):  # through the board, or buried in it: the view decides
        return layers, "bottom" if shown == "bottom" else "top"
    return layers, "top" if 1 in layers else "bottom"
