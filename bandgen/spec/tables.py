"""The tables of every band: finger, stones, seat, prong, plug, metal, mesh."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from bandgen.spec.table import COUNT_RANGE, SIZE_RANGE_MM, Table, auto, one_of
from bandgen.trade.alloys import ALLOYS
from bandgen.trade.sizes import FingerSize, pattern, read_size
from bandgen.trade.stones import MATERIALS

BORE_RANGE_MM = (10.0, 80.0)
SCHEMA_NAME_PATTERN = r"^(?!.*\.\.)[A-Za-z0-9_-]([A-Za-z0-9 ._-]{0,78}[A-Za-z0-9_-])?$"


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
    diameter_mm: float = Field(
        ge=SIZE_RANGE_MM[0],
        le=SIZE_RANGE_MM[1],
        description="Diameter of the girdle in mm; the top stone's where graduated, the largest of a list of sizes.",
    )
    material: str = Field(
        default="diamond",
        description="Decides proportions and weight.",
        json_schema_extra={"enum": [*sorted(MATERIALS)]},
    )
    pavilion_deg: float = auto(36.0, 50.0, "Angle of the pavilion under the girdle plane, in degrees.")
    crown_deg: float = auto(25.0, 45.0, "Angle of the crown above the girdle plane, in degrees.")
    table_pct: float = auto(45.0, 75.0, "Width of the table in percent of the diameter.")
    girdle_pct: float = auto(2.0, 8.0, "Thickness of the girdle at the mains, in percent of the diameter.")
    gap_mm: float = auto(0.05, 1.0, "Least distance between neighbouring girdles, in mm.")
    count: int = Field(
        default=None,  # type: ignore[assignment]
        ge=COUNT_RANGE[0],
        le=COUNT_RANGE[1],
        description="How many stones; the most that fit when left out.",
    )
    culet_clearance_mm: float = auto(0.1, 4.0, "Height of the culet above the finger, in mm.")

    @field_validator("material")
    @classmethod
    def _known(cls, name: str) -> str:
        return one_of(name, MATERIALS)


class Seat(Table):
    """The cup under a stone."""

    rim_below_girdle_mm: float = auto(0.05, 1.0, "Depth of the cup's rim under the lower girdle edge, in mm.")
    rim_diameter_mm: float = auto(0.8, 6.0, "Diameter of the cup at its rim, in mm; the girdle's.")
    draft_deg: float = auto(0.0, 15.0, "Taper of the cup in degrees; chosen so that neighbouring feet overlap.")
    wall_mm: float = auto(0.2, 2.0, "Metal round the recess at its thinnest, in mm.")
    floor_mm: float = auto(0.2, 3.0, "Metal under the recess on the stone's axis, in mm.")
    bearing_deg: float = auto(36.0, 65.0, "Angle of the cone that carries the pavilion; the stone's own.")
    bearing_mm: float = auto(0.05, 2.0, "Width of that cone measured outwards, in mm; places the recess.")
    fillet_mm: float = auto(0.0, 1.0, "Radius that opens the recess below the bearing, in mm.")
    opening: Literal["blind", "through"] = Field(
        default="blind", description="Recess with a floor, or open to the bore."
    )


class Prong(Table):
    """The round prongs that two stones share."""

    diameter_mm: float = auto(0.3, 2.5, "Diameter of the prong in mm.")
    overlap: float = auto(0.05, 1.0 / 3.0, "Share of the prong's diameter that a girdle enters, from each side.")
    height_above_girdle_mm: float = auto(
        0.2, 4.0, "Blank height from the lower girdle edge to the top of the tip, in mm."
    )
    tip: Literal["dome", "flat"] = Field(default="dome", description="Form of the prong's tip.")


class Plug(Table):
    """The fill of the narrow slot between two cups."""

    bite_mm: float = auto(0.02, 1.0, "How far the plug enters each cup at the rim, in mm.")
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
        return one_of(name, ALLOYS)


class Mesh(Table):
    """The printable mesh."""

    deviation_mm: float = Field(
        default=0.005, ge=0.0005, le=0.05, description="Greatest distance between mesh and true surface, in mm."
    )
