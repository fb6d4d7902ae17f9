"""What a band weighs on its way from the pattern to the finger, each figure with what it assumes.

Nothing here is measured: a volume and an area come in, densities and the trade's allowances make grams of them.
Allowances differ between shops by more than densities do, so least and most stand side by side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from bandgen.layout.numbers import Layout, Station
from bandgen.layout.sprue import cut_off_mm3
from bandgen.reports.notches import notch_volume
from bandgen.spec import Spec
from bandgen.spec.casting import Casting, Sprue, Tag
from bandgen.trade.alloys import ALLOYS, mass_g
from bandgen.trade.patterns import PATTERN_MATERIALS, pattern_mass_g
from bandgen.trade.stones import MATERIALS, brilliant_carat
from bandgen.units import tand

CARAT_G = 0.2
"""A metric carat."""

SHRINKAGE = 0.01
"""By how much castings from a direct pattern come out smaller in length, in all metals (artistryofgold.com)."""

BUTTONS = (0.10, 0.50)
"""The button as a share of the casting: 10 % (romanoff.com); 25 to 50 % (orchid.ganoksin.com 27807)."""

SKINS_MM = (0.05, 0.10)
"""What finishing takes off a face (hmsmanufacturing.com)."""

SYMPOSIUM_SHARE = 4.907 / 5.930
"""Finished ring to model by mass: one plain ring of a symposium's paper (quoted on orchid.ganoksin.com 39603)."""

_BUTTON_SOURCE = "romanoff.com, casting 101: 10 %; orchid.ganoksin.com 27807: 25 to 50 %"
_SKIN_SOURCE = "hmsmanufacturing.com: 0.05 to 0.1 mm of allowance; recesses as cast: common practice, no source"


@dataclass(frozen=True)
class Weight:
    """One weight in grams: of what, on which assumption, and where the figures come from."""

    what: str
    grams: float
    assumed: str
    source: str


def band_alone(spec: Spec) -> Spec:
    """The spec without what is cut off its casting: sprues and tag."""
    return spec.model_copy(update={"sprue": Sprue(count=0), "tag": Tag(text="")})


def as_finished(spec: Spec) -> Spec:
    """The spec of the band alone at its finished size, with nothing left to make up for."""
    return band_alone(spec).model_copy(update={"casting": Casting()})


def carat_total(layout: Layout) -> float:
    """Weight in carat of all stones of a band, by volume."""
    return len(layout.rows) * sum(stone_carat(station) for station in layout.stations)


def stone_carat(station: Station) -> float:
    """Weight in carat of a station's stone, by the volume of the faceted brilliant."""
    return brilliant_carat(station.diameter_mm, station.material, station.proportions)


def weights(
    layout: Layout,
    volume_mm3: float,
    area_mm2: float | None = None,
    alloy: str | None = None,
    compensation: float | None = None,
) -> tuple[Weight, ...]:
    """The band's weights in the order of the work; without ``area_mm2``, or where sprues are part of it, none that
    needs the skin.

    Args:
        layout: the band's numbers.
        volume_mm3: its metal as designed, in whole prongs, without sprues.
        area_mm2: the surface of all, recesses included.
        alloy: instead of the spec's own.
        compensation: how many times larger than designed the pattern is made, against a shrinkage of 1 % in length;
            None for the spec's own, of which the casting comes out as designed: by what its files make up for, or
            the caster.
    """
    metal = ALLOYS[layout.spec.metal.alloy if alloy is None else alloy]
    pattern_mm3 = volume_mm3 * (compensation or layout.spec.casting.factor) ** 3
    cast_mm3 = volume_mm3 if compensation is None else pattern_mm3 * (1.0 - SHRINKAGE) ** 3
    cut_mm3 = notch_volume(layout)
    designed, cast, cut = (mass_g(volume, metal.density_g_cm3) for volume in (volume_mm3, cast_mm3, cut_mm3))
    return (
        *_patterns(pattern_mm3, compensation or layout.spec.casting.factor),
        Weight("as designed", designed, "volume x density, prongs whole", metal.source),
        *_melt(cast),
        _cast(cast, compensation, layout.spec.casting.factor),
        Weight("cut by the setter", cut, "stones into whole prongs, no clearance, tips left", "derived"),
        *_finished(layout, cast - cut, None if cut_off_mm3(layout) else area_mm2, metal.density_g_cm3),
        Weight("finished, by a share", designed * SYMPOSIUM_SHARE, *_by_share()),
        *_with_stones(layout, designed - cut),
    )


def _patterns(volume_mm3: float, factor: float) -> list[Weight]:
    size = "as large as designed" if factor == 1.0 else f"{factor:.6g} times the design in length"
    return [
        Weight(
            f"pattern, {name}",
            pattern_mass_g(volume_mm3, name),
            f"{size}, density {material.density_g_cm3:g} g/cm3, without sprues",
            material.source,
        )
        for name, material in PATTERN_MATERIALS.items()
    ]


def _melt(cast: float) -> list[Weight]:
    """The metal that goes into the crucible."""
    least, most = BUTTONS
    return [
        Weight(
            f"to melt, {word}",
            cast * (1.0 + share),
            f"casting and a button of {share * 100.0:g} %, sprues left out",
            _BUTTON_SOURCE,
        )
        for word, share in (("least", least), ("most", most))
    ]


def _cast(cast: float, compensation: float | None, factor: float) -> Weight:
    if compensation is None:
        who = "the caster sees to shrinkage" if factor == 1.0 else "the files make up for shrinkage ([casting])"
        return Weight("as cast", cast, f"as large as designed: {who}", "bureaus differ: ask yours")
    assumed = f"the pattern {compensation:g} times the design in length, shrinking by {SHRINKAGE * 100.0:g} %"
    return Weight("as cast", cast, assumed, "artistryofgold.com: about 1 % from a direct pattern in all metals")


def _finished(layout: Layout, cast: float, area_mm2: float | None, density: float) -> list[Weight]:
    """After finishing, the notches cut: recesses keep the skin as cast."""
    if area_mm2 is None:
        return []
    open_mm2 = area_mm2 - recess_area(layout)
    return [
        Weight(
            f"finished, {word}",
            cast - mass_g(open_mm2 * skin, density),
            f"the cast less {skin:g} mm off all faces outside the recesses, less the notches",
            _SKIN_SOURCE,
        )
        for word, skin in zip(("lightly", "heavily"), SKINS_MM, strict=True)
    ]


def _by_share() -> tuple[str, str]:
    return (
        f"{100.0 * (1.0 - SYMPOSIUM_SHARE):.0f} % less than designed, as one plain ring lost in casting and finishing",
        "symposium's paper quoted on orchid.ganoksin.com 39603: 5.930 g to 4.907 g",
    )


def _with_stones(layout: Layout, metal: float) -> list[Weight]:
    carats = carat_total(layout)
    return [
        Weight("stones", carats * CARAT_G, f"{carats:.3f} ct by volume", _stone_source(layout)),
        Weight("set with stones", metal + carats * CARAT_G, "as designed less the notches, and stones", "derived"),
    ]


def _stone_source(layout: Layout) -> str:
    names = sorted({station.material for station in layout.stations})
    return "; ".join(f"{name}: {MATERIALS[name].source}" for name in names)


def recess_area(layout: Layout) -> float:
    """Area in mm2 of all recesses, without their fillets: bearing cone, column and, where there is one, floor."""
    return len(layout.rows) * sum(_recess_area(station) for station in layout.stations)


def _recess_area(station: Station) -> float:
    seat = station.seat
    mouth, column = seat.mouth_radius_mm, seat.column_radius_mm
    cone = (mouth + column) * (mouth - column) * math.hypot(1.0, tand(seat.bearing_deg))
    floor = 0.0 if seat.through else column**2
    return math.pi * (cone + 2.0 * column * seat.column_length_mm + floor)
