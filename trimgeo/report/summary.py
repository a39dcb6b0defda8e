"""The short text on the terminal: fits 80 columns, needs no colour."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

from trimgeo.model.board import Board, View
from trimgeo.model.plan import Choice, Plan, Row, Trade, Weighed
from trimgeo.model.provisos import off_the_board, provisos
from trimgeo.report.words import (
    clearance,
    inner_copper,
    lost_names,
    mm,
    new_edges,
    on_layers,
    signed,
    state_of,
    title,
    unknown,
    urgency,
    verdict,
)

WIDTH = 80
MOST_ROWS = 20
BESIDE = 4
"""Variants side by side in one table."""


def check_lines(plan: Plan) -> list[str]:
    """The answer first, then the nearest keep-outs and what else was found."""
    job = plan.board.job
    lines = wrap(title(plan), WIDTH)
    first = unknown(plan)
    if first:
        lines += wrap(first, WIDTH)
    for proviso in provisos(plan):
        lines += wrap(proviso, WIDTH)
    answer, meaning = verdict(plan)
    lines += wrap(f"{answer.upper()}: {meaning}.", WIDTH)
    if plan.minimum is not None:
        lines += _wrapped(
            "Least clearance: ", f"{clearance(plan.minimum)}, {plan.minimum.kind} {plan.minimum.name}"
        )
    lines += _wrapped("To inner copper: ", inner_copper(plan))
    cut_length = sum(cut.length for cut in plan.cuts)
    lines += _wrapped(
        "Outline:         ",
        f"{new_edges(plan)}, {mm(cut_length, 1)} to cut, "
        f"{plan.finished.area / 100:.1f} of {plan.board.edge.area / 100:.1f} cm² kept",
    )
    if job.cutter is not None and job.finish is not None:
        lines += _wrapped(
            "Cutter:          ",
            f"{job.cutter.kind}, kerf {mm(job.cutter.kerf)}, wander {mm(job.cutter.wander)}, "
            f"sanding margin {mm(job.finish.sanding)}",
        )
    if plan.holding.fit is not None and plan.holding.fit.fits:
        lines += _wrapped("Case:            ", " ".join(plan.holding.fit.notes))
    lines += ["", *_row_lines(plan.rows, lost_names(plan))]
    if plan.lift:
        lines += ["", "Lift before cutting:"]
        for part in plan.lift:
            lines += _wrapped("  ", f"{part.name} ({part.face}): {part.reason}")
    for each in plan.severed:
        net = f", net {each.net}" if each.net else ""
        lines += _wrapped("Severed: ", f"{each.name}{net}, at {len(each.at)} place(s)")
    for warning in plan.warnings:
        lines += _wrapped("Warning: ", warning)
    return lines


def view_lines(view: View) -> list[str]:
    """A view's scale, residuals and checks."""
    residual = "no residual" if view.residual_rms is None else f"residual {mm(view.residual_rms, 3)} rms"
    if view.residual_max is not None:
        residual += f", {mm(view.residual_max, 3)} at most"
    lines = _wrapped(
        f"{view.name}: ",
        f"by {view.method}, {view.picture.pixels_per_mm:.2f} pixels per mm, {residual}, "
        f"positions within {mm(view.uncertainty)} (95 %)",
    )
    for check in view.checks:
        lines += _wrapped(
            "  check ", f"{mm(check.length)} measured as {mm(check.measured)}, error {signed(check.error)}"
        )
    if view.note:
        lines += _wrapped("  ", view.note)
    for warning in view.warnings:
        lines += _wrapped("  Warning: ", warning)
    return lines


def lost_lines(board: Board) -> list[str]:
    """The keep-outs off the board, which an outline is not built around: said before its trade."""
    return [line for each in off_the_board(board) for line in wrap(each, WIDTH)]


def trade_lines(trade: Trade, chosen: Choice) -> list[str]:
    """The trade of cuts against size as a table; the chosen line is marked."""
    lines = ["   cuts   area cm²   cut length mm   inside corners   least clearance mm"]
    for choice in trade.choices:
        mark = "->" if choice.cuts == chosen.cuts else "  "
        clear = "-" if choice.clearance is None else f"{choice.clearance:.2f}"
        lines.append(
            f"{mark} {choice.cuts:4d} {choice.area / 100:10.2f} {choice.cut_length:15.1f}"
            f" {choice.inside_corners:16d} {clear:>20}"
        )
    misfits = [str(choice.cuts) for choice in trade.choices if choice.fits is False]
    if misfits:
        lines += _wrapped("   ", f"with {', '.join(misfits)} cuts the board does not fit its case: see check")
    for choice in trade.choices:
        for note in choice.notes:
            lines += _wrapped("   ", f"with {choice.cuts} cuts {note}")
    lines.append("-> chosen; --cuts N chooses another, --write puts it into the job file")
    points = ", ".join(f"[{x:.3f}, {y:.3f}]" for x, y in chosen.finished.exterior.coords[:-1])
    return [*lines, "", *_wrapped("points = ", f"[{points}]")]


def comparison_lines(variants: Sequence[Weighed], together: Weighed) -> list[str]:
    """The trade of each variant beside that of an outline that serves them all; chosen ones are marked."""
    named = [*((each.variant or "", each) for each in variants), ("all together", together)]
    lines: list[str] = []
    for start in range(0, len(named), BESIDE):
        some = named[start : start + BESIDE]
        lines += ["", *_table(some)] if start else _table(some)
    lines.append("-> the one that the job's build asks for")
    for name, each in named:
        if each.refused is not None:
            lines += _wrapped(f"{name}: ", f"{each.refused}.")
    return [*lines, *_served(variants, together)]


def _table(named: Sequence[tuple[str, Weighed]]) -> list[str]:
    """Area and length of cuts, for each number of cuts, side by side."""
    trades = [{} if each.trade is None else {c.cuts: c for c in each.trade.choices} for _, each in named]
    lines = [
        "cuts" + "".join(f"{name if len(name) <= 16 else name[:15] + '…':>18}" for name, _ in named),
        "    " + "      cm²  mm to cut" * len(named),
    ]
    for cuts in sorted({cuts for trade in trades for cuts in trade}):
        cells = []
        for trade, (_, each) in zip(trades, named, strict=True):
            choice = trade.get(cuts)
            mark = "->" if each.chosen is not None and each.chosen.cuts == cuts else "  "
            cells.append(
                f" {mark}{'-':>6} {'-':>8}"
                if choice is None
                else f" {mark}{choice.area / 100:6.1f} {choice.cut_length:8.1f}"
            )
        lines.append(f"{cuts:4d}" + "".join(cells))
    return lines


def _served(variants: Sequence[Weighed], together: Weighed) -> list[str]:
    """What it costs to serve all variants with one outline."""
    if together.chosen is None:
        return []
    more = [
        f"{(together.chosen.area - each.chosen.area) / 100:+.1f} cm² against {each.variant}"
        for each in variants
        if each.chosen is not None
    ]
    cuts = f"{together.chosen.cuts} new cut{'' if together.chosen.cuts == 1 else 's'}"
    return _wrapped(
        "All together: ",
        f"one outline that serves every variant has {cuts} and {together.chosen.area / 100:.1f} cm²"
        + (f": {', '.join(more)}." if more else "."),
    )


def _row_lines(rows: tuple[Row, ...], lost: frozenset[str]) -> list[str]:
    """The nearest keep-outs, breached ones first of all."""
    if not rows:
        return ["No keep-outs: nothing was compared."]
    nearest = sorted(rows, key=urgency)
    lines = [f"{'keep-out':30} {'kind':9} {'layers':>7} {'nominal':>9} {'worst':>9}  state"]
    for row in nearest[:MOST_ROWS]:
        name = row.name if len(row.name) <= 30 else row.name[:27] + "..."
        nominal = "-" if row.nominal is None else f"{row.nominal:.2f} mm"
        worst = "-" if row.worst is None else f"{row.worst:.2f} mm"
        layers = on_layers(row.layers)
        layers = layers if len(layers) <= 7 else layers[:6] + "…"
        lines.append(f"{name:30} {row.kind:9} {layers:>7} {nominal:>9} {worst:>9}  {state_of(row, lost)}")
    if len(nearest) > MOST_ROWS:
        lines.append(f"and {len(nearest) - MOST_ROWS} more, further away (all of them with --json)")
    return lines


def _wrapped(label: str, text: str) -> list[str]:
    """The text behind its label, continued under itself."""
    return wrap(text, WIDTH, initial_indent=label, subsequent_indent=" " * min(len(label), 17)) or [label]
