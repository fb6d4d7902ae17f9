"""All stones alike."""

from __future__ import annotations

from bandgen.layout.sequences.base import FEWEST, MOST, Stone
from bandgen.spec import Spec


class Even:
    """The stone of ``[stones]``, any number of times."""

    name = "even"

    def applies(self, spec: Spec) -> bool:
        """Whatever no other sequence takes."""
        return True

    def counts(self, spec: Spec) -> tuple[range, ...]:
        """Any."""
        return (range(FEWEST, MOST + 1),)

    def row(self, spec: Spec, count: int) -> tuple[Stone, ...]:
        """The same stone all along."""
        return (Stone(spec.stones.diameter_mm, spec.stones.material),) * count

    def rule(self, spec: Spec) -> str:
        """Never asked for: the spec allows no other count."""
        return f"must be {FEWEST} to {MOST}"
