"""What the validating library found, as one sentence: file, table, entry, key, finding and fix."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from trimgeo.errors import JobError
from trimgeo.jobfile.words import listed, nearest, place, short, show
from trimgeo.model.job import Job
from trimgeo.model.keys import Table
from trimgeo.tables import LARGEST_BOARD

FROM_CALLER = frozenset({"folder", "source", "variant"})
"""Fields of a Job that no job file may set."""

_PHRASES: Mapping[str, str] = {
    "float_type": "a number",
    "finite_number": "a finite number",
    "int_type": "a whole number",
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "greater_than": "a number above {gt:.12g}",
    "greater_than_equal": "a number of at least {ge:.12g}",
    "less_than_equal": "a number of at most {le:.12g}",
    "string_too_short": "a text that is not empty",
    "string_too_long": "a text of at most {max_length} characters",
    "too_short": "a list of at least {min_length}",
    "too_long": "a list of at most {max_length}",
    "tuple_type": "a list in square brackets",
    "model_type": "a table",
}
"""What would do, by the library's name for the fault."""


@dataclass(frozen=True)
class _Spot:
    """A place in the job: its words, the field it lies in, and what its type is made of."""

    place: str
    field: FieldInfo | None
    types: tuple[Any, ...]
    repeated: bool


def job_error(error: ValidationError, data: Mapping[str, Any], source: str) -> JobError:
    """The most helpful of the errors found in ``data`` as a sentence.

    An unknown key comes first: a misspelt key is also missed under its right name.

    >>> data = {"job": {"title": "t"}, "board": {"thicknes": 1.6}}
    >>> try:
    ...     Job.model_validate(data)
    ... except ValidationError as error:
    ...     print(job_error(error, data, "job.toml"))
    job.toml, [board]: found an unknown key "thicknes"; the nearest known key is thickness.
    """
    chosen = min(error.errors(include_url=False), key=lambda each: _RANK.get(each["type"], 2))
    location = tuple(part for part in chosen["loc"] if not _is_tag(part))
    if chosen["type"] == "extra_forbidden":
        return unknown_key(location, data, source)
    if chosen["type"] == "missing" and isinstance(location[-1], str):
        return _missing_key(location, data, source)
    if chosen["type"] == "fault":
        context = chosen["ctx"]
        spot = _spot((*location, *filter(None, [context["key"]])), data, source)
        return JobError(spot.place, context["found"], context["fix"])
    return _wrong_value(chosen, location, data, source)


def unknown_key(location: tuple[str | int, ...], data: Mapping[str, Any], source: str) -> JobError:
    """The error for a key that no table of its kind has, with the nearest one that there is.

    ``location`` is the way to the key through ``data``: table, number of the entry, key.

    >>> print(unknown_key(("cutter", "kerff"), {"cutter": {"kerff": 1.0}}, "job.toml"))
    job.toml, [cutter]: found an unknown key "kerff"; the nearest known key is kerf.
    """
    *above, last = location
    owner = _spot(tuple(above), data, source)
    known = [key for table in _tables(owner.types) for key in _keys(table)]
    what = "key" if above else "table or key"
    found = f'found an unknown {what} "{short(str(last))}"'
    near = nearest(str(last), known)
    if near is not None:
        return JobError(owner.place, found, f"the nearest known {what} is {near}")
    return JobError(owner.place, found, f"those known there are {listed(known)}")


_RANK = {"extra_forbidden": 0, "missing": 1}


def _missing_key(location: tuple[str | int, ...], data: Mapping[str, Any], source: str) -> JobError:
    spot = _spot(location, data, source)
    wanted = spot.field.description if spot.field else None
    if len(location) == 1:
        return JobError(source, f"found no [{location[0]}]", f"add {wanted}")
    owner = _spot(location[:-1], data, source)
    return JobError(owner.place, f"found no {location[-1]}", f"add {location[-1]}: {wanted}")


def _wrong_value(
    fault: ErrorDetails, location: tuple[str | int, ...], data: Mapping[str, Any], source: str
) -> JobError:
    kind, value = fault["type"], fault["input"]
    if kind == "missing":  # of a pair: the list has fewer than two numbers
        location = location[:-1]
    spot = _spot(location, data, source)
    pair = any(_is_pair(each) for each in spot.types)
    wanted = spot.field.description if spot.field else None
    if isinstance(location[-1], str) and spot.repeated and kind == "tuple_type":
        return JobError(spot.place, f"found {show(value)}", f"give {wanted} in double brackets")
    if pair and kind in ("missing", "too_long", "tuple_type"):
        phrase = "two numbers, [x, y]"
    else:
        phrase = _PHRASES.get(kind, "").format(**fault.get("ctx", {}))
    if fault.get("ctx", {}).get("le", 0) >= LARGEST_BOARD:
        phrase += ", in mm (a board over 1 m is a unit mistake)"
    if phrase and isinstance(location[-1], int):
        wanted = None  # the key's words are about the whole list, not about one item
    return JobError(spot.place, f"found {show(value)}", "give " + ": ".join(filter(None, [phrase, wanted])))


def _spot(location: tuple[str | int, ...], data: Any, source: str) -> _Spot:
    """Follow a location through the data, for names, and through the types, for words."""
    types: tuple[Any, ...] = (Job,)
    field: FieldInfo | None = None
    table, entry, words = "", None, list[str]()
    repeated = False
    for depth, part in enumerate(location):
        data = _item(data, part)
        if isinstance(part, str):
            field = next((f for t in _tables(types) for k, f in _fields(t) if k == part), None)
            types = tuple(_members(field.annotation)) if field else ()
            repeated = any(_is_list_of_tables(each) for each in types)
            if depth == 0:
                table = f"[[{part}]]" if repeated else f"[{part}]"
            elif repeated and location[0] == "board":
                table = f"[[board.{part}]]"
            else:
                words.append(part)
        else:
            if repeated and not words:
                entry = data["name"] if _has_name(data) else part + 1
            else:
                words.append(_position(types, part))
            types = tuple(_items(types, part))
            repeated = False
    return _Spot(place(source, table, entry, *words) if table else source, field, types, repeated)


def _position(types: Sequence[Any], index: int) -> str:
    """Words for the item of a list: a coordinate, a point, or a number from 1."""
    if any(_is_pair(each) for each in types) and index < 2:
        return "xy"[index]
    item = list(_items(types, index))
    return f"{'point' if any(_is_pair(each) for each in item) else 'number'} {index + 1}"


def _members(annotation: Any) -> Iterator[Any]:
    """The types that an annotation is made of, without unions, optionals and constraints."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _members(get_args(annotation)[0])
    elif origin in (Union, UnionType):
        for each in get_args(annotation):
            yield from _members(each)
    else:
        yield annotation


def _items(types: Sequence[Any], index: int) -> Iterator[Any]:
    """What the item at ``index`` of such lists is made of."""
    for each in types:
        inner = get_args(each) if get_origin(each) is tuple else ()
        if inner and inner[-1] is Ellipsis:
            yield from _members(inner[0])
        elif index < len(inner):
            yield from _members(inner[index])


def _tables(types: Sequence[Any]) -> list[type[Table]]:
    return [each for each in types if isinstance(each, type) and issubclass(each, Table)]


def _fields(table: type[Table]) -> Iterator[tuple[str, FieldInfo]]:
    """The keys that a file may use, each with its field."""
    for name, field in table.model_fields.items():
        if not (table is Job and name in FROM_CALLER):
            yield field.alias or name, field


def _keys(table: type[Table]) -> list[str]:
    return [key for key, _field in _fields(table)]


def _is_pair(annotation: Any) -> bool:
    inner = get_args(annotation) if get_origin(annotation) is tuple else ()
    return len(inner) == 2 and Ellipsis not in inner


def _is_list_of_tables(annotation: Any) -> bool:
    return get_origin(annotation) is tuple and bool(_tables(list(_items([annotation], 0))))


def _is_tag(part: str | int) -> bool:
    """Tags of `trimgeo.model.keys` name a branch of a type, not a key of the file."""
    return isinstance(part, str) and part.startswith("<") and part.endswith(">")


def _has_name(entry: Any) -> bool:
    return isinstance(entry, dict) and isinstance(entry.get("name"), str) and bool(entry["name"])


def _item(data: Any, part: str | int) -> Any:
    try:
        return data[part]
    except (KeyError, IndexError, TypeError):
        return None
