"""Writing files whole: whatever interrupts it, the old file or the new one is there."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from trimgeo.errors import JobError, printable


def atomic_write(path: Path, data: bytes) -> None:
    """Replace the file at ``path`` by ``data`` in one step.

    A link stays a link: the file that it leads to is replaced.  The mode of an old file is kept.

    Raises `trimgeo.JobError` where the folder is missing or nothing can be written there, and
    where something that is not a plain file stands at ``path`` (a folder, a device).

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     atomic_write(Path(folder) / "a.txt", b"hello")
    ...     print((Path(folder) / "a.txt").read_bytes())
    b'hello'
    """
    try:
        target = Path(os.path.realpath(path))
        if target.exists() and not target.is_file():
            raise JobError(
                printable(str(path)), "found something there that is no plain file", "give another file name"
            )
        if not target.parent.is_dir():
            raise JobError(
                printable(str(path)), "its folder does not exist", "make the folder first, or name another"
            )
        _replace(target, data)
    except (OSError, ValueError) as fault:
        raise JobError(printable(str(path)), f"cannot be written ({_reason(fault)})", _FIX) from fault


def make_folder(path: Path) -> None:
    """Make a folder, and those above it, where they are missing.

    Raises `trimgeo.JobError` where that cannot be done, for instance where a file stands in its place.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     make_folder(Path(folder) / "out" / "top")
    ...     atomic_write(Path(folder) / "out" / "top" / "a.txt", b"hello")
    ...     try:
    ...         make_folder(Path(folder) / "out" / "top" / "a.txt")
    ...     except JobError as error:
    ...         print(error.found.partition(" (")[0])
    the folder cannot be made
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except FileExistsError as fault:
        found = "the folder cannot be made (a file has that name)"
        raise JobError(printable(str(path)), found, "name another folder") from fault
    except (OSError, ValueError) as fault:
        raise JobError(printable(str(path)), f"the folder cannot be made ({_reason(fault)})", _FIX) from fault


def json_bytes(value: Mapping[str, Any] | list[Any]) -> bytes:
    r"""JSON as UTF-8 with a line end, keys in the order given; refuses NaN and infinity.

    >>> json_bytes({"b": 1.5, "a": []})
    b'{\n  "b": 1.5,\n  "a": []\n}\n'
    """
    return (json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


_FIX = "name a place where you may write and that has room"


def _replace(target: Path, data: bytes) -> None:
    """Write beside the target, then rename over it: a rename within a folder is one step."""
    part = _fresh(target.parent)
    try:
        with part.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if target.exists():
            shutil.copymode(target, part)
        part.replace(target)
    except BaseException:
        # Also on Ctrl-C: no half-written file may stay behind.
        part.unlink(missing_ok=True)
        raise


def _fresh(folder: Path) -> Path:
    """A name that nothing in the folder has; a part left by a killed process may hold the first ones."""
    number = 0
    while True:
        part = folder / f".trimgeo-{os.getpid()}-{number}.part"
        if not os.path.lexists(part):
            return part
        number += 1


def _reason(fault: Exception) -> str:
    """Why the system refused, in its own words and without the path."""
    return (fault.strerror if isinstance(fault, OSError) else None) or str(fault)
