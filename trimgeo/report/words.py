"""Numbers and findings in words, the same on the terminal and in the report.

A number shown to a person carries its unit; a length that comes near copper carries its uncertainty.
"""

from __future__ import annotations

from collections.abc import Container

from trimgeo.model.plan import Plan, Row, State

MEANING: dict[State, str] = {
    "clear": "every clearance holds, the uncertainty taken off",
    "tight": "clearances hold as drawn, but not with the uncertainty taken off",
    "breached": "the outline comes too near to what must live, or cuts it",
}

CAUTIONS = (
    "Glass-fibre dust harms lungs and eyes: cut wet or with extraction, wear at least an FFP2 / N95 mask and "
    "eye protection.",
    "Before cutting, take out lithium cells, disconnect the mains and let capacitors discharge.",
    "Local codes and licensed practice come first, for mains parts above all.",
)
"""Shown wherever somebody is about to cut (NIOSH recommendations, FR-4 safety data sheets)."""


COPPER = frozenset(("trace", "via", "pad", "copper"))
"""Kinds of keep-outs that are copper."""


def verdict(plan: Plan) -> tuple[str, str]:
    """The answer in a word, and what it means; with nothing to compare it is no answer at all."""
    if not plan.rows:
        return "not compared", "the job has no keep-outs, so nothing is known to be safe"
    if not {row.name for row in plan.rows} - lost_names(plan):
        return "not compared", "every keep-out lies off the board, so nothing is known to be safe"
    return plan.state, MEANING[plan.state]


def mm(value: float | None, places: int = 2) -> str:
    """A length with its unit.

    >>> mm(1.2345), mm(None)
    ('1.23 mm', 'none')
    """
    return "none" if value is None else f"{value:.{places}f} mm"


def new_edges(plan: Plan) -> str:
    """How many new edges there are, in words."""
    return f"{len(plan.cuts)} new edge{'' if len(plan.cuts) == 1 else 's'}"


def signed(value: float) -> str:
    """A difference with its sign and unit; what rounds to nothing has none.

    >>> signed(0.051), signed(-0.2), signed(-0.001)
    ('+0.05 mm', '-0.20 mm', '0.00 mm')
    """
    rounded = round(value, 2)
    return f"{rounded:+.2f} mm" if rounded else "0.00 mm"


def clearance(row: Row) -> str:
    """A nominal clearance with its uncertainty and what is required.

    >>> clearance(Row("T1", "trace", (2,), None, 1.5, 0.41, 1.0, 0.45, (0, 0), "clear"))
    '1.50 mm ± 0.41 mm (required 0.45 mm)'
    """
    return f"{mm(row.nominal)} ± {mm(row.uncertainty)} (required {mm(row.required)})"


def urgency(row: Row) -> tuple[int, bool, float, str]:
    """What to sort rows by for a person: breached, tight, clear, then what may be cut; the nearest first."""
    rank = 3 if row.may_cut else {"breached": 0, "tight": 1, "clear": 2}[row.state]
    return rank, row.nominal is None, row.nominal or 0.0, row.name


def state_of(row: Row, lost: Container[str]) -> str:
    """The state of a row for a person; ``lost`` are the names of keep-outs that lie off the board.

    >>> row = Row("J1", "pad", (1,), None, None, 0.41, None, 0.45, None, "clear")
    >>> state_of(row, {"J1"}), state_of(row, ())
    ('off the board', 'clear')
    """
    if row.name in lost:
        return "off the board"
    return "may be cut" if row.may_cut and row.nominal is not None and row.nominal < 0 else row.state


def lost_names(plan: Plan) -> frozenset[str]:
    """The names of the keep-outs that lie wholly off the board: they have a row, and were not compared."""
    return frozenset(keepout.name for keepout in plan.board.ignored)


def on_layers(layers: tuple[int, ...]) -> str:
    """Copper layers in words.

    >>> on_layers((2,)), on_layers((1, 2, 3, 4)), on_layers((1, 4))
    ('2', '1-4', '1 4')
    """
    if len(layers) > 1 and layers == tuple(range(layers[0], layers[-1] + 1)):
        return f"{layers[0]}-{layers[-1]}"
    return " ".join(str(n) for n in layers)


def title(plan: Plan) -> str:
    """Title, revision and variant of the job on one line."""
    job = plan.board.job
    parts = [job.job.title]
    if job.job.revision:
        parts.append(f"revision {job.job.revision}")
    if job.variant:
        parts.append(f"variant {job.variant}")
    return ", ".join(parts)


def unknown(plan: Plan) -> str | None:
    """What is said first where a copper layer is not described at all."""
    if not plan.unknown_layers:
        return None
    layers = ", ".join(str(n) for n in plan.unknown_layers)
    if len(plan.unknown_layers) == 1:
        which, what = f"layer {layers}", "describes it, so nothing here says that it is safe"
    else:
        which, what = f"layers {layers}", "describes them, so nothing here says that they are safe"
    return f"UNKNOWN: copper {which}: no picture or keep-out {what}."


def inner_copper(plan: Plan) -> str:
    """The least clearance to inner copper in words."""
    row = plan.inner_minimum
    if row is not None:
        return f"{clearance(row)}, {row.kind} {row.name}"
    inner = list(range(2, plan.board.job.board.layers))
    if not inner:
        return "this board has no inner layers"
    if not set(inner) - set(plan.unknown_layers):
        return "not known: no inner layer is described"
    if not plan.cuts:
        return "nothing is cut"
    if not any(row.kind in COPPER and set(row.layers) & set(inner) for row in plan.rows):
        return "nothing compared: no copper is marked on the inner layers"
    return "all copper that is marked there may be cut"
