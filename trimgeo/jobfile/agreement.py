"""Whether the tables of a job agree: names, layers, views and variants that refer to each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from trimgeo.errors import JobError
from trimgeo.jobfile.words import listed, nearest, place, short
from trimgeo.model.capture import LikeScale, ViewTable
from trimgeo.model.job import CopperTable, EdgeView, Job
from trimgeo.model.keys import Table


def check_agreement(job: Job) -> None:
    """Refuse a job whose tables contradict each other.

    Raises `trimgeo.JobError` for a name used twice, for a view that is named and not there, for views
    registered on each other in a circle, for a layer that the board does not have, and for a variant
    that ``[job]`` does not list.

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
        _check_view(job, job.outline.view, "[outline]", None, "view")
    if isinstance(job.board.edge, EdgeView):
        _check_view(job, job.board.edge.view, "[board]", None, "edge.view")
    for number, copper in enumerate(job.copper, 1):
        _check_copper(job, number, copper)
    for view in job.view:
        _check_view(job, view.like, "[[view]]", view.name, _like_key(view))
    _check_no_circle(job)


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


def _like_key(view: ViewTable) -> str:
    return "scale.like" if isinstance(view.scale, LikeScale) else "place.like"


def _check_copper(job: Job, number: int, copper: CopperTable) -> None:
    _check_view(job, copper.view, "[[copper]]", number, "view")
    if copper.layer > job.board.layers:
        raise _no_such_layer(job, copper.layer, place(job.source, "[[copper]]", number, "layer"))
    shown = next(view.shows for view in job.view if view.name == copper.view)
    faces = {"top": 1, "bottom": job.board.layers}
    layer = shown if isinstance(shown, int) else faces[shown]
    if layer != copper.layer:
        raise JobError(
            place(job.source, "[[copper]]", number, "layer"),
            f'found layer {copper.layer}, and view "{copper.view}" shows layer {layer}',
            f"give layer = {layer}, or name the view of layer {copper.layer}",
        )
    for seed in copper.nets:
        _check_view(job, seed.on, "[[copper]]", number, f"nets {short(seed.net)}, on")


def _check_no_circle(job: Job) -> None:
    """Refuse views that are registered on each other: none of them would have millimetres of its own."""
    like = {view.name: view.like for view in job.view}
    for view in job.view:
        way, here = [view.name], view.like
        while here is not None and here not in way:
            way.append(here)
            here = like[here]
        if here == view.name:
            raise JobError(
                place(job.source, "[[view]]", view.name, _like_key(view)),
                "found a view registered on itself"
                if len(way) == 1
                else f"found views registered on each other in a circle: {listed([*way, here])}",
                "scale one of them by a card, points or dpi",
            )


def _check_view(
    job: Job, view: str | None, header: str, name: str | int | None, named_by: str = "on"
) -> None:
    known = [each.name for each in job.view]
    if view is None or view in known:
        return
    near = nearest(view, known)
    raise JobError(
        place(job.source, header, name, named_by),
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
