"""What may be added to a row of set stones: each a function from a layout to a layout, which leaves it as it is where
the spec asks for none of it. A new addition is one module and one line here."""

from __future__ import annotations

from collections.abc import Callable

from bandgen.layout.bore import add_comfort
from bandgen.layout.casting import add_allowance
from bandgen.layout.hoop import add_hoop
from bandgen.layout.numbers import Layout
from bandgen.layout.rows import add_rows
from bandgen.layout.scallop import add_scallops
from bandgen.layout.shank import add_shank
from bandgen.layout.sprue import add_sprues
from bandgen.layout.tag import add_tag

ADDITIONS: tuple[Callable[[Layout], Layout], ...] = (
    add_rows,  # first: what spans the band's width spans all rows
    add_shank,
    add_hoop,
    add_allowance,  # after all that stands at the finger
    add_comfort,  # after all that adds width: it spans it
    add_scallops,  # they stand on hoop and bore
    add_sprues,  # they stand on a cup's side, clear of all else
    add_tag,  # last: it stands on a sprue
)
