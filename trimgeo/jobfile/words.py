"""Words for messages: places in a job file, and values shown short."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from datetime import date, datetime, time
from typing import Any

from trimgeo.errors import printable, quoted

_LONGEST = 40
"""Characters of a value or name in a message: enough to recognise it."""


def short(text: str) -> str:
    """A text cut to the 40 characters that a message can bear, all of them printable.

    >>> short("battery connector"), short("x" * 50)[36:]
    ('battery connector', 'xxx…')
    """
    text = printable(text)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "\N{HORIZONTAL ELLIPSIS}"


def show(value: Any) -> str:
    """A value of a job file, short, as it would be written there.

    >>> show("wheel"), show(True), show(-1.5), show([1, 2, 3]), show({})
    ('"wheel"', 'true', '-1.5', 'a list of 3', 'a table')
    """
    if isinstance(value, str):
        return quoted(short(value))
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a whole number of more than 18 digits"  # too long ones cannot even be turned to text
    if isinstance(value, int | float | date | time | datetime):
        return str(value)
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}" if len(value) else "an empty list"
    return "something else"


def place(source: str, table: str, name: str | int | None = None, *keys: str) -> str:
    """A place in a job file: file, table, the entry by name or number from 1, and keys.

    >>> place("job.toml", "[[keepout]]", "U1", "circle", "at")
    'job.toml, [[keepout]] "U1", circle, at'
    >>> place("job.toml", "[[keepout]]", 3)
    'job.toml, [[keepout]] number 3'
    """
    entry = "" if name is None else f" number {name}" if isinstance(name, int) else f' "{short(name)}"'
    return ", ".join([source, table + entry, *keys])


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that is written most like this one, None where none is near.

    >>> nearest("kerff", ["kerf", "kind"])
    'kerf'
    """
    found = difflib.get_close_matches(name.lower()[:200], list(known), n=1, cutoff=0.6)
    return found[0] if found else None


def nearest_first(name: str, known: Iterable[str]) -> list[str]:
    """The known names, up to three that are written like this one before the others, none twice.

    >>> nearest_first("KEEPOUT", ["0", "EDGE", "KEEPOUTS", "0"])
    ['KEEPOUTS', '0', 'EDGE']
    """
    names = list(dict.fromkeys(known))
    near = difflib.get_close_matches(name[:200], names, n=3, cutoff=0.4)
    return [*near, *(each for each in names if each not in near)]


def listed(names: Iterable[str]) -> str:
    """Names in a row, not more than a sentence bears.

    >>> listed(["a", "b"]), listed([])
    ('a, b', 'none')
    """
    shown = [short(name) for name in names]
    return ", ".join(shown[:20] + (["\N{HORIZONTAL ELLIPSIS}"] if len(shown) > 20 else [])) or "none"
