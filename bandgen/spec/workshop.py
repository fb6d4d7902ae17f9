"""The workshop's own figures: what things cost. There are no built-in prices."""

from __future__ import annotations

import re
from typing import Any

from pydantic import Field, field_validator
from pydantic_core import PydanticCustomError

from bandgen.spec.table import Table

MOST = 1e9
"""More than any price is, in any currency."""
CURRENCY_PATTERN = r"^[A-Z]{3}$"


def _price(description: str) -> Any:
    return Field(default=None, ge=0.0, le=MOST, description=f"{description} Not counted when left out.")


class Cost(Table):
    """What the band is costed from, in one currency; only what is given is counted."""

    currency: str = Field(
        default=None,  # type: ignore[assignment]
        json_schema_extra={"pattern": CURRENCY_PATTERN},
        description='Currency of all prices, in three capital letters: "EUR".',
    )
    metal_per_g: float = _price("Price of a gram of the alloy.")
    metal_loss_pct: float = Field(
        default=0.0,
        ge=0.0,
        le=100.0,
        description="Metal that does not come back from casting and finishing, in percent of the band's weight.",
    )
    stone_per_carat: float = _price("Price of a carat of the stones, all alike.")
    setting_per_stone: float = _price("Price of setting a stone.")
    casting_per_piece: float = _price("Price of casting the band, without its metal.")
    finishing_per_piece: float = _price("Price of finishing the band.")

    @field_validator("currency")
    @classmethod
    def _three_letters(cls, text: str) -> str:
        if not re.fullmatch(CURRENCY_PATTERN, text) or text.endswith("\n"):
            raise PydanticCustomError("currency", 'must be three capital letters, as "EUR"')
        return text
