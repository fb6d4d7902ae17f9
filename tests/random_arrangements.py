"""Random arrangements put onto a random spec: rows of unequal stones, partial bands, hoop, comfort bore, own prongs,
rows side by side, scallops, alone and together. Drawn in proportion to the stone, so that most can be made.

The spec's own values suit an even full circle of its stone. Where stones differ, or other prongs hold them, most of
those that follow the stone are left out again. One spec in eight has a key of the arrangement at, or just inside, a
bound of its range; :func:`hug_event` moves a key until an event of the layout stands just at the keep-away.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from random_specs import plain, random_spec

from bandgen.errors import SpecError
from bandgen.layout import compute
from bandgen.layout.arrange import arrange
from bandgen.layout.events import nearness
from bandgen.spec import make_spec, spec_keys
from bandgen.units import KEEP_AWAY_MM

Data = dict[str, Any]
FOLLOWING = (
    *("seat.rim_below_girdle_mm", "seat.rim_diameter_mm", "seat.wall_mm", "seat.bearing_mm", "seat.fillet_mm"),
    *("seat.floor_mm", "seat.draft_deg", "stones.culet_clearance_mm", "stones.gap_mm", "plug.foot_clearance_mm"),
)
"""Keys that follow the stone and its neighbours."""
HOLDING = ("prong.diameter_mm", "prong.overlap", "prong.height_above_girdle_mm", "plug.bite_mm")
"""Keys that follow what holds it."""


def dress(rng: random.Random, data: Data) -> None:
    """Put an arrangement onto a spec, in place."""
    data["arrangement"] = {}
    if rng.random() < 0.15:
        _side_by_side(rng, data)
        added = [add for share, add in ADDITIONS if add in (_own, _scallop) and rng.random() < share / 4.0]
    else:
        rng.choice(ROWS)(rng, data)
        added = [add for share, add in ADDITIONS if rng.random() < share]
    for add in added:
        add(rng, data)
    if rng.random() < 0.125:
        _hug(rng, data)
    if not data["arrangement"]:
        del data["arrangement"]


def _leave_out(rng: random.Random, data: Data, keys: tuple[str, ...], share: float) -> None:
    """Leave out such a share of the keys."""
    for key in keys:
        table, name = key.split(".")
        if rng.random() < share:
            data.get(table, {}).pop(name, None)


def hug_event(rng: random.Random, data: Data) -> Data:
    """The spec with one key moved until an event of its layout stands just at the keep-away, or about a hundredth of it
    on either side of there; as it is where no such key is found."""
    try:
        layout = compute._lay_out(make_spec(data))
    except SpecError:
        return data
    ranges = {key: pair for key, pair in spec_keys().items() if pair is not None}
    event = rng.choice([event for event in layout.events if event.key in ranges])
    table, name = event.key.split(".")
    target = KEEP_AWAY_MM + rng.choice((-1.0, 1.0, 1.0, 1.0)) * 10.0 ** rng.uniform(-6.0, -3.7)

    def at(value: float) -> Data:
        return {**data, table: {**data.get(table, {}), name: value}}

    def far(value: float) -> bool:
        try:
            events = compute._lay_out(make_spec(at(value))).events
        except SpecError:
            return False
        return all(nearness(other) >= target for other in events if other.name == event.name)

    middle = getattr(getattr(layout.specs[event.seam][0], table), name)
    for end in rng.sample(ranges[event.key], 2):
        steps = [middle + (end - middle) / 2.0**step for step in range(6, -1, -1)]
        for one, other in pairwise([middle, *steps]):
            if far(one) != far(other):
                return at(_edge(far, one, other))
    return data


def _edge(far: Callable[[float], bool], one: float, other: float) -> float:
    """Between two values the one on the far side of where the event is just far enough."""
    bad, good = (other, one) if far(one) else (one, other)
    for _ in range(30):
        middle = (bad + good) / 2.0
        bad, good = (bad, middle) if far(middle) else (middle, good)
    return good


def _hug(rng: random.Random, data: Data) -> None:
    """One number of the arrangement's tables, where given, at or near an end of its range; the rest as it was."""
    ranges = spec_keys()
    given = [
        (table, name)
        for table in ("arrangement", "hoop", "shank", "bore")
        for name, value in data.get(table, {}).items()
        if isinstance(value, float) and ranges.get(f"{table}.{name}")
    ]
    if given:
        table, name = rng.choice(given)
        low, high = ranges[f"{table}.{name}"]
        off = rng.choice((0.0, 10.0 ** rng.uniform(-9.0, -2.0) * (high - low)))
        data[table][name] = rng.choice((low + off, high - off))


def random_band(seed: int) -> Data:
    """The spec of a seed, as plain data: an even full circle by turns with an arrangement."""
    if seed % 2 == 0:
        return random_spec(seed // 2)
    rng = random.Random(f"bandgen arrangement {seed}")
    data = plain(rng)
    dress(rng, data)
    return data


def labels(data: Data) -> list[str]:
    """What kinds of arrangement a spec asks for, for the histogram."""
    arrangement = data.get("arrangement", {})
    found = [key for key in NAMES if arrangement.get(key)]
    if arrangement.get("prongs") == "own":
        found.append("own prongs")
    if arrangement.get("rows", 1) > 1:
        found.append("staggered rows" if arrangement.get("stagger") else "straight rows")
    if arrangement.get("coverage", "full") != "full" or "coverage_deg" in arrangement:
        found.append("partial")
    if data.get("hoop", {}).get("thickness_mm"):
        found.append("hoop")
    if data.get("bore", {}).get("section") == "comfort":
        found.append("comfort")
    return found or ["even full circle"]


NAMES = ("sizes_mm", "end_mm", "parcel_mm", "pattern_mm", "pattern_materials", "scallop_mm")


def _even(rng: random.Random, data: Data) -> None:
    if rng.random() < 0.4:
        _partial(rng, data)


def _partial(rng: random.Random, data: Data) -> None:
    arrangement = data["arrangement"]
    way = rng.randrange(3)
    if way == 0:
        arrangement["coverage"] = rng.choice(("half", "three-quarter"))
    elif way == 1:
        arrangement["coverage_deg"] = rng.uniform(30.0, 320.0)
    else:
        arrangement["coverage"] = "count"
        data["stones"]["count"] = rng.choice((3, 5, 7, 9, 11, rng.randint(3, 19)))
    if way < 2 and "count" in data["stones"]:
        del data["stones"]["count"]
    _leave_out(rng, data, (*FOLLOWING, *HOLDING), 0.3)
    if rng.random() < 0.5:
        _shank(rng, data)


def _shank(rng: random.Random, data: Data) -> None:
    diameter = data["stones"].get("diameter_mm", 2.0)
    shank = data["shank"] = {"section": rng.choice(("flat", "half-round"))}
    if rng.random() < 0.4:
        shank["base_thickness_mm"] = rng.uniform(1.2, 2.2)
    if rng.random() < 0.4:
        shank["base_width_mm"] = max(0.8, diameter * rng.uniform(0.7, 1.1))
    if rng.random() < 0.15:
        shank["end_width_mm"] = max(0.8, diameter * rng.uniform(0.6, 0.9))
    if rng.random() < 0.15:
        shank["end_thickness_mm"] = max(0.6, (0.55 + 0.35 * diameter) * rng.uniform(0.75, 1.05))


def _graduated(rng: random.Random, data: Data) -> None:
    diameter = data["stones"]["diameter_mm"]
    data["stones"].pop("count", None)
    data["arrangement"]["end_mm"] = max(1.0, diameter * rng.uniform(0.55, 0.98))
    if rng.random() < 0.5:
        data["arrangement"]["curve"] = rng.uniform(0.5, 2.0)
    if rng.random() < 0.3:
        data["arrangement"]["ladder"] = "calibrated"
    _leave_out(rng, data, (*FOLLOWING, *HOLDING), 0.9)
    _maybe_tables(rng, data)
    if rng.random() < 0.4:
        _partial(rng, data)


def _maybe_tables(rng: random.Random, data: Data) -> None:
    if rng.random() < 0.5:
        data["arrangement"]["heights"] = "tables"


def _pattern(rng: random.Random, data: Data) -> None:
    diameter = data["stones"]["diameter_mm"]
    data["stones"].pop("count", None)
    others = [max(1.0, diameter * rng.uniform(0.65, 1.0)) for _ in range(rng.choice((1, 1, 2)))]
    data["arrangement"]["pattern_mm"] = [diameter, *others]
    if rng.random() < 0.2:
        data["arrangement"]["pattern_materials"] = rng.sample(["diamond", "ruby", "sapphire", "emerald"], 2)
        _leave_out(rng, data, ("stones.pavilion_deg", "seat.bearing_deg"), 0.8)
    _leave_out(rng, data, (*FOLLOWING, *HOLDING), 0.9)
    _maybe_tables(rng, data)
    if rng.random() < 0.3:
        _partial(rng, data)


def _parcel(rng: random.Random, data: Data) -> None:
    diameter, spread = data["stones"].pop("diameter_mm"), rng.choice((0.02, 0.05, 0.1))
    sizes = [min(max(diameter + rng.uniform(-spread, spread), 1.0), 5.0) for _ in range(rng.randint(18, 36))]
    data["arrangement"]["parcel_mm"] = sizes
    data["arrangement"]["order"] = rng.choice(("given", "best"))
    _leave_out(rng, data, (*FOLLOWING, *HOLDING), 0.5)
    _around(rng, data, sizes, rng.random() < 0.5)


def _sizes(rng: random.Random, data: Data) -> None:
    diameter, fall = data["stones"].pop("diameter_mm"), rng.uniform(0.96, 0.995)
    full = rng.random() < 0.5
    around = math.pi * (rng.uniform(14.0, 22.0) + 1.8 * diameter) / (1.1 * diameter)
    sizes = [max(1.0, diameter * fall**step) for step in range(round(around / 2.0) if full else rng.randint(3, 12))]
    data["arrangement"]["sizes_mm"] = sizes
    _leave_out(rng, data, (*FOLLOWING, *HOLDING), 0.9)
    _maybe_tables(rng, data)
    _around(rng, data, [*sizes, *sizes[1:]], full)


def _around(rng: random.Random, data: Data, sizes: list[float], full: bool) -> None:
    """A list goes all round a finger that it just fits, or part of one."""
    data["stones"].pop("count", None)
    data["stones"].pop("gap_mm", None)
    if not full:
        data["arrangement"]["coverage"] = "count"
        bore = sum(sizes) * 1.1 * 360.0 / rng.uniform(60.0, 300.0) / math.pi
        data["finger"] = {"inner_diameter_mm": min(max(bore, 10.0), 80.0)}
    else:
        data["finger"] = {"inner_diameter_mm": _closing_bore(data, rng.uniform(1.0, 1.2))}


def _closing_bore(data: Data, share: float) -> float:
    """The bore in mm at which a closed row leaves such a share of the gap wanted."""
    low, high = 10.0, 80.0
    for _ in range(25):
        middle = (low + high) / 2.0
        try:
            row = arrange(make_spec({**data, "finger": {"inner_diameter_mm": middle}}))
        except (SpecError, ValueError):
            return middle
        low, high = (middle, high) if row.gap_mm < share * row.specs[0].stones.gap_mm else (low, middle)
    return high


def _hoop(rng: random.Random, data: Data) -> None:
    data["hoop"] = {"thickness_mm": rng.uniform(0.3, 0.6)}
    if data.get("seat", {}).get("opening") == "through" and rng.random() < 0.7:
        data["hoop"]["openings"] = True
    _leave_out(rng, data, ("plug.foot_clearance_mm",), 0.7)
    if rng.random() < 0.3:
        listed = data["arrangement"].get("parcel_mm") or data["arrangement"].get("sizes_mm") or [2.0]
        widest = 0.8 if "shank" in data else 1.3
        width = data["stones"].get("diameter_mm", max(listed)) * rng.uniform(0.5, widest)
        data["hoop"]["width_mm"] = max(width, 0.6)


def _comfort(rng: random.Random, data: Data) -> None:
    data["bore"] = {"section": "comfort"}
    if rng.random() < 0.4:
        data["bore"]["crown_mm"] = rng.uniform(0.05, 0.3)


def _own(rng: random.Random, data: Data) -> None:
    data["arrangement"]["prongs"] = "own"
    _leave_out(rng, data, HOLDING, 0.8)
    _leave_out(rng, data, FOLLOWING, 0.6)
    if "count" in data["stones"] and data["arrangement"].get("coverage") != "count":
        _leave_out(rng, data, ("stones.count",), 0.7)


def _side_by_side(rng: random.Random, data: Data) -> None:
    data["arrangement"]["rows"] = rng.choice((2, 3))
    _leave_out(rng, data, FOLLOWING, 0.3)
    way = rng.random()
    if way < 0.4:
        data["arrangement"]["stagger"] = True
    elif way < 0.6:
        rng.choice((_graduated, _pattern, _parcel, _sizes))(rng, data)
        for key in ("coverage", "coverage_deg"):
            data["arrangement"].pop(key, None)
        data.pop("shank", None)
    if rng.random() < 0.3:
        data["arrangement"]["row_gap_mm"] = rng.uniform(0.1, 0.5)


def _scallop(rng: random.Random, data: Data) -> None:
    data["arrangement"]["scallop_mm"] = rng.uniform(0.05, 0.5)


ROWS: tuple[Callable[[random.Random, Data], None], ...] = (_even, _partial, _graduated, _pattern, _parcel, _sizes)
ADDITIONS: tuple[tuple[float, Callable[[random.Random, Data], None]], ...] = (
    (0.25, _hoop),
    (0.25, _comfort),
    (0.2, _own),
    (0.2, _scallop),
)
