"""What a check is, told in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bandgen.reports.working.site import Site

Text = str | Callable[[Site], str]
"""A text, or what it is at one site."""


@dataclass(frozen=True)
class Check:
    """What is looked at, how it is measured, why the limit is there; the formula of the measured number where it has a
    closed form, and its unit."""

    code: str
    meaning: str
    measured: str
    why: str
    formula: Text = ""
    unit: str = "mm"

    def as_dict(self) -> dict[str, str]:
        """Plain data: its words."""
        return {"code": self.code, "meaning": self.meaning, "measured": self.measured, "why": self.why}


def told(text: Text, site: Site) -> str:
    """The text at a site."""
    return text if isinstance(text, str) else text(site)
