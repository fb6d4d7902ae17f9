"""The shared arrangement: one pair of prongs between two stones, which holds both."""

from __future__ import annotations

from dataclasses import replace

from bandgen.defaults import fill_joint, fill_prong_size
from bandgen.layout.grip import shared_axis
from bandgen.layout.holding import Held, Seated, blank, even_axis, loose, neighbour, reach_of, with_values
from bandgen.spec import Spec


def share_prongs(members: tuple[Seated, ...], halves: tuple[float, ...]) -> Held:
    """The pair in the seam plane, which is moved so that two unequal stones enter it alike; the pair of a single stone
    at the end of an open row.

    Raises:
        SpecError: when one prong cannot hold both.
    """
    specs = _agreed(tuple(own.spec for own in members), halves)
    members = tuple(replace(own, spec=spec) for own, spec in zip(members, specs, strict=True))
    try:
        if len(set(zip(members, halves, strict=True))) == 1:
            axis = even_axis(members[0], halves[0])
        else:
            axis, half = shared_axis(reach_of(specs[0]), *map(neighbour, members, halves))
            halves = (half, sum(halves) - half)
    except ValueError as cause:
        raise loose(specs[0].prong.overlap, cause) from None
    return Held((blank(axis, members, halves),), specs, halves)


def _agreed(specs: tuple[Spec, ...], halves: tuple[float, ...]) -> tuple[Spec, ...]:
    """One prong for all: the mean of the stones' own sizes, and the least of the shares that they can take."""
    sized = [fill_prong_size(own) for own in specs]
    diameter = sum(own.prong.diameter_mm for own in sized) / len(sized)
    height = sum(own.prong.height_above_girdle_mm for own in sized) / len(sized)
    same = [with_values(own, "prong", diameter_mm=diameter, height_above_girdle_mm=height) for own in sized]
    filled = [fill_joint(own, half) for own, half in zip(same, halves, strict=True)]
    overlap = min(own.prong.overlap for own in filled)
    return tuple(with_values(own, "prong", overlap=overlap) for own in filled)
