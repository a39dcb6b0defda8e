"""A job file read: bytes, TOML, form, agreement, variant."""

from __future__ import annotations

import tomllib
from os import PathLike
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from trimgeo.errors import JobError, printable
from trimgeo.jobfile.agreement import check_agreement
from trimgeo.jobfile.faults import FROM_CALLER, job_error, unknown_key
from trimgeo.jobfile.syntax import syntax_error
from trimgeo.jobfile.words import listed, nearest, place, short
from trimgeo.model.job import Job

JOB_NAME = "job.toml"

LARGEST_JOB = 100_000_000
"""Bytes: 10,000 keep-outs are 3 MB; a larger file is no job file."""


def load(path: str | PathLike[str], variant: str | None = None) -> Job:
    """Read a job file, or the ``job.toml`` of a folder, and check it.

    The job returned holds what belongs to ``variant`` and what belongs to none in particular.

    Raises `trimgeo.JobError`, one sentence with file, place and fix, where the file cannot be read,
    is no TOML or no job, and where the variant is missing or not one of the job's.
    """
    return _only(_whole(path, variant), variant)


def load_variants(path: str | PathLike[str]) -> tuple[tuple[Job, ...], Job]:
    """The job of each of its variants, and one that keeps what any of them keeps.

    In the latter nothing comes off, for what one variant lifts another may need.  Raises
    `trimgeo.JobError` as `load` does, and where the job has no variants.
    """
    whole = _whole(path, None)
    if not whole.job.variants:
        raise JobError(
            place(whole.source, "[job]"),
            "found no variants",
            'name them, such as variants = ["display", "bare"], or leave --compare out',
        )
    each = tuple(_only(whole.model_copy(update={"variant": one}), one) for one in whole.job.variants)
    return each, whole.model_copy(update={"lift": (), "part": ()})


def _whole(path: str | PathLike[str], variant: str | None) -> Job:
    """The job with what belongs to any variant."""
    file = job_path(Path(path))
    source = printable(str(file))
    data = _parse(read_text(file), source)
    for key in data:
        if key in FROM_CALLER:
            raise unknown_key((key,), data, source)
    try:
        job = Job.model_validate({**data, "folder": file.parent, "source": source, "variant": variant})
    except ValidationError as error:
        raise job_error(error, data, source) from None
    check_agreement(job)
    return job


def job_path(path: Path) -> Path:
    """The job file that a path means: itself, or ``job.toml`` in a folder."""
    try:
        return path / JOB_NAME if path.is_dir() else path
    except (OSError, ValueError):
        return path  # reading it tells what is wrong


def read_text(file: Path) -> str:
    """The text of a job file, line ends as they stand, without a byte order mark.

    Raises `trimgeo.JobError` where there is no such file, or it is no text in UTF-8.
    """
    source = printable(str(file))
    data = _read(file, source)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise JobError(source, "found text in UTF-16", "save it as UTF-8")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"found byte 0x{data[error.start]:02X}, which is no UTF-8"
        raise JobError(f"{source}, line {line}", found, "save the file as UTF-8") from None


def _read(file: Path, source: str) -> bytes:
    try:
        if not file.exists():
            fix = f"give a job file, or a folder that holds {JOB_NAME}"
            raise JobError(source, "found no such file", fix)
        if not file.is_file():
            raise JobError(source, "found something that is no plain file", "give a job file")
        if file.stat().st_size > LARGEST_JOB:
            found = f"found {file.stat().st_size} bytes, too many for a job file"
            raise JobError(source, found, f"give a file of at most {LARGEST_JOB} bytes")
        return file.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobError(source, f"cannot be read ({reason})", "give a job file that can be read") from None


def _parse(text: str, source: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise syntax_error(str(error), text, source) from None
    except RecursionError:
        raise JobError(source, "found lists or tables nested too deeply to read", "nest them less") from None
    except ValueError:
        # The library lets the language's own limit on the digits of a number through.
        found = "found a whole number of thousands of digits"
        raise JobError(source, found, "give numbers that a board can have") from None


def _only(job: Job, variant: str | None) -> Job:
    """The job with what belongs to the variant."""
    known = job.job.variants
    if variant is None and not known:
        return job
    where = place(job.source, "[job]", None, "variants")
    if variant is None:
        raise JobError(where, f"found the variants {listed(known)}", "name the one to compute with --variant")
    if not known:
        raise JobError(place(job.source, "[job]"), "found no variants", "leave --variant out")
    if variant not in known:
        found = f'found no variant "{short(variant)}"'
        near = nearest(variant, known)
        fix = f'the nearest one is "{near}"' if near else f"those of this job are: {listed(known)}"
        raise JobError(where, found, fix)
    kept = {
        table: tuple(each for each in getattr(job, table) if not each.variants or variant in each.variants)
        for table in ("keepout", "keepouts", "lift", "part")
    }
    return job.model_copy(update=kept)
