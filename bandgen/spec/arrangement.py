"""The tables of bands other than the even full circle: arrangement, hoop, shank, bore.

A key that asks for something which nothing can act on (``order = "best"`` without a parcel) is refused. A number that
only tunes something absent (``curve`` without ``end_mm``) is let be.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Any, Literal

from pydantic import Field, ValidatorFunctionWrapHandler, field_validator, model_validator
from pydantic_core import PydanticCustomError

from bandgen.spec.table import COUNT_RANGE, SIZE_RANGE_MM, Fault, MaterialName, Size, Table, auto, refuse

SOURCES = ("sizes_mm", "end_mm", "parcel_mm", "pattern_mm")
"""Keys of the arrangement that say how large the stones are; one of them at most."""
LISTS = ("sizes_mm", "parcel_mm", "pattern_mm")
"""Those of them that list every size, so that the stones' diameter may be left out."""
ARCS_DEG = {"full": 360.0, "three-quarter": 270.0, "half": 180.0}
HOOP_RANGE_MM = (0.3, 3.0)


def _list(least: int, most: int, description: str, **extra: Any) -> Any:
    """A list that may be left out."""
    return Field(default=None, min_length=least, max_length=most, description=description, **extra)


def _or_file(node: dict[str, Any]) -> None:
    """In the schema: the list, or the path of a file."""
    kind = {key: node.pop(key) for key in ("type", "items", "minItems", "maxItems")}
    node["anyOf"] = [kind, {"type": "string", "minLength": 1}]


def _or_none(node: dict[str, Any]) -> None:
    """In the schema: a number in its range, or 0."""
    kind = {key: node.pop(key) for key in ("type", "minimum", "maximum")}
    node["anyOf"] = [kind, {"const": 0}]


class Arrangement(Table):
    """Which stones stand where: how far round, of which sizes, in how many rows."""

    coverage: Literal["full", "three-quarter", "half", "count"] = Field(
        default="full",
        description='How far round the stones go, centred on the top; "count": as far as stones.count takes them.',
    )
    coverage_deg: float = Field(
        default=None,  # type: ignore[assignment]
        ge=20.0,
        le=340.0,
        description="Angle from the outer girdle edge of the first stone to that of the last, instead of coverage.",
    )
    sizes_mm: tuple[Size, ...] = _list(
        1, 200, "Diameters in mm from the top stone outwards, both sides alike, set as they are listed."
    )
    end_mm: float = Field(
        default=None,  # type: ignore[assignment]
        ge=SIZE_RANGE_MM[0],
        le=SIZE_RANGE_MM[1],
        description="Diameter in mm at the ends (at the bottom of a full circle): graduated from stones.diameter_mm.",
    )
    curve: float = Field(
        default=1.0,
        ge=0.3,
        le=3.0,
        description="Exponent of the fall to end_mm: 1 even, above 1 slow at the top, under 1 fast at the top.",
    )
    ladder: Literal["none", "calibrated"] = Field(
        default="none", description="Graduated sizes as computed or listed, or the nearest that are sold calibrated."
    )
    parcel_mm: tuple[Size, ...] = _list(
        1,
        COUNT_RANGE[1],
        "Measured diameters in mm, first to last counter-clockwise, or the path of a CSV file beside the spec.",
        json_schema_extra=_or_file,
    )
    order: Literal["given", "best"] = Field(
        default="given", description="The parcel as listed, or its largest on top falling evenly to both sides."
    )
    pattern_mm: tuple[Size, ...] = _list(2, 12, "Diameters in mm, repeated round the band.")
    pattern_materials: tuple[MaterialName, ...] = _list(
        2, 12, "Materials repeated round the band (from the top outwards where graduated), instead of stones.material."
    )
    heights: Literal["clearance", "tables"] = Field(
        default="clearance", description="Unequal stones at one height of their culets, or with level tables."
    )
    prongs: Literal["shared", "own"] = Field(
        default="shared", description="One pair of prongs for two neighbours, or a pair for each stone on each side."
    )
    rows: int = Field(default=1, ge=1, le=3, description="Rows side by side.")
    stagger: bool = Field(default=False, description="Neighbouring rows moved by half a pitch.")
    row_gap_mm: float = auto(0.05, 2.0, "Least distance between the girdles of neighbouring rows, in mm.")
    scallop_mm: float = Field(
        default=0.0, ge=0.0, le=3.0, description="Depth in mm of the arches cut into the cups' outer sides."
    )

    @field_validator("parcel_mm", mode="before")
    @classmethod
    def _no_path(cls, value: Any) -> Any:
        if isinstance(value, str):
            rule = "is a file's path, which counts from the spec's own file: without one, give the diameters as a list"
            raise PydanticCustomError("path", rule)
        return value

    @model_validator(mode="after")
    def _goes_together(self) -> Arrangement:
        refuse("Arrangement", self._faults())
        if self.coverage_deg is not None:  # the angle stands alone, in the record too
            object.__setattr__(self, "coverage", None)
        return self

    def _faults(self) -> Iterator[Fault]:
        if self.coverage_deg is not None and "coverage" in self.model_fields_set and self.coverage is not None:
            rule = "cannot be given together with arrangement.coverage: leave one of them out"
            yield Fault(("coverage_deg",), self.coverage_deg, rule)
        for first, second in combinations([key for key in SOURCES if getattr(self, key) is not None], 2):
            rule = f"cannot be given together with arrangement.{first}: each says how large the stones are"
            yield Fault((second,), getattr(self, second), rule)
        if self.pattern_materials is not None and self.parcel_mm is not None:
            rule = "cannot be given together with arrangement.parcel_mm: a parcel is of stones.material"
            yield Fault(("pattern_materials",), None, rule)
        yield from self._idle()

    def _idle(self) -> Iterator[Fault]:
        """What is asked for where there is nothing to do it to."""
        if self.ladder != "none" and self.sizes_mm is None and self.end_mm is None:
            rule = "needs graduated stones: arrangement.end_mm or arrangement.sizes_mm"
            yield Fault(("ladder",), self.ladder, rule)
        if self.order != "given" and self.parcel_mm is None:
            yield Fault(("order",), self.order, "needs stones to put in order: arrangement.parcel_mm")
        if self.stagger and self.rows == 1:
            yield Fault(("stagger",), True, "needs arrangement.rows of 2 or 3")

    @property
    def full(self) -> bool:
        """Whether stones go all round."""
        return self.coverage == "full"

    @property
    def arc_deg(self) -> float | None:
        """The angle to cover in degrees, 360 for a full circle; None where it follows from the stones."""
        return self.coverage_deg if self.coverage_deg is not None else ARCS_DEG.get(self.coverage)

    @property
    def source(self) -> str | None:
        """The one of SOURCES that is given; None where all stones are equal."""
        return next((key for key in SOURCES if getattr(self, key) is not None), None)

    @property
    def listed_mm(self) -> tuple[float, ...] | None:
        """The listed sizes, None where there is no list."""
        return next((getattr(self, key) for key in LISTS if getattr(self, key) is not None), None)


class Hoop(Table):
    """A thin inner ring under the cups."""

    thickness_mm: float = Field(
        default=0.0,
        ge=HOOP_RANGE_MM[0],
        le=HOOP_RANGE_MM[1],
        description="Thickness of the hoop in mm; 0 for none.",
        json_schema_extra=_or_none,
    )
    width_mm: float = auto(0.5, 12.0, "Width of the hoop along the finger, in mm.")
    openings: bool = Field(default=False, description="An opening through the hoop under each stone.")

    @field_validator("thickness_mm", mode="wrap")
    @classmethod
    def _none_or_thick(cls, value: Any, check: ValidatorFunctionWrapHandler) -> Any:
        return 0.0 if type(value) in (int, float) and value == 0 else check(value)

    @model_validator(mode="after")
    def _there(self) -> Hoop:
        if self.openings and not self.thickness_mm:
            refuse("Hoop", [Fault(("openings",), True, "needs a hoop: hoop.thickness_mm")])
        return self


class Shank(Table):
    """The plain part of a band whose stones do not go all round."""

    section: Literal["flat", "half-round"] = Field(default="flat", description="Form of the shank's outside.")
    end_width_mm: float = auto(0.8, 10.0, "Width of the shank where it meets the last cups, in mm.")
    end_thickness_mm: float = auto(0.6, 6.0, "Thickness of the shank where it meets the last cups, in mm.")
    base_width_mm: float = auto(0.8, 10.0, "Width of the shank at the bottom, in mm.")
    base_thickness_mm: float = auto(0.6, 6.0, "Thickness of the shank at the bottom, in mm.")


class Bore(Table):
    """The inside of the band, in cross-section; its narrowest place has the finger's size."""

    section: Literal["flat", "comfort"] = Field(default="flat", description="Straight, or convex towards the finger.")
    crown_mm: float = auto(
        0.05, 1.0, "How much greater a comfort bore's radius is at the band's edges than at its narrowest, in mm."
    )
