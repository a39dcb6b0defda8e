"""report.html: one self-contained page, the answer first, readable on a phone and printable."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Mapping
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from trimgeo.drawing.signs import LINES, NEUTRAL, STATES
from trimgeo.model.plan import Plan
from trimgeo.model.provisos import provisos
from trimgeo.report import words
from trimgeo.report.casefigure import case_figure
from trimgeo.report.figure import numbers_explained, set_out_figure, to_set_out
from trimgeo.version import __version__

SIGNS: dict[str, str] = {
    state: f'<g fill="none" stroke="{STATES[state].colour}" stroke-width="3">{shape}</g>'
    for state, shape in (
        ("clear", '<circle cx="10" cy="10" r="7"/>'),
        ("tight", '<path d="M10 2 19 18H1Z"/>'),
        ("breached", '<path d="M3 3 17 17M17 3 3 17"/>'),
    )
}
"""The sign of each state, beside its word: never colour alone."""

MAY_BE_CUT = f'<path d="M3 10H17" fill="none" stroke="{NEUTRAL}" stroke-width="3"/>'
"""The sign of what may be cut: no state."""


def report_page(plan: Plan, jpegs: Mapping[str, bytes], svgs: Mapping[str, bytes]) -> str:
    """The page as HTML.

    ``jpegs`` are the pictures with the plan drawn on them, by view; where there are none, the
    sheets ``svgs`` are shown instead, by name.
    """
    if jpegs:
        pictures = [(f"{name}: the plan on the picture", _data("jpeg", jpegs[name])) for name in jpegs]
    else:
        pictures = [(name, _data("svg+xml", svgs[name])) for name in svgs]
    rows = sorted(plan.rows, key=words.urgency)
    keepouts = (*plan.board.keepouts, *plan.board.ignored)
    why = sorted({keepout.reason for keepout in keepouts})
    return _template().render(
        plan=plan,
        board=plan.board,
        job=plan.board.job,
        title=words.title(plan),
        provisos=tuple(filter(None, (words.unknown(plan), *provisos(plan)))),
        lost=words.lost_names(plan),
        verdict=words.verdict(plan),
        inner=words.inner_copper(plan),
        new_edges=words.new_edges(plan),
        cautions=words.CAUTIONS,
        pictures=pictures,
        rows=rows,
        why=why,
        figure=set_out_figure(plan),
        marked=to_set_out(plan),
        encased=case_figure(plan),
        numbers=numbers_explained(plan),
        reasons={k.name: why.index(k.reason) + 1 for k in keepouts},
        cut_length=sum(cut.length for cut in plan.cuts),
        version=__version__,
    )


def _data(kind: str, data: bytes) -> str:
    return f"data:image/{kind};base64,{b64encode(data).decode()}"


@cache
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("trimgeo.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "mm": words.mm,
        "signed": words.signed,
        "clearance": words.clearance,
        "layers": words.on_layers,
    }
    environment.globals |= {
        "signs": SIGNS | {"may be cut": MAY_BE_CUT},
        "looks": {kind: line.colour for kind, line in LINES.items()},
    }
    return environment.get_template("report.html")
