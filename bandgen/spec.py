"""The spec: what a user asks for, every key with its rule. Frozen; unknown keys are refused.

A key that may be left out is computed from the stone and the bore by :func:`bandgen.defaults.fill`; the word
"auto" asks for the same. Reading reports every problem of a file at once.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from bandgen.errors import Problem, SpecError
from bandgen.trade.alloys import ALLOYS
from bandgen.trade.sizes import FingerSize, pattern, read_size
from bandgen.trade.stones import MATERIALS

SIZE_LIMIT_BYTES = 1_000_000
MOST_DOTS = 1000
BORE_RANGE_MM = (10.0, 80.0)
SCHEMA_NAME_PATTERN = r"^(?!.*\.\.)[A-Za-z0-9_-]([A-Za-z0-9 ._-]{0,78}[A-Za-z0-9_-])?$"


def _auto(low: float, high: float, description: str, **extra: Any) -> Any:
    """A number that :func:`bandgen.defaults.fill` computes when it is left out."""
    return Field(default=None, ge=low, le=high, description=f"{description} Computed when left out.", **extra)


def may_be_auto(table: type[BaseModel], key: str) -> bool:
    """Whether a key takes the word "auto": every number that may be left out, but for the finger's."""
    field = table.model_fields.get(key)
    return field is not None and field.annotation in (int, float) and not field.is_required() and table is not Finger


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
        if isinstance(value, bool):
            raise PydanticCustomError("boolean", "must be a number or a word, not true or false")
        if isinstance(value, str) and cls.model_fields[str(info.field_name)].annotation in (int, float):
            raise PydanticCustomError("number", "must be a number, without quotes")
        return value


class Finger(Table):
    """The finger, as a size with its system or as the bore's diameter: one of the two."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["size"]}, {"required": ["inner_diameter_mm"]}]}
    )
    size: str = Field(
        default=None,  # type: ignore[assignment]
        max_length=40,
        json_schema_extra={"pattern": pattern()},
        description='Finger size with its system: "ISO 54", "US 6.25", "UK L 1/2", "JP 12", "CH 14", "DE 17".',
    )
    inner_diameter_mm: float = Field(
        default=None,  # type: ignore[assignment]
        ge=BORE_RANGE_MM[0],
        le=BORE_RANGE_MM[1],
        description="Diameter of the bore in mm, instead of a size.",
    )

    @field_validator("size", mode="before")
    @classmethod
    def _has_system(cls, text: Any) -> Any:
        if isinstance(text, int | float):
            text = str(text)
        if not isinstance(text, str):
            return text
        try:
            bore = read_size(text).inner_diameter_mm
        except ValueError as cause:
            raise PydanticCustomError("finger_size", "{cause}", {"cause": str(cause)}) from None
        if not BORE_RANGE_MM[0] <= bore <= BORE_RANGE_MM[1]:
            raise PydanticCustomError("finger_bore", "its bore must lie in 10 to 80 mm; choose a size within")
        return text

    @model_validator(mode="after")
    def _one_of_two(self) -> Finger:
        if (self.size is None) == (self.inner_diameter_mm is None):
            raise PydanticCustomError("finger", "give either size or inner_diameter_mm, and only one of them")
        return self

    @property
    def reading(self) -> FingerSize | None:
        """The size as read, None where the bore was given."""
        return None if self.size is None else read_size(self.size)

    @property
    def bore_mm(self) -> float:
        """Diameter of the bore."""
        reading = self.reading
        return self.inner_diameter_mm if reading is None else reading.inner_diameter_mm


class Stones(Table):
    """The stones and how they stand."""

    cut: Literal["round"] = Field(default="round", description="Outline of the stone.")
    diameter_mm: float = Field(ge=1.0, le=5.0, description="Diameter of the girdle in mm.")
    material: str = Field(
        default="diamond",
        description="Decides proportions and weight.",
        json_schema_extra={"enum": [*sorted(MATERIALS)]},
    )
    pavilion_deg: float = _auto(36.0, 50.0, "Angle of the pavilion under the girdle plane, in degrees.")
    crown_deg: float = _auto(25.0, 45.0, "Angle of the crown above the girdle plane, in degrees.")
    table_pct: float = _auto(45.0, 75.0, "Width of the table in percent of the diameter.")
    girdle_pct: float = _auto(2.0, 8.0, "Thickness of the girdle at the mains, in percent of the diameter.")
    gap_mm: float = _auto(0.05, 1.0, "Least distance between neighbouring girdles, in mm.")
    count: int = Field(default=None, ge=5, le=400, description="How many stones; the most that fit when left out.")  # type: ignore[assignment]
    culet_clearance_mm: float = _auto(0.1, 4.0, "Height of the culet above the finger, in mm.")

    @field_validator("material")
    @classmethod
    def _known(cls, name: str) -> str:
        return _one_of(name, MATERIALS)


class Seat(Table):
    """The cup under a stone."""

    rim_below_girdle_mm: float = _auto(0.05, 1.0, "Depth of the cup's rim under the lower girdle edge, in mm.")
    rim_diameter_mm: float = _auto(0.8, 6.0, "Diameter of the cup at its rim, in mm; the girdle's.")
    draft_deg: float = _auto(0.0, 15.0, "Taper of the cup in degrees; chosen so that neighbouring feet overlap.")
    wall_mm: float = _auto(0.2, 2.0, "Metal round the recess at its thinnest, in mm.")
    floor_mm: float = _auto(0.2, 3.0, "Metal under the recess on the stone's axis, in mm.")
    bearing_deg: float = _auto(36.0, 65.0, "Angle of the cone that carries the pavilion; the stone's own.")
    bearing_mm: float = _auto(0.05, 2.0, "Width of that cone measured outwards, in mm; places the recess.")
    fillet_mm: float = _auto(0.0, 1.0, "Radius that opens the recess below the bearing, in mm.")
    opening: Literal["blind", "through"] = Field(
        default="blind", description="Recess with a floor, or open to the bore."
    )


class Prong(Table):
    """The round prongs that two stones share."""

    diameter_mm: float = _auto(0.3, 2.5, "Diameter of the prong in mm.")
    overlap: float = _auto(0.05, 1.0 / 3.0, "Share of the prong's diameter that a girdle enters, from each side.")
    height_above_girdle_mm: float = _auto(
        0.2, 4.0, "Blank height from the lower girdle edge to the top of the tip, in mm."
    )
    tip: Literal["dome", "flat"] = Field(default="dome", description="Form of the prong's tip.")


class Plug(Table):
    """The fill of the narrow slot between two cups."""

    bite_mm: float = _auto(0.02, 1.0, "How far the plug enters each cup at the rim, in mm.")
    foot_clearance_mm: float = Field(
        default=0.0, ge=0.0, le=1.0, description="How far above the finger it stops, in mm."
    )


class Metal(Table):
    """The metal, for weight."""

    alloy: str = Field(
        default="18k-yellow",
        description="Alloy, for the weight.",
        json_schema_extra={"enum": [*sorted(ALLOYS)]},
    )

    @field_validator("alloy")
    @classmethod
    def _known(cls, name: str) -> str:
        return _one_of(name, ALLOYS)


class Mesh(Table):
    """The printable mesh."""

    deviation_mm: float = Field(
        default=0.005, ge=0.0005, le=0.05, description="Greatest distance between mesh and true surface, in mm."
    )


class Spec(Table):
    """A band. Only the finger and the stones' diameter are required."""

    name: str = Field(
        default="band",
        json_schema_extra={"pattern": SCHEMA_NAME_PATTERN},
        description="Name of the band and of its files: letters, digits, space, dot, hyphen, underscore.",
    )
    finger: Finger = Field(description="The finger.")
    stones: Stones = Field(description="The stones and how they stand.")
    seat: Seat = Field(default=Seat(), description="The cup under a stone.")
    prong: Prong = Field(default=Prong(), description="The shared prongs.")
    plug: Plug = Field(default=Plug(), description="The fill between two cups.")
    metal: Metal = Field(default=Metal(), description="The metal.")
    mesh: Mesh = Field(default=Mesh(), description="The printable mesh.")

    @field_validator("name")
    @classmethod
    def _no_path(cls, name: str) -> str:
        if not re.fullmatch(SCHEMA_NAME_PATTERN, name) or name.endswith("\n"):
            raise PydanticCustomError(
                "name",
                "a band's name (the file's, where none is given) holds 1 to 80 letters, digits, spaces, dots, hyphens "
                "and underscores, no '..', no dot or space at its ends; set name to such a one",
            )
        return name


def _one_of(name: str, known: Iterable[str]) -> str:
    names = sorted(known)
    if name not in names:
        close = difflib.get_close_matches(name, names, 1)
        hint = f" (did you mean {close[0]!r}?)" if close else ""
        raise PydanticCustomError("choice", "must be one of {names}{hint}", {"names": ", ".join(names), "hint": hint})
    return name


def load_spec(path: str | Path, changes: Mapping[str, Any] | None = None) -> Spec:
    """Read a TOML spec; ``changes`` maps "table.key" to values that replace the file's.

    Raises:
        SpecError: with every problem found; also for a missing, oversized or unreadable file.
    """
    path = Path(path)
    data = _read_toml(path)
    for key, value in (changes or {}).items():
        _put(data, key, value)
    data.setdefault("name", path.stem)
    return make_spec(data, str(path))


def make_spec(data: Mapping[str, Any], source: str = "spec") -> Spec:
    """A spec from plain data. Raises SpecError with every problem found."""
    try:
        return Spec.model_validate(data)
    except ValidationError as error:
        problems = [_problem(detail) for detail in error.errors(include_url=False)]
        raise SpecError(problems, source) from None


def schema() -> dict[str, Any]:
    """The JSON Schema of a spec file (an editor completes and validates the TOML from it)."""
    model = Spec.model_json_schema()
    _allow_auto(model)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **model, "title": "bandgen spec"}


def _allow_auto(node: Any) -> None:
    if isinstance(node, dict):
        if node.get("default", 0) is None:
            del node["default"]
        if isinstance(node.get("default"), dict):
            node["default"] = {key: value for key, value in node["default"].items() if value is not None}
        for name, field in node.get("properties", {}).items():
            if "minimum" in field and name not in node.get("required", ()) and name != "inner_diameter_mm":
                number = {key: field.pop(key) for key in ("type", "minimum", "maximum")}
                node["properties"][name] = {"anyOf": [number, {"const": "auto"}], **field}
        for value in node.values():
            _allow_auto(value)


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        if not path.is_file():  # nor a pipe or a device, which may never end
            raise SpecError([Problem("file", "must be a readable TOML file", str(path))], str(path))
        if path.stat().st_size > SIZE_LIMIT_BYTES:
            raise SpecError(
                [Problem("file", f"must not exceed {SIZE_LIMIT_BYTES} bytes", path.stat().st_size)], str(path)
            )
        text = path.read_bytes().decode("utf-8-sig")
        if any(line.count(".") > MOST_DOTS for line in text.splitlines()):  # the parser takes their square
            raise SpecError([Problem("file", f"must be readable TOML (over {MOST_DOTS} dots in a line)")], str(path))
        return tomllib.loads(text)
    except (OSError, ValueError, RecursionError) as cause:  # bad UTF-8 and bad TOML are ValueErrors
        raise SpecError([Problem("file", f"must be readable TOML ({cause})")], str(path)) from None


def _put(data: dict[str, Any], key: str, value: Any) -> None:
    table, _, name = key.rpartition(".")
    inner = data.setdefault(table, {}) if table else data
    if not isinstance(inner, dict):
        raise SpecError([Problem(table, "is a value, not a table", inner)], "--set")
    inner[name] = value


def _problem(detail: Any) -> Problem:
    where = [str(step) for step in detail["loc"]]
    key = ".".join(where) or "spec"
    if detail["type"] == "extra_forbidden":
        return Problem(key, "is not a key of the spec", detail["input"], _suggest(where))
    if detail["type"] == "missing":
        return Problem(key, "is required", None, "add it")
    return Problem(key, detail["msg"][0].lower() + detail["msg"][1:], _brief(detail["input"]), _range_of(where))


def _brief(value: Any) -> Any:
    return value if isinstance(value, int | float | str | bool) else None


def _suggest(where: list[str]) -> str:
    """The nearest key, of the same table first."""
    keys = list(spec_keys())
    near = [key for key in keys if key.split(".")[0] == where[0]]
    close = difflib.get_close_matches(".".join(where), near, 1) or difflib.get_close_matches(
        where[-1], [key.rsplit(".", 1)[-1] for key in keys], 1
    )
    full = [key for key in keys if close and close[0] in (key, key.rsplit(".", 1)[-1])]
    return f"did you mean {full[0]!r}?" if full else "the schema (bandgen schema) lists the keys"


def _range_of(where: list[str]) -> str:
    limits = spec_keys().get(".".join(where))
    return f"allowed {limits[0]:g} to {limits[1]:g}" if limits else ""


def spec_keys() -> dict[str, tuple[float, float] | None]:
    """Every key of the spec as "table.key", with its allowed range where it is a number."""
    keys: dict[str, tuple[float, float] | None] = {"name": None}
    for table, field in Spec.model_fields.items():
        keys[table] = None
        model = field.annotation
        if isinstance(model, type) and issubclass(model, Table):
            for name, inner in model.model_fields.items():
                bounds = {type(m).__name__: m for m in inner.metadata}
                pair = (bounds["Ge"].ge, bounds["Le"].le) if {"Ge", "Le"} <= bounds.keys() else None
                keys[f"{table}.{name}"] = pair
    return keys
