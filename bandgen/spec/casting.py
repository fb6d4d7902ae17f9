"""The tables of a band on its way to the caster: shrinkage and finishing, sprues, a tag.

None of them changes the finished band: without them it is made at its own size and stands alone.
"""

from __future__ import annotations

import re
from typing import Any

from pydantic import Field, field_validator
from pydantic_core import PydanticCustomError

from bandgen.spec.table import Table, auto

MOST_SHRINKAGE_PCT = 10.0
MOST_SPRUES = 12
TAG_PATTERN = r"^([A-Za-z0-9+./½-][A-Za-z0-9+./½ -]{0,15})?$"


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

    @property
    def factor(self) -> float:
        """By how much the files are larger than the design: what is left of 1 mm after both is 1 mm."""
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
