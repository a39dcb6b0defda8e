"""What stands beside the answer: what a plan may be wrong about although every clearance holds, in words.

It stands in `model`, because terminal, page and sheet all begin with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from trimgeo.model.board import Board
from trimgeo.model.phrases import lacking, together

if TYPE_CHECKING:
    from trimgeo.model.plan import Fit, Hit, Plan

_NAMED: Final = 2
"""How many are named before the rest is counted."""

_ROUNDING: Final = 1e-6
"""mm: a board that was built to keep the gap keeps it."""


def provisos(plan: Plan) -> tuple[str, ...]:
    """One line for each thing that is wrong whatever the clearances are, the gravest first.

    Keep-outs off the board, which nothing was compared with; a case that the board does not go into; parts
    that must survive where the cutter or its hand-piece runs into them.
    """
    return (*off_the_board(plan.board), *no_fit(plan.holding.fit), *in_the_way(plan.holding.hits))


def off_the_board(board: Board) -> tuple[str, ...]:
    """The keep-outs that must live and lie wholly off the board.

    >>> import shapely
    >>> from trimgeo.model.board import Keepout, Ring
    >>> from trimgeo.model.job import About, BoardTable, Job
    >>> job = Job(job=About(title="t"), board=BoardTable(thickness=1.6, edge=((0, 0), (9, 0), (9, 9))))
    >>> far = Keepout("J1", "component", shapely.box(50, 0, 60, 9), 0.0, (1,), None, 0.5, "")
    >>> print(*off_the_board(Board(job, Ring(shapely.box(0, 0, 9, 9)), (), ignored=(far,))))
    OFF THE BOARD: J1 lies wholly off the board and was not compared: mend its position.
    """
    lost = [each for each in board.ignored if not each.may_cut]
    if not lost:
        return ()
    views = list(dict.fromkeys(each.view for each in lost if each.view is not None))
    if len(lost) == 1:
        said = "lies wholly off the board and was not compared: mend its position"
    else:
        said = "lie wholly off the board and were not compared: mend their positions"
    where = f", or `place` of view{'s' if len(views) > 1 else ''} {together(views)}" if views else ""
    return (f"OFF THE BOARD: {_some([each.name for each in lost])} {said}{where}.",)


def no_fit(found: Fit | None) -> tuple[str, ...]:
    """That the finished board does not go into its case, and what it lacks.

    >>> from trimgeo.model.plan import Fit
    >>> no_fit(Fit(False, -17.98, 0.0, (0.0, 0.0), 0.0, -20.0, ()))
    ('DOES NOT FIT its case: it lacks 17.98 mm.',)
    """
    if found is None or found.fits:
        return ()
    lacks = [f"it lacks {lacking(-found.spare)}"] if found.spare < -_ROUNDING else []
    lacks += [f"{name} is {mm:.1f} mm too high" for name, mm in found.too_high]
    return (f"DOES NOT FIT its case: {together(lacks)}.",)


def in_the_way(hits: Iterable[Hit]) -> tuple[str, ...]:
    """The parts that must survive and that wheel or hand-piece runs into, however it is held.

    A hand-piece that has room on one side of its cut, once parts that may go are gone, is not in the way.

    >>> from trimgeo.model.plan import Hit
    >>> wheel = [Hit(name, 9.0, cut, "wheel", None, True) for cut, name in enumerate(("J1", "BT1", "J1"), 1)]
    >>> in_the_way([*wheel, Hit("U1", 9.0, 1, "holder", "kept", True)])
    ('IN THE WAY: the wheel runs into J1 and BT1, which must survive.',)
    """
    met = [hit for hit in hits if hit.must_live]
    sides = {(hit.cut, hit.side) for hit in met if hit.by == "holder"}
    blocked = [hit for hit in met if hit.side is None or {(hit.cut, "waste"), (hit.cut, "kept")} <= sides]
    said = []
    for by, words in (("wheel", "the wheel runs into"), ("holder", "the hand-piece runs into")):
        names = list(dict.fromkeys(hit.name for hit in blocked if hit.by == by))
        if names:
            said.append(f"IN THE WAY: {words} {_some(names)}, which must survive.")
    return tuple(said)


def _some(names: Sequence[str]) -> str:
    """Names for one line: the first two, and how many more.

    >>> _some(["J1", "J2"]), _some(["J1", "J2", "J3", "J4"])
    ('J1 and J2', 'J1, J2 and 2 more')
    """
    if len(names) <= _NAMED + 1:
        return together(names)
    return f"{', '.join(names[:_NAMED])} and {len(names) - _NAMED} more"
