"""The kinds of value that a key of the job file can hold, and what several tables have in common.

Ranges are wide: they keep out what no board, drill or printer can be, so that nothing downstream
overflows.  The words here are what people read when such a key is missing or wrong.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field
from pydantic_core import PydanticCustomError

from trimgeo.tables import LARGEST_BOARD

FARTHEST = 1000 * LARGEST_BOARD
"""No position is farther from the origin: products of larger numbers lose a thousandth of a mm²."""

THINNEST = 0.001
"""No width or diameter is smaller, mm: a micrometre is far below anything sawn, drilled or etched."""

_PRINTABLE = "^[^\x00-\x1f\x7f-\x9f\ufffe\uffff]*$"  # what XML 1.0 can hold, less control characters

Finite = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-FARTHEST, le=FARTHEST)]
Positive = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=THINNEST, le=LARGEST_BOARD)]
NotNegative = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=LARGEST_BOARD)]
Area = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=LARGEST_BOARD**2)]
Resolution = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=1, le=100_000)]
Ratio = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.5, le=2)]
Bar = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=40, le=250)]
Flag = Annotated[bool, Field(strict=True)]
Point = tuple[Finite, Finite]
Polygon = Annotated[tuple[Point, ...], Field(min_length=3)]
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=_PRINTABLE)]
FileName = Annotated[str, Field(min_length=1, max_length=1000, pattern=_PRINTABLE)]
ViewName = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$")]
Face = Literal["top", "bottom"]
Layer = Annotated[int, Field(ge=1, le=64, strict=True)]
Level = Annotated[int, Field(ge=1, le=254, strict=True)]
Layers = Annotated[tuple[Layer, ...], Field(min_length=1)]
Kind = Literal["component", "trace", "via", "pad", "hole", "copper", "other"]
PaperName = Literal["A4", "A3", "letter"]


def key(default: Any, description: str, **more: Any) -> Any:
    """A key that may be left out, and what it is for."""
    return Field(default=default, description=description, **more)


def required(description: str, **more: Any) -> Any:
    """A key that must be there, and what it is for."""
    return Field(description=description, **more)


def fault(key: str, found: str, fix: str) -> PydanticCustomError:
    """What is wrong between the keys of one table; `trimgeo.jobfile` makes a sentence of it.

    >>> fault("layers", "found layer 5 of 4", "give layers of the board").message()
    'layers: found layer 5 of 4; give layers of the board'
    """
    return PydanticCustomError("fault", "{key}: {found}; {fix}", {"key": key, "found": found, "fix": fix})


def _form_of(value: Any) -> str | None:
    """Tag of the branch that a value of several possible forms belongs to.

    Choosing by form first gives errors of the one branch that was meant, not of all of them.
    """
    if isinstance(value, bool):
        return None
    for kinds, tag in (
        (str, "<text>"),
        ((int, float), "<number>"),
        ((list, tuple), "<list>"),
        ((dict, BaseModel), "<table>"),
    ):
        if isinstance(value, kinds):
            return tag
    return None


BY_FORM = Discriminator(_form_of, custom_error_type="form", custom_error_message="has no form that is known")

ON = "the name of a [[view]]: positions are then pixels of its picture"
VARIANTS = 'the variants of [job] that it belongs to, such as ["display"]'
POLYGON = "its outline as three or more points, such as [[0, 0], [10, 0], [10, 5]]"
CIRCLE = "an exact circle, such as { at = [10, 20], diameter = 3.2 }"
HEIGHT = "the height above its face in mm, such as 8.5"
KIND = "what it is: component, trace, via, pad, hole, copper or other"
LAYERS = "the copper layers it lies on, 1 (top) to the last (bottom), such as [1, 2]"
CLEARANCE = "the required clearance of this one in mm, such as 0.8"
MAY_CUT = "true where it may be severed, else false"
NET = 'the name of its net, such as "GND"'


class Table(BaseModel):
    """A table of the job file: frozen, and no key that is not named here.

    Building one raises `pydantic.ValidationError`, of which `trimgeo.jobfile` makes sentences.

    >>> class Drill(Table):
    ...     diameter: Positive = required("its diameter in mm, such as 0.8")
    ...     plated: Flag = key(True, "true where it is lined with copper, else false")
    >>> Drill(diameter=0.8)
    Drill(diameter=0.8, plated=True)
    """

    model_config = ConfigDict(frozen=True, extra="forbid")


def one_of_keys(table: Table, keys: tuple[str, ...]) -> None:
    """Refuse, by a `fault`, a table that has none, or more than one, of the keys."""
    given = [name for name in keys if getattr(table, name) is not None]
    if len(given) != 1:
        one_of = f"{', '.join(keys[:-1])} or {keys[-1]}"
        if given:
            raise fault(given[1], f"found it together with {given[0]}", f"keep only one of {one_of}")
        raise fault("", f"found neither {' nor '.join(keys)}", f"give one of {one_of}")


def layers_where_needed(kind: str, layers: tuple[int, ...] | None) -> None:
    """Refuse, by a `fault`, a keep-out of copper that does not say on which layers it lies."""
    if layers is None and kind in ("trace", "pad", "copper"):
        raise fault("layers", f"found no layers for a keep-out of kind {kind}", f"give {LAYERS}")
