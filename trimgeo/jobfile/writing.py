"""An outline written into a job file, and nothing else there changed."""

from __future__ import annotations

import codecs
import tomllib
from collections.abc import Iterable, Sequence
from os import PathLike
from pathlib import Path
from typing import Any, Final

import tomlkit
from shapely import Polygon
from tomlkit.container import Container
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import InlineTable, Item, SingleKey, Table

from trimgeo.errors import JobError
from trimgeo.files import atomic_write
from trimgeo.jobfile.reading import job_path, read_text
from trimgeo.model.job import OutlineTable

STAYS: Final = ("neck",)
"""Keys of ``[outline]`` that do not say where the outline comes from."""


def with_outline(text: str, points: Iterable[Sequence[float]]) -> str:
    r"""The text of a job file with ``points`` (mm) as its outline; every comment elsewhere stays.

    Every key of ``[outline]`` but ``neck`` says where the outline comes from, so ``points`` takes their
    place: that of an earlier ``points``, else that of the first key.  Where the job has no ``[outline]`` it
    gets one.

    Raises `trimgeo.JobError` where the text is no TOML.

    >>> job = '[outline] # the line\nbuild = "smallest"  # mine\n'
    >>> print(with_outline(job, [(0, 0), (9.5, 0), (9.5, 8)]))
    [outline] # the line
    points = [
        [0.0, 0.0],
        [9.5, 0.0],
        [9.5, 8.0],
    ]  # mine
    <BLANKLINE>
    """
    corners = [[float(x) + 0.0, float(y) + 0.0] for x, y in points]  # + 0.0: no minus before a zero
    line_end = "\r\n" if "\r\n" in text else "\n"
    try:
        before = tomllib.loads(text)
        stays = {key: value for key, value in _table(before).items() if key in STAYS}
        expected = {**before, "outline": {"points": corners, **stays}}
        changed = _replaced(text, corners, line_end)
        if changed is None or tomllib.loads(changed) != expected:
            changed = _moved_to_end(text, corners, stays, line_end)
    except (ValueError, TOMLKitError, RecursionError) as error:
        raise JobError("the job file", f"found no valid TOML ({error})", "mend it first") from None
    return changed


def write_outline(path: str | PathLike[str], outline: Polygon) -> None:
    """Put an outline into the job file, or the ``job.toml`` of a folder, that ``path`` means.

    Raises `trimgeo.JobError` where the file cannot be read or written.
    """
    file = job_path(Path(path))
    changed = with_outline(read_text(file), outline.exterior.coords[:-1])
    # Reading drops a byte order mark: a file that has one keeps it.
    mark = codecs.BOM_UTF8 if file.read_bytes().startswith(codecs.BOM_UTF8) else b""
    atomic_write(file, mark + changed.encode())


def _replaced(text: str, corners: list[list[float]], line_end: str) -> str | None:
    """The text with the points in the place of the keys there are; None without a plain ``[outline]``."""
    document = tomlkit.parse(text)
    table = document.get("outline")
    if table is None or not isinstance(table, Table | InlineTable):
        return None
    keys = [key for key in OutlineTable.model_fields if key in table and key not in STAYS]
    first = "points" if "points" in keys else min(keys, key=list(table).index, default=None)
    if first is None:
        table.append("points", _array(corners, line_end))
        return document.as_string()
    table[first] = _array(corners, line_end)
    for key in keys:
        if key != first:
            table.remove(key)
    _rename(table.value, first)
    return document.as_string()


def _table(job: dict[str, Any]) -> dict[str, Any]:
    """The ``[outline]`` of a job, empty where it has none that is a table."""
    found = job.get("outline")
    return found if isinstance(found, dict) else {}


def _rename(container: Container, old: str) -> None:
    """Give the value of a key the name ``points`` where it stands."""
    for n, (key, item) in enumerate(container.body):
        if key is not None and key.key == old:
            container.body[n] = (SingleKey("points"), item)


def _moved_to_end(text: str, corners: list[list[float]], stays: dict[str, Any], line_end: str) -> str:
    """The text without its ``outline``, and with a plain ``[outline]`` at the end."""
    document = tomlkit.parse(text)
    document.pop("outline", None)
    rest = document.as_string()
    if rest and not rest.endswith("\n"):
        rest += line_end
    gap = line_end if rest else ""
    kept = "".join(f"{key} = {tomlkit.item(value).as_string()}{line_end}" for key, value in stays.items())
    return f"{rest}{gap}[outline]{line_end}points = {_array(corners, line_end).as_string()}{line_end}{kept}"


def _array(corners: list[list[float]], line_end: str) -> Item:
    """The corners as TOML, one a line."""
    rows = "".join(f"    [{x!r}, {y!r}],{line_end}" for x, y in corners)
    return tomlkit.value(f"[{line_end}{rows}]")
