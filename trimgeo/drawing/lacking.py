"""Letters of a job that the typeface of the sheets lacks: told, because a sign stands in their place."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from trimgeo.drawing.lettering import SUBSTITUTE, written
from trimgeo.model.plan import Plan

_NAMED: Final = 6
"""Texts that one sentence names."""

_LONGEST: Final = 40


def with_lacking_told(plan: Plan) -> Plan:
    """The same plan with a warning that names the texts which sheets and overlays cannot show as they are."""
    told = tuple(text for text in lacking(_texts(plan)) if text not in plan.warnings)
    return replace(plan, warnings=(*plan.warnings, *told)) if told else plan


def lacking(texts: list[str]) -> tuple[str, ...]:
    """One warning on all texts with letters that the typeface lacks, or none.

    >>> lacking(["R1 Ω", "板 R2"])
    ('the typeface of the sheets lacks letters of "板 R2": � stands there in their place; use other names',)
    """
    found = [text for text in dict.fromkeys(texts) if not text.isascii() and _is_lacking(text)]
    if not found:
        return ()
    names = ", ".join(f'"{text[:_LONGEST]}"' for text in found[:_NAMED])
    more = f" and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
    return (
        f"the typeface of the sheets lacks letters of {names}{more}: {SUBSTITUTE} stands there in their "
        "place; use other names",
    )


def _is_lacking(text: str) -> bool:
    return SUBSTITUTE in written(text) and SUBSTITUTE not in text


def _texts(plan: Plan) -> list[str]:
    """What sheets show of a job's own words."""
    board = plan.board
    about = board.job.job
    return [
        *(about.title, about.revision or "", board.job.variant or ""),
        *(keepout.name for keepout in (*board.keepouts, *board.ignored)),
        *(part.name for part in board.parts),
        *(hole.name for hole in board.holes),
        *(probe.name for probe in board.probes),
    ]
