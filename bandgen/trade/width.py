"""What the trade advises for wide bands, which feel tighter: advice with its sources, which disagree; never applied.

Sources are the keys of the project's trade facts, section 1: RIO = Rio Grande, "Measuring a ring blank"; FIT1 =
careypearson.com, "Finding a ring size"; FIT2 = tenderessentials.com, questions and answers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from bandgen.trade.sizes import SYSTEMS

Confidence = Literal["high", "medium", "low"]


@dataclass(frozen=True)
class WidthAdvice:
    """How much larger, in mm of inside circumference, a source makes a band of ``from_mm`` or more in width
    (``beyond``: of more than that)."""

    from_mm: float
    beyond: bool
    more_circumference_mm: float
    text: str
    source: str
    confidence: Confidence

    @property
    def more_diameter_mm(self) -> float:
        """The same in mm of inside diameter."""
        return self.more_circumference_mm / math.pi

    def covers(self, width_mm: float) -> bool:
        """Whether the source speaks of bands as wide as this."""
        return width_mm > self.from_mm if self.beyond else width_mm >= self.from_mm


_HALF_US_MM = math.pi * SYSTEMS["US"].per_unit / 2.0

WIDTH_ADVICE = (
    WidthAdvice(
        *(4.0, True, 0.5),
        text="over 4 mm wide: 0.5 mm more round the finger",
        source="RIO: riogrande.com, Measuring a ring blank",
        confidence="medium",
    ),
    WidthAdvice(
        *(5.0, False, _HALF_US_MM),
        text="5 mm wide and over: half a US size up",
        source="FIT1: careypearson.com/finding-a-ring-size",
        confidence="low",
    ),
    WidthAdvice(
        *(10.0, False, 0.0),
        text="10 mm wide and over: tighter, but the usual size may do",
        source="FIT2: tenderessentials.com/pages/faq, of comfort bores, which run half a size loose",
        confidence="low",
    ),
)
"""Published advice, by width."""


def advice_for_width(width_mm: float) -> tuple[WidthAdvice, ...]:
    """What sources say of a band this wide; empty where none asks for more room."""
    return tuple(advice for advice in WIDTH_ADVICE if advice.covers(width_mm))
