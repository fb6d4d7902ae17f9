"""The first rules of the trade: each fires, and one just inside its limit does not."""

from dataclasses import replace

import numpy as np
import pytest

from bandgen.inspection import setting
from bandgen.inspection.rules import RULES
from bandgen.inspection.setting import inspect_setting, notched_share
from bandgen.layout.compute import compute_layout
from bandgen.spec import make_spec


def band(**tables):
    stones = {"diameter_mm": 2.0, **tables.pop("stones", {})}
    return compute_layout(make_spec({"finger": {"inner_diameter_mm": 17.0}, "stones": stones, **tables}))


def severities(layout):
    return {finding.code: finding.severity for finding in inspect_setting(layout, RULES)}


def test_the_default_band_passes_all_but_the_feet():
    """At 2.0 mm on 17 mm the feet overlap by 0.108 of the 0.15 wanted: a note."""
    found = severities(band())
    assert found.pop("feet-joint") == "note"
    assert set(found.values()) == {"ok"}
    assert len(found) == len(setting.RULES) - 1  # no wall is asked, and nothing is added that others judge


# The limits are published casters' and setters' minimums (named in each finding's source).
@pytest.mark.parametrize(
    ("code", "outside", "inside"),
    [
        ("culet-clearance", {"stones": {"culet_clearance_mm": 0.49}, "seat": {"floor_mm": 0.3}},
         {"stones": {"culet_clearance_mm": 0.5}, "seat": {"floor_mm": 0.3}}),
        ("culet-floor", {"seat": {"floor_mm": 0.55}, "stones": {"culet_clearance_mm": 0.64}},
         {"seat": {"floor_mm": 0.55}, "stones": {"culet_clearance_mm": 0.65}}),
        ("floor", {"seat": {"floor_mm": 0.49}}, {"seat": {"floor_mm": 0.5}}),
        ("recess-wall", {"seat": {"wall_mm": 0.39}}, {"seat": {"wall_mm": 0.4}}),
        ("recess-width", {"seat": {"wall_mm": 0.79}}, {"seat": {"wall_mm": 0.78}}),
        ("recess-wall-asked", {"seat": {"wall_mm": 0.8, "bearing_mm": 0.55}},
         {"seat": {"wall_mm": 0.7, "bearing_mm": 0.55}}),
        ("pair-width", {"seat": {"rim_below_girdle_mm": 0.3}, "prong": {"overlap": 0.25}},
         {"seat": {"rim_below_girdle_mm": 0.3}, "prong": {"overlap": 0.22}}),
        ("prong-in-cup", {"prong": {"overlap": 0.15}}, {"prong": {"overlap": 0.19}}),
        ("feet-joint", {}, {"seat": {"draft_deg": 0.0}}),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_fires_outside_its_limit_and_not_inside(code, outside, inside):
    assert severities(band(**outside))[code] in ("warning", "note")
    assert severities(band(**inside))[code] == "ok"


def test_recess_deeper_than_wide():
    deep = band(stones={"culet_clearance_mm": 1.2}, seat={"floor_mm": 0.5})
    assert severities(deep)["recess-depth"] == "warning"


@pytest.mark.parametrize(("overlap", "share"), [(0.20, 0.28), (0.25, 0.39), (0.298, 0.50), (1.0 / 3.0, 0.58)])
def test_two_flat_notches(overlap, share):
    """Common practice, no source: checked against the area of a polygonal disc cut at both sides."""
    angles = np.linspace(0.0, 2.0 * np.pi, 400_001)
    x = np.cos(angles)
    kept = np.trapezoid(
        2.0 * np.sqrt(1.0 - (line := np.linspace(-1 + 2 * overlap, 1 - 2 * overlap, 200_001)) ** 2), line
    )
    assert notched_share(overlap) == pytest.approx(1.0 - kept / np.pi, abs=1e-8)
    assert notched_share(overlap) == pytest.approx(share, abs=0.005)
    assert x.min() == pytest.approx(-1.0)


def test_stone_that_cuts_its_bearing():
    """A mouth drawn 0.01 mm too narrow: the facet edges stand in the metal by just that."""
    layout = band()
    station = layout.stations[0]
    mouth, column = station.seat.mouth_radius_mm - 0.01, station.seat.column_radius_mm - 0.01
    tight = replace(station, seat=replace(station.seat, mouth_radius_mm=mouth, column_radius_mm=column))
    finding = setting.stone_on_bearing(layout, replace(layout.sides(layout.seams[0])[0], station=tight))
    assert finding.severity == "warning"
    assert finding.measured == pytest.approx(-0.01, abs=1e-6)
