"""Whether the tables of a job agree: names, layers, views and variants that refer to each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from trimgeo.errors import JobError
from trimgeo.jobfile.words import listed, nearest, place, short
from trimgeo.model.job import Job
from trimgeo.model.keys import Table


def check_agreement(job: Job) -> None:
    """Refuse a job whose tables contradict each other.

    Raises `trimgeo.JobError` for a name used twice, for ``on`` without such a view, for a layer
    that the board does not have, and for a variant that ``[job]`` does not list.

    >>> from trimgeo.model.job import About, BoardTable, ProbeTable
    >>> board = BoardTable(thickness=1.6, edge=((0, 0), (9, 0), (9, 9)))
    >>> probe = ProbeTable(name="TP1", at=(400, 300), face="top", rail="3V3", on="front")
    >>> check_agreement(Job(job=About(title="t"), board=board, probe=(probe,)))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    trimgeo.errors.JobError: job.toml, [[probe]] "TP1", on: found "front", and there is no such view; ...
    """
    _check_variants_listed_once(job)
    for header, entries in _entries(job).items():
        _check_names(job, header, entries)
        _check_references(job, header, entries)
    if job.outline is not None:
        _check_view(job, job.outline.on, "[outline]", None)


def _entries(job: Job) -> Mapping[str, tuple[Table, ...]]:
    return {
        "[[board.holes]]": job.board.holes,
        "[[view]]": job.view,
        "[[keepout]]": job.keepout,
        "[[keepouts]]": job.keepouts,
        "[[lift]]": job.lift,
        "[[part]]": job.part,
        "[[probe]]": job.probe,
    }


def _check_variants_listed_once(job: Job) -> None:
    names = job.job.variants
    if len(set(names)) != len(names):
        twice = next(name for n, name in enumerate(names) if name in names[:n])
        raise JobError(
            place(job.source, "[job]", None, "variants"),
            f'found "{short(twice)}" twice',
            "give each variant once",
        )


def _check_names(job: Job, header: str, entries: Iterable[Any]) -> None:
    """Names are unique among what one variant holds; those of views also name files."""
    seen: dict[str, list[tuple[int, frozenset[str]]]] = {}
    for number, entry in enumerate(entries, 1):
        name = getattr(entry, "name", None)
        if name is None:
            continue
        own = frozenset(getattr(entry, "variants", ()))
        others = seen.setdefault(name.casefold() if header == "[[view]]" else name, [])
        for first, theirs in others:
            if not own or not theirs or own & theirs:
                raise JobError(
                    place(job.source, header, number, "name"),
                    f'found "{short(name)}", which number {first} has already',
                    "give each a name of its own",
                )
        others.append((number, own))


def _check_references(job: Job, header: str, entries: Iterable[Any]) -> None:
    variants, layers = frozenset(job.job.variants), job.board.layers
    views = frozenset(view.name for view in job.view)
    for number, entry in enumerate(entries, 1):
        name = getattr(entry, "name", number)
        on = getattr(entry, "on", None)
        if on is not None and on not in views:
            _check_view(job, on, header, name)
        for variant in getattr(entry, "variants", ()):
            if variant not in variants:
                raise _unknown_variant(job, variant, place(job.source, header, name, "variants"))
        for layer in getattr(entry, "layers", None) or ():
            if layer > layers:
                raise _no_such_layer(job, layer, place(job.source, header, name, "layers"))
        shows = getattr(entry, "shows", None)
        if isinstance(shows, int) and shows > layers:
            raise _no_such_layer(job, shows, place(job.source, header, name, "shows"))


def _check_view(job: Job, view: str | None, header: str, name: str | int | None) -> None:
    known = [each.name for each in job.view]
    if view is None or view in known:
        return
    near = nearest(view, known)
    raise JobError(
        place(job.source, header, name, "on"),
        f'found "{short(view)}", and there is no such view',
        f'the nearest view is "{near}"'
        if near
        else f"name one of: {listed(known)}"
        if known
        else "add a [[view]] of that name",
    )


def _no_such_layer(job: Job, layer: int, where: str) -> JobError:
    count = job.board.layers
    found = f"found layer {layer}, and the board has {count}"
    return JobError(where, found, f"give layers from 1 to {count}, or mend layers in [board]")


def _unknown_variant(job: Job, variant: str, where: str) -> JobError:
    found = f'found "{short(variant)}", which [job] does not list'
    near = nearest(variant, job.job.variants)
    if near:
        return JobError(where, found, f'the nearest variant is "{near}"')
    known = f" (it lists {listed(job.job.variants)})" if job.job.variants else ""
    return JobError(where, found, f"add it to the variants of [job]{known}, or take it out here")
