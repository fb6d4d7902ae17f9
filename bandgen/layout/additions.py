"""What may be added to a row of set stones: each a function from a layout to a layout, which leaves it as it is where
the spec asks for none of it. A new addition is one module and one line here."""

from __future__ import annotations

from collections.abc import Callable

from bandgen.layout.bore import add_comfort
from bandgen.layout.hoop import add_hoop
from bandgen.layout.numbers import Layout
from bandgen.layout.rows import add_rows
from bandgen.layout.scallop import add_scallops
from bandgen.layout.shank import add_shank

ADDITIONS: tuple[Callable[[Layout], Layout], ...] = (
    add_rows,  # first: what spans the band's width spans all rows
    add_shank,
    add_hoop,
    add_comfort,  # after all that adds width: it spans it
    add_scallops,  # last: they stand on hoop and bore
)
