"""Outlines of a board to choose from: cuts against size, what proves the fewest, and the one asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Final

from shapely.geometry.base import BaseGeometry

from trimgeo.cutting import outline
from trimgeo.cutting.holding import fits
from trimgeo.cutting.kept import kept
from trimgeo.cutting.outline import Building, Wish, building, built, thin_places
from trimgeo.cutting.remarks import NECK
from trimgeo.errors import NoOutlineError
from trimgeo.jobfile import entries, need, need_case
from trimgeo.model.board import Board, Ring
from trimgeo.model.job import CutCount, OutlineTable
from trimgeo.model.plan import Choice, Proof, Trade, Weighed

MOST_SHOWN: Final = 12
"""Cuts up to which the trade of cuts against size is shown."""

WIDE: Final = 0.5
"""mm: a view's bound beyond this grows what is kept clear by more than most clearances are."""


def outlines(board: Board, most: int = MOST_SHOWN) -> Iterator[Choice]:
    """Outlines that hold all that must live, fewest cuts first; can be stopped at any time.

    The first one comes before the others are searched.  Raises `trimgeo.NoOutlineError` where there is none.

    >>> from trimgeo.model.job import Job
    >>> from trimgeo.stages import prepare
    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> part = {"name": "U1", "kind": "component", "polygon": [[0, 0], [30, 0], [30, 25], [0, 25]]}
    >>> how = {"cutter": {"kind": "blade", "kerf": 1}, "finish": {"sanding": 0.3}, "keepout": [part]}
    >>> board = prepare(Job(job={"title": "T"}, board=bare, **how))
    >>> [(choice.cuts, round(choice.area / 100, 1)) for choice in outlines(board, most=2)]  # cm²
    [(0, 24.0), (1, 12.4), (2, 8.0)]
    """
    with _shares_told(board):
        prepared = _building(board)
    return _offered(board, prepared, most)


def trade(board: Board, most: int = MOST_SHOWN) -> Trade:
    """All choices of `outlines` up to ``most`` cuts, with what is known of the fewest.

    >>> from trimgeo.model.job import Job
    >>> from trimgeo.stages import prepare
    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> part = {"name": "U1", "kind": "component", "polygon": [[0, 0], [30, 0], [30, 25], [0, 25]]}
    >>> how = {"cutter": {"kind": "blade", "kerf": 1}, "finish": {"sanding": 0.3}, "keepout": [part]}
    >>> board = prepare(Job(job={"title": "T"}, board=bare, **how))
    >>> found = trade(board, most=1)
    >>> found.fewest, found.proved, [round(choice.cut_length) for choice in found.choices]
    (0, 0, [0, 40])
    """
    with _shares_told(board):
        prepared = _building(board)
    found = tuple(_offered(board, prepared, most))
    return Trade(found, fewest=found[0].cuts, proved=min(prepared.proving.proved, found[0].cuts))


def proof(board: Board) -> Proof:
    """What proves that no outline has fewer new cuts, and the outline with the fewest that was found.

    Raises `trimgeo.NoOutlineError` where there is none.

    >>> from trimgeo.model.job import Job
    >>> from trimgeo.stages import prepare
    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> part = {"name": "U1", "kind": "component", "polygon": [[0, 0], [30, 0], [30, 25], [0, 25]]}
    >>> how = {"cutter": {"kind": "blade", "kerf": 1}, "finish": {"sanding": 0.3}, "keepout": [part]}
    >>> tray = {"gap": 0.5, "cavity": [[-2, -2], [45.5, -2], [45.5, 42], [-2, 42]]}
    >>> board = prepare(Job(job={"title": "T"}, board=bare, **how, case=tray))
    >>> found = proof(board)
    >>> found.proved, found.fewest.cuts
    (1, 1)
    """
    with _shares_told(board):
        return outline.proof(_building(board))


def _building(board: Board) -> Building:
    job = board.job
    cutter, finish = need(job, "cutter"), need(job, "finish")
    asked = job.outline or OutlineTable(build="smallest")
    slot = cutter.kerf + 2 * finish.sanding
    wish = Wish(board.case, asked.allow_inside_corners, asked.neck, cutter.kerf, slot, asked.round)
    edge = board.edge.polygon
    return building(board.keepouts, edge, cutter.wander, finish.sanding, job.placing, wish)


def _offered(board: Board, prepared: Building, most: int) -> Iterator[Choice]:
    with _shares_told(board):
        yield from (_fitted(board, choice) for choice in built(prepared, most))


@contextmanager
def _shares_told(board: Board) -> Iterator[None]:
    """Where no outline is found, what has a share in it: wide bounds of views, a case given in inches."""
    try:
        yield
    except NoOutlineError as refused:
        shares = (*_wide_views(board, refused.keepouts), *entries.told_cavity(board.case))
        told = [share for share in shares if share not in str(refused)]
        if not told:
            raise
        sentence = "; ".join((str(refused), *told))
        raise NoOutlineError(sentence, refused.meet, refused.lacks, refused.keepouts) from refused


def _wide_views(board: Board, names: Sequence[str]) -> list[str]:
    """Views whose bound grows the keep-outs of these names (none: any that must live) by much."""
    grown = {each.view for each in board.keepouts if not each.may_cut and (not names or each.name in names)}
    return [
        f"view {view.name} {'has' if names else 'may have'} a share in it, its positions being within "
        f"{view.uncertainty:.2f} mm only ({view.doubt})"
        for view in board.views
        if view.name in grown and view.uncertainty > WIDE
    ]


def _fitted(board: Board, choice: Choice) -> Choice:
    """A choice with what a person has to know before taking it: whether it fits its case, and a thin neck."""
    asked = board.job.outline
    thin = thin_places(choice.finished, asked.neck if asked else NECK)
    told = (*choice.notes, *(note for note in thin if note not in choice.notes))
    return replace(choice, fits=fits(board, Ring(choice.finished, board.edge.circles)), notes=told)


def _wanted(board: Board, cuts: int | None) -> int | None:
    """The most new cuts: those given, else those that the job's ``build`` names, if it does."""
    build = board.job.outline and board.job.outline.build
    return build.cuts if cuts is None and isinstance(build, CutCount) else cuts


def asked_for(board: Board, cuts: int | None) -> Choice:
    """The choice with at most ``cuts`` new cuts, or the one that the job's ``build`` asks for."""
    asked, cuts = board.job.outline, _wanted(board, cuts)
    need_case(board.job)
    if cuts == 0 and board.case is None:
        return outline.whole(board.keepouts, board.edge.polygon)
    with _shares_told(board):
        prepared = _building(board)
        if cuts is not None:
            return outline.with_cuts(prepared, cuts)
        if asked is not None and asked.build == "fewest":
            return outline.fewest(prepared)
        return outline.worth_cutting(prepared, None if asked is None else asked.gain)


def chosen_outline(board: Board, cuts: int | None, known: Trade | None = None) -> Choice:
    """The choice with at most ``cuts`` new cuts, or the one that the job's ``build`` asks for.

    Taken from ``known`` choices of `trade` where it is among them, else searched.
    Raises `trimgeo.NoOutlineError` where there is none, and where none has so few cuts.

    >>> from trimgeo.model.job import Job
    >>> from trimgeo.stages import prepare
    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> part = {"name": "U1", "kind": "component", "polygon": [[0, 0], [30, 0], [30, 25], [0, 25]]}
    >>> how = {"cutter": {"kind": "blade", "kerf": 1}, "finish": {"sanding": 0.3}, "keepout": [part]}
    >>> board = prepare(Job(job={"title": "T"}, board=bare, **how))
    >>> [round(side, 2) for side in chosen_outline(board, 2).finished.bounds]
    [0.0, 0.0, 30.91, 25.91]
    """
    need_case(board.job)
    cuts = _wanted(board, cuts)
    return _among(board, cuts, known) or _fitted(board, asked_for(board, cuts))


def with_chosen(found: Trade, chosen: Choice) -> Trade:
    """A trade with the chosen outline among its choices, which it need not have come to."""
    others = [each for each in found.choices if each.cuts != chosen.cuts]
    return replace(found, choices=tuple(sorted([*others, chosen], key=lambda each: each.cuts)))


def _among(board: Board, cuts: int | None, known: Trade | None) -> Choice | None:
    """The choice from a trade that was searched already, where it is sure to be among them."""
    if known is None or not known.choices:
        return None
    asked = board.job.outline
    if cuts is not None:
        fewer = [each for each in known.choices if each.cuts <= cuts]
        return fewer[-1] if fewer and cuts <= MOST_SHOWN else None
    if asked is not None and asked.build == "fewest":
        return known.choices[0]
    return outline.enough(known.choices, None if asked is None else asked.gain)


def weighed(board: Board) -> Weighed:
    """The trade and the outline that the job asks for, or why there is none; raises nothing for that.

    >>> from trimgeo.model.job import Job
    >>> from trimgeo.stages import prepare
    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> part = {"name": "U1", "kind": "component", "polygon": [[0, 0], [30, 0], [30, 25], [0, 25]]}
    >>> how = {"cutter": {"kind": "blade", "kerf": 1}, "finish": {"sanding": 0.3}, "keepout": [part]}
    >>> small = {"gap": 0.5, "cavity": [[0, 0], [29, 0], [29, 40], [0, 40]]}
    >>> board = prepare(Job(job={"title": "T"}, board=bare, **how, case=small))
    >>> found = weighed(board)
    >>> found.chosen is None, "U1" in found.refused
    (True, True)
    """
    found: Trade | None = None
    try:
        found = trade(board)
        chosen = chosen_outline(board, None, found)
        return Weighed(board.job.variant, with_chosen(found, chosen), chosen)
    except NoOutlineError as refused:
        return Weighed(board.job.variant, found, None, str(refused))


def grown_keepouts(board: Board) -> tuple[BaseGeometry, ...]:
    """What each keep-out that must stay takes with all that is kept clear around it, on the board.

    Raises `trimgeo.NoOutlineError` where nothing is to be kept.

    >>> from trimgeo.model.job import Job
    >>> from trimgeo.stages import prepare
    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> part = {"name": "U1", "kind": "component", "polygon": [[0, 0], [30, 0], [30, 25], [0, 25]]}
    >>> how = {"cutter": {"kind": "blade", "kerf": 1}, "finish": {"sanding": 0.3}, "keepout": [part]}
    >>> board = prepare(Job(job={"title": "T"}, board=bare, **how))
    >>> (grown,) = grown_keepouts(board)  # by 0.5 mm, and twice the uncertainty of 0.21 mm
    >>> [round(side, 2) for side in grown.bounds]
    [0.0, 0.0, 30.91, 25.91]
    """
    wander, sanding = need(board.job, "cutter").wander, need(board.job, "finish").sanding
    held = kept(board.keepouts, board.edge.polygon, wander, sanding, board.job.placing)
    return tuple(held.grown(0.0))
