"""The tables of a band on its way to the caster: shrinkage and finishing, sprues, a tag.

None of them changes the finished band: without them it is made at its own size and stands alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import Field, PlainSerializer, PlainValidator, WithJsonSchema, field_validator, model_validator
from pydantic_core import PydanticCustomError

from bandgen.errors import SpecError
from bandgen.spec.table import Fault, Table, auto, refuse
from bandgen.trade.house_profile import HouseProfile, Profile, make_profile, plain_profile

PROFILE_KEY = "casting.profile"
NEEDS_BORE = "needs the house's bores, [bore]: the finger's size is what the files are made for"
MOST_SHRINKAGE_PCT = 10.0
MOST_SPRUES = 12
TAG_PATTERN = r"^([A-Za-z0-9+./½-][A-Za-z0-9+./½ -]{0,15})?$"


def _profile(value: Any) -> HouseProfile:
    """The profile from its plain data, as a spec file's reading puts them in the place of a path."""
    if isinstance(value, Profile):
        return value
    if not isinstance(value, dict):
        rule = "is a file's path, which counts from the spec's own file: without one, give its content as a table"
        raise PydanticCustomError("path", rule if isinstance(value, str) else "must be a profile's path, in quotes")
    try:
        profile = make_profile(value)
    except SpecError as error:
        refuse("Profile", [Fault(_path(each.key), each.value, each.rule) for each in error.problems])
        raise  # never without problems
    refuse("Profile", [Fault(("bore",), None, NEEDS_BORE)] if profile.bore is None else [])
    return profile


def _path(key: str) -> tuple[str, ...]:
    """Where in the profile; "profile" is the whole."""
    return () if key == "profile" else tuple(key.split("."))


_PROFILE_SCHEMA = {
    "type": ["string", "object"],  # a file's path, or what it holds
    "minLength": 1,
    "properties": {key: {} for key in ("data", "sha256", "alloys", "measured", "bore", "width")},
    "required": ["data", "sha256", "alloys", "measured", "bore"],
    "additionalProperties": False,
}
HouseCalibration = Annotated[
    HouseProfile,
    PlainValidator(_profile),
    PlainSerializer(plain_profile, when_used="unless-none"),
    WithJsonSchema(_PROFILE_SCHEMA),
]


class Casting(Table):
    """Shrinkage and finishing that the files make up for; nothing unless asked, as many bureaus do it themselves."""

    pattern_shrinkage_pct: float = Field(
        default=0.0,
        ge=0.0,
        le=MOST_SHRINKAGE_PCT,
        description="How much a printed pattern shrinks, in percent of its length; 0 where the bureau makes up for it.",
    )
    metal_shrinkage_pct: float = Field(
        default=0.0,
        ge=0.0,
        le=MOST_SHRINKAGE_PCT,
        description="How much the metal shrinks as it sets, in percent of its length (one caster: about 1); "
        "0 where the caster makes up for it.",
    )
    bore_allowance_mm: float = Field(
        default=0.0,
        ge=0.0,
        le=0.1,
        description="Metal that polishing takes from the bore, in mm of its radius: it is made smaller by that.",
    )
    profile: HouseCalibration = Field(
        default=None,  # type: ignore[arg-type]
        description="A house's own compensation, instead of these: the path, counted from the spec, of what "
        "bandgen calibrate wrote.",
    )

    @model_validator(mode="after")
    def _goes_together(self) -> Casting:
        refuse("Casting", self._faults())
        return self

    def _faults(self) -> Iterator[Fault]:
        """A house's rings were measured when all was done to them."""
        for key in ("pattern_shrinkage_pct", "metal_shrinkage_pct", "bore_allowance_mm"):
            if self.profile is not None and getattr(self, key) > 0.0:
                rule = f"cannot be given together with {PROFILE_KEY}: the house's finished rings tell of it already"
                yield Fault((key,), getattr(self, key), rule)

    @property
    def factor(self) -> float:
        """By how much the files are larger than the design: what is left of 1 mm after both is 1 mm; by a house's
        profile once a layout has told its bore."""
        if self.profile is not None:
            return self.profile.factor
        return 1.0 / ((1.0 - self.pattern_shrinkage_pct / 100.0) * (1.0 - self.metal_shrinkage_pct / 100.0))


class Sprue(Table):
    """Sprues on the sides of cups, all on one side of the band."""

    count: int = auto(0, MOST_SPRUES, "How many sprues, as evenly spaced as the stones allow; 0 for none.")
    diameter_mm: float = auto(0.6, 6.0, "Diameter of a sprue in mm.")
    length_mm: float = Field(
        default=5.0, ge=1.0, le=30.0, description="Length of a sprue beyond the cup that it stands on, in mm."
    )


class Tag(Table):
    """A plate at the end of the first sprue with raised letters, so that sizes of one tree are not mixed up."""

    text: str = Field(
        default=None,  # type: ignore[assignment]
        max_length=16,
        json_schema_extra={"pattern": TAG_PATTERN},
        description="Text of the tag: letters, digits, space and + - . / ½; the finished size when left out.",
    )

    @field_validator("text")
    @classmethod
    def _has_strokes(cls, text: Any) -> Any:
        if isinstance(text, str) and (not re.fullmatch(TAG_PATTERN, text) or text.endswith("\n")):
            raise PydanticCustomError(
                "tag", "must hold letters A to Z, digits, + - . / ½ and spaces after the first, 16 at most"
            )
        return text
