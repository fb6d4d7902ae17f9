"""The arches that scallop a cup's sides."""

from __future__ import annotations

from bandgen.layout.numbers import Station
from bandgen.layout.scallop import ArchNumbers, arch_outline
from bandgen.parts import Extruded, Frame, Part


def build_arches(station: Station, arch: ArchNumbers) -> tuple[Part, ...]:
    """Two cuts in the stone's frame, first the one at positive z, from the arch's flat back outwards."""
    shape = Extruded(arch_outline(arch, arch.bottom_mm), arch.reach_mm - arch.back_mm)
    middle = (arch.back_mm + arch.reach_mm) / 2.0
    return tuple(Part("arch", -1, shape, Frame(origin=(0.0, 0.0, middle * side))) for side in (1, -1))
