"""The whole spec: its tables, the rules between them, its keys."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from pydantic import Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from bandgen.spec.arrangement import LISTS, Arrangement, Bore, Hoop, Shank
from bandgen.spec.casting import Casting, Sprue, Tag
from bandgen.spec.table import SIZE_RANGE_MM, Fault, Table, bounds, refuse
from bandgen.spec.tables import SCHEMA_NAME_PATTERN, Finger, Mesh, Metal, Plug, Prong, Seat, Stones
from bandgen.spec.workshop import Cost


class Spec(Table):
    """A band. Only the finger and the stones' diameter, or a list of their sizes, are required."""

    name: str = Field(
        default="band",
        json_schema_extra={"pattern": SCHEMA_NAME_PATTERN},
        description="Name of the band and of its files: letters, digits, space, dot, hyphen, underscore.",
    )
    finger: Finger = Field(description="The finger.")
    stones: Stones = Field(description="The stones and how they stand.")
    arrangement: Arrangement = Field(default=Arrangement(), description="Which stones stand where.")
    seat: Seat = Field(default=Seat(), description="The cup under a stone.")
    prong: Prong = Field(default=Prong(), description="The shared prongs.")
    plug: Plug = Field(default=Plug(), description="The fill between two cups.")
    hoop: Hoop = Field(default=Hoop(), description="An inner ring under the cups.")
    shank: Shank = Field(default=Shank(), description="The plain part of a partial band.")
    bore: Bore = Field(default=Bore(), description="The inside of the band.")
    metal: Metal = Field(default=Metal(), description="The metal.")
    mesh: Mesh = Field(default=Mesh(), description="The printable mesh.")
    casting: Casting = Field(default=Casting(), description="Shrinkage and finishing that the files make up for.")
    sprue: Sprue = Field(default=Sprue(count=0), description="Sprues; the table alone asks for the usual number.")
    tag: Tag = Field(default=Tag(text=""), description="A tag on the first sprue; the table alone asks for one.")
    cost: Cost = Field(default=Cost(), description="Prices to cost the band by.")

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

    @model_validator(mode="before")
    @classmethod
    def _largest_listed(cls, data: Any) -> Any:
        """The stones' diameter, where a list gives the sizes and nothing else does."""
        if not isinstance(data, dict) or not isinstance(stones := data.get("stones", {}), dict):
            return data
        largest = _largest(data.get("arrangement"))
        if largest is None or "diameter_mm" in stones:
            return data
        return {**data, "stones": {**stones, "diameter_mm": largest}}

    @model_validator(mode="after")
    def _goes_together(self) -> Spec:
        refuse("Spec", self._faults())
        return self

    def _faults(self) -> Iterator[Fault]:
        stones, arrangement = self.stones, self.arrangement
        if arrangement.end_mm is not None and arrangement.end_mm > stones.diameter_mm:
            rule = f"must not be more than stones.diameter_mm, {stones.diameter_mm:g}: sizes fall from the top"
            yield Fault(("arrangement", "end_mm"), arrangement.end_mm, rule)
        listed = arrangement.listed_mm
        if listed is not None and stones.diameter_mm != max(listed):
            rule = f"must be left out, or be the largest of arrangement.{arrangement.source}, {max(listed):g}"
            yield Fault(("stones", "diameter_mm"), stones.diameter_mm, rule)
        own_count = stones.count is not None or arrangement.source in ("sizes_mm", "parcel_mm")
        if arrangement.coverage == "count" and not own_count:
            rule = 'is required where arrangement.coverage is "count"'
            yield Fault(("stones", "count"), None, rule)
        yield from self._casting_faults()

    def _casting_faults(self) -> Iterator[Fault]:
        if self.tag.text != "" and self.sprue.count == 0:
            yield Fault(("tag", "text"), self.tag.text, "needs a sprue to stand on: the table sprue")
        if self.sprue.count != 0 and self.arrangement.scallop_mm > 0.0:
            rule = "cannot be given together with arrangement.scallop_mm: an arch leaves a cup no plain side"
            yield Fault(("sprue", "count"), self.sprue.count, rule)
        if self.casting.bore_allowance_mm > 0.0 and self.plug.foot_clearance_mm > 0.0:
            rule = "cannot be given together with plug.foot_clearance_mm: polishing does not reach under the plug"
            yield Fault(("casting", "bore_allowance_mm"), self.casting.bore_allowance_mm, rule)


def _largest(arrangement: Any) -> float | None:
    """The largest sound size of a raw arrangement's list; None where it has no list.

    Where no item is sound any size will do: the items are refused."""
    given = [key for key in LISTS if key in arrangement] if isinstance(arrangement, dict) else []
    if not given:
        return None
    items = arrangement[given[0]] if isinstance(arrangement[given[0]], list | tuple) else ()
    low, high = SIZE_RANGE_MM
    return max((item for item in items if type(item) in (int, float) and low <= item <= high), default=low)


def spec_keys() -> dict[str, tuple[float, float] | None]:
    """Every key of the spec as "table.key", with its allowed range where it is a number."""
    keys: dict[str, tuple[float, float] | None] = {"name": None}
    for table, field in Spec.model_fields.items():
        keys[table] = None
        model = field.annotation
        if isinstance(model, type) and issubclass(model, Table):
            keys |= {f"{table}.{name}": bounds(inner.metadata) for name, inner in model.model_fields.items()}
    return keys
