"""What all tables of the spec share: the base model, numbers that may be left out, rules between keys."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Annotated, Any, NamedTuple, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import InitErrorDetails, PydanticCustomError

from bandgen.trade.stones import MATERIALS

SIZE_RANGE_MM = (1.0, 5.0)
"""Diameters of the stones that are set."""
COUNT_RANGE = (3, 400)
"""How many stones a count may ask for."""

NOT_FALSE = "must be a number or a word, not true or false"


def auto(low: float, high: float, description: str, **extra: Any) -> Any:
    """A number that :func:`bandgen.defaults.fill` computes when it is left out."""
    return Field(default=None, ge=low, le=high, description=f"{description} Computed when left out.", **extra)


def one_of(name: str, known: Iterable[str]) -> str:
    """``name`` where it is known; else an error with the whole list and the nearest."""
    names = sorted(known)
    if name not in names:
        close = difflib.get_close_matches(name, names, 1)
        hint = f" (did you mean {close[0]!r}?)" if close else ""
        raise PydanticCustomError("choice", "must be one of {names}{hint}", {"names": ", ".join(names), "hint": hint})
    return name


def bounds(metadata: Iterable[Any]) -> tuple[float, float] | None:
    """Least and greatest value of a number, None where it has not both."""
    found = {type(item).__name__: item for item in metadata}
    return (found["Ge"].ge, found["Le"].le) if {"Ge", "Le"} <= found.keys() else None


def _number(value: Any) -> Any:
    if isinstance(value, bool | str):
        raise PydanticCustomError("number", "must be a number, without quotes")
    return value


def _word(value: Any) -> Any:
    if not isinstance(value, str):
        raise PydanticCustomError("word", "must be a name in quotes")
    return value


Size = Annotated[float, Field(ge=SIZE_RANGE_MM[0], le=SIZE_RANGE_MM[1]), BeforeValidator(_number)]
"""An item of a list of diameters in mm."""
MaterialName = Annotated[
    str,
    BeforeValidator(_word),
    AfterValidator(lambda name: one_of(name, MATERIALS)),
    Field(json_schema_extra={"enum": [*sorted(MATERIALS)]}),
]
"""An item of a list of materials."""


def may_be_auto(table: type[BaseModel], key: str) -> bool:
    """Whether a key takes the word "auto": every number that may be left out, but for the finger's."""
    field = table.model_fields.get(key)
    kinds = (int, float) if table.__name__ != "Finger" else ()
    return field is not None and field.annotation in kinds and not field.is_required()


class Table(BaseModel):
    """A table of the spec: frozen, no unknown keys, "auto" the same as leaving a key out."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _drop_auto(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        return {key: value for key, value in data.items() if not (value == "auto" and may_be_auto(cls, key))}

    @field_validator("*", mode="before")
    @classmethod
    def _right_kind(cls, value: Any, info: ValidationInfo) -> Any:
        kind = cls.model_fields[str(info.field_name)].annotation
        if isinstance(value, bool) is not (kind is bool):
            raise PydanticCustomError("boolean", "must be true or false" if kind is bool else NOT_FALSE)
        if isinstance(value, str) and kind in (int, float):
            raise PydanticCustomError("number", "must be a number, without quotes")
        if get_origin(kind) is tuple:
            _check_list(value, cls.model_fields[str(info.field_name)].metadata)
        return value


def _check_list(value: Any, metadata: Iterable[Any]) -> None:
    """A list of a length that its field allows."""
    if not isinstance(value, list | tuple):
        raise PydanticCustomError("list", "must be a list in square brackets")
    found = {type(item).__name__: item for item in metadata}
    least, most = found["MinLen"].min_length, found["MaxLen"].max_length
    if not least <= len(value) <= most:
        sizes = {"least": least, "most": most, "given": len(value)}
        raise PydanticCustomError("length", "must hold {least} to {most} items, not {given}", sizes)


class Fault(NamedTuple):
    """A rule between keys that a table breaks: the path of the key to blame, what was given, the rule."""

    path: tuple[str, ...]
    value: Any
    rule: str


def refuse(title: str, faults: Iterable[Fault]) -> None:
    """Raise all faults at once, each under its own key; nothing where there are none."""
    details = [
        InitErrorDetails(
            type=PydanticCustomError("rule", "{rule}", {"rule": fault.rule}), loc=fault.path, input=fault.value
        )
        for fault in faults
    ]
    if details:
        raise ValidationError.from_exception_data(title, details)
