"""``trimgeo card``: the reference card to photograph a board on."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options


@options.command(
    "Write the reference card to print, as PDF, SVG or PNG.\n\n"
    "Print at 100 % with no fitting to the page, glue it to something flat, measure both 100 mm bars with "
    "a caliper, lay the board on it and photograph both.",
    "  trimgeo card --paper A4 --out card.pdf",
)
@click.option(
    "--paper",
    type=click.Choice(["A4", "A3", "letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Paper it is printed on.",
)
@options.out_file("A .pdf, .svg or .png file.")
def command(paper: str, out: Path) -> None:
    """Write the card."""
    from trimgeo.drawing.card import card_file
    from trimgeo.files import atomic_write

    data = card_file(paper, out.name)
    atomic_write(out, data)
    options.show_written([out.name])
    options.show("Print at 100 %, glue it to something flat, then measure both bars with a caliper.")
