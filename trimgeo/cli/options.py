"""Arguments and options that commands share, each declared once."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from textwrap import wrap
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def command(help_lines: str, example: str) -> Callable[[Callable[..., Any]], click.Command]:
    """A command with its help and a worked example, and the options that every command has."""

    def decorate(function: Callable[..., Any]) -> click.Command:
        wrapped = click.option(
            "--traceback", is_flag=True, expose_value=False, help="Show where a fault of the program arose."
        )(function)
        made: click.Command = click.command(help=help_lines, epilog=f"\b\nExample:\n{example}")(wrapped)
        return made

    return decorate


def as_path(_context: click.Context, _parameter: click.Parameter, value: str | None) -> Path | None:
    """A path as the user gave it: whether it is there is for the library to say.

    An empty one, as a variable without a value leaves it, would mean the folder one is in: refused.
    """
    if value == "":
        raise click.BadParameter("found an empty name")
    return None if value is None else Path(value)


job = click.argument("job", type=click.Path(), callback=as_path)
variant = click.option("--variant", metavar="NAME", help="The variant to compute, where the job has several.")
json = click.option("--json", "as_json", is_flag=True, help="Print the machine-readable result alone.")


def _as_drawing(context: click.Context, parameter: click.Parameter, value: str | None) -> Path | None:
    path = as_path(context, parameter, value)
    if path is not None and path.suffix.lower() not in (".svg", ".pdf"):
        raise click.BadParameter(f"found {path.name}: name a file that ends in .svg or .pdf")
    return path


def drawing(option: str, help_line: str) -> Callable[[F], F]:
    """An option that names a file to draw, SVG or PDF."""
    return click.option(option, type=click.Path(), callback=_as_drawing, metavar="FILE", help=help_line)


def out_file(help_line: str) -> Callable[[F], F]:
    """``--out FILE``, required."""
    return click.option(
        "--out", required=True, type=click.Path(), callback=as_path, metavar="FILE", help=help_line
    )


def out_folder(help_line: str) -> Callable[[F], F]:
    """``--out DIR``, required; made where it is missing."""
    return click.option(
        "--out", required=True, type=click.Path(), callback=as_path, metavar="DIR", help=help_line
    )


def show(text: str, line_end: bool = True) -> None:
    """Print a result; a reader that has seen enough takes nothing from the exit status.

    Raises `trimgeo.JobError` where it cannot be written, for instance on a full disk.
    """
    from trimgeo.errors import JobError

    try:
        click.echo(text, nl=line_end)
    except BrokenPipeError:
        # What Python flushes when it ends goes nowhere, instead of ending in a message.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as fault:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise JobError(
            "standard output", f"cannot be written ({fault.strerror})", "send it elsewhere"
        ) from fault


def show_written(names: Iterable[str]) -> None:
    """Say which files were written, on lines of at most 80 columns; a name is never broken."""
    lines = wrap(f"Wrote {', '.join(names)}.", 80, break_on_hyphens=False, break_long_words=False)
    show("\n".join(lines))


def show_json(value: Mapping[str, Any] | list[Any]) -> None:
    """Print a result as JSON, the same bytes on every machine."""
    from trimgeo.files import json_bytes

    show(json_bytes(value).decode(), line_end=False)
