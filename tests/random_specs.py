"""Random specs over the whole spec space, from a seed: plain draws, one key anywhere in its range or hugging a
bound of it, and draws that hug a place where the geometry changes kind. Nothing is filtered: each seed is one spec,
refused or not.

Every key is drawn in proportion to what :func:`bandgen.defaults.fill` would give beside the keys drawn before it, so
that most specs can be made; one in six spreads over the key's whole range. :func:`judge` says what became of one.
"""

from __future__ import annotations

import json
import math
import random
import time
import traceback
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq

from bandgen.defaults import fill, longest_fillet
from bandgen.errors import SpecError
from bandgen.exporters.formats import FORMATS
from bandgen.layout import compute
from bandgen.layout.events import parting_height
from bandgen.layout.numbers import Event, Layout, Seam
from bandgen.layout.seatwork import SeatNumbers, compute_seat, girdle_radius
from bandgen.pipeline import generate, with_exact_findings
from bandgen.spec import Spec, make_spec, spec_keys
from bandgen.trade.alloys import ALLOYS
from bandgen.trade.sizes import SYSTEMS, all_sizes
from bandgen.trade.stones import MATERIALS
from bandgen.units import KEEP_AWAY_MM

Data = dict[str, Any]
Pair = tuple[float, float]

LEFT_OUT = ("arrangement", "hoop", "shank", "bore")
"""Tables that are not drawn here: every band here is an even full circle."""
WORKSHOP = ("casting", "sprue", "tag", "cost")
"""Tables of the caster and of prices: they do not change a finished band, and have tests of their own."""

KEYS = tuple(key for key in spec_keys() if key.partition(".")[0] not in (*LEFT_OUT, *WORKSHOP))
RANGES: dict[str, Pair] = {key: pair for key, pair in spec_keys().items() if key in KEYS and pair is not None}
CHOICES: dict[str, tuple[str, ...]] = {
    "stones.cut": ("round",),
    "stones.material": tuple(sorted(MATERIALS)),
    "seat.opening": ("blind", "through"),
    "prong.tip": ("dome", "flat"),
    "metal.alloy": tuple(sorted(ALLOYS)),
}
# In the order of drawing: what decides the place of the stone first. With each the furthest fall and rise, as
# factors of the value beside it, that a sensible spec would take.
SPREADS: dict[str, Pair] = {
    "stones.pavilion_deg": (0.93, 1.08),
    "stones.crown_deg": (0.8, 1.2),
    "stones.table_pct": (0.85, 1.2),
    "stones.girdle_pct": (0.7, 2.0),
    "seat.floor_mm": (0.5, 1.3),
    "stones.culet_clearance_mm": (1.0, 1.8),
    "stones.gap_mm": (0.6, 1.3),
    "stones.count": (0.97, 1.0),
    "seat.rim_below_girdle_mm": (0.9, 1.25),
    "seat.rim_diameter_mm": (0.98, 1.02),
    "seat.draft_deg": (0.0, 1.5),
    "seat.bearing_deg": (1.0, 1.1),
    "seat.wall_mm": (0.7, 1.05),
    "seat.bearing_mm": (0.6, 1.1),
    "seat.fillet_mm": (0.0, 1.0),
    "prong.diameter_mm": (0.85, 1.25),
    "prong.overlap": (0.75, 1.05),
    "prong.height_above_girdle_mm": (0.8, 2.0),
    "plug.bite_mm": (0.6, 1.3),
    "plug.foot_clearance_mm": (0.0, 1.0),
}
DEPENDENT = {
    *("stones.culet_clearance_mm", "stones.count", "seat.draft_deg", "seat.bearing_deg", "seat.wall_mm"),
    *("seat.bearing_mm", "seat.fillet_mm", "prong.overlap", "plug.bite_mm", "plug.foot_clearance_mm"),
}
"""Keys whose value beside them follows from other keys that may be drawn, and so is computed afresh."""

KEY_SHARE = 0.5
"""Share of the draws in which an optional key is given."""


def random_spec(seed: int) -> Data:
    """The spec of a seed, as plain data."""
    rng = random.Random(f"bandgen {seed}")
    kind = rng.choices((plain, anywhere, bound_hugging, event_hugging), (6, 2, 4, 4))[0]
    return kind(rng)


def plain(rng: random.Random, fixed: Data | None = None, diameter: float | None = None) -> Data:
    """A spec in proportion to its stone; ``fixed`` holds "table.key" values that are given already."""
    spread = rng.choice((0.25, 0.25, 0.5, 0.5, 1.0, 3.0))
    data: Data = {"finger": _finger(rng), "stones": {"diameter_mm": diameter or _log_uniform(rng, 1.0, 5.0)}}
    for key, value in (fixed or {}).items():
        put(data, key, value)
    for key, words in CHOICES.items():
        if rng.random() < KEY_SHARE:
            put(data, key, rng.choice(words))
    filled = None
    for key in SPREADS:
        if key not in (fixed or {}) and rng.random() < KEY_SHARE:
            filled = _filled(data) if filled is None or key in DEPENDENT else filled
            _draw(rng, data, key, spread, filled)
    _trimmings(rng, data, fixed or {})
    return data


def anywhere(rng: random.Random) -> Data:
    """One key drawn evenly over its whole range, with the stone that suits it."""
    key = rng.choice(sorted(RANGES))
    value = rng.uniform(*RANGES[key])
    value = round(value) if key == "stones.count" else value
    return plain(rng, {key: value}, value if key == "stones.diameter_mm" else _suitable_diameter(key, value))


def bound_hugging(rng: random.Random) -> Data:
    """One key at, or just inside, an end of its range (one in ten just outside); the stone as large as suits it."""
    key = rng.choice(sorted(RANGES))
    low, high = RANGES[key]
    side = rng.choice((1.0, -1.0))
    off = rng.choice((0.0, 0.0, 10.0 ** rng.uniform(-9.0, -2.0) * (high - low))) * side
    value = (low if side > 0.0 else high) + (-off if rng.random() < 0.1 else off)
    if key == "stones.count":
        value = (int(low) if side > 0.0 else int(high)) + rng.choice((0, 0, 0, 1, -1))
    return plain(rng, {key: value}, value if key == "stones.diameter_mm" else _suitable_diameter(key, value))


def event_hugging(rng: random.Random) -> Data:
    """A plain spec with one key moved until an event of the layout stands just at the keep-away, or until two
    features that no event may know of just coincide."""
    data = plain(rng)
    numbers = numbers_of(data)
    if numbers is None:
        return data
    if rng.random() < 0.5:
        data = frozen(numbers.spec, data)
    for _ in range(6):
        name, key, target = _aim(rng, numbers)
        moved = _moved(data, key, name, target + rng.choice((1, 1, 1, -1)) * 10.0 ** rng.uniform(-6.0, -3.0))
        if moved is not None:
            return moved
    return data


@dataclass(frozen=True)
class Numbers:
    """The numbers of an even band's layout, whose events may be crossed."""

    layout: Layout

    @property
    def spec(self) -> Spec:
        """With every value filled in."""
        return self.layout.spec

    @property
    def seat(self) -> SeatNumbers:
        """That of every stone."""
        return self.layout.stations[0].seat

    @property
    def seam(self) -> Seam:
        """The first, which stands for all."""
        return self.layout.seams[0]

    @property
    def events(self) -> tuple[Event, ...]:
        """Every event, crossed or not."""
        return self.layout.events

    def distance(self, name: str) -> float | None:
        """The distance of an event or a coincidence, None where there is none."""
        if name in COINCIDENCES:
            return COINCIDENCES[name][0](self)
        return next((event.distance_mm for event in self.events if event.name == name), None)


def numbers_of(data: Data) -> Numbers | None:
    """The numbers of a spec; None where there are none (the judge meets the same fault and reports it)."""
    try:
        return Numbers(compute._lay_out(make_spec(data)))
    except (SpecError, ValueError, ArithmeticError):
        return None


def _meeting_z(numbers: Numbers, radial: float) -> float:
    """z at which the sides of two neighbouring cups meet in the seam plane at a radial height (negative: apart)."""
    half = math.pi / numbers.spec.stones.count
    rest = numbers.seat.radius_at(radial * math.cos(half)) ** 2 - (radial * math.sin(half)) ** 2
    return math.copysign(math.sqrt(abs(rest)), rest)


def _feet_off_prong(side: float, radial: Callable[[Numbers], float]) -> Callable[[Numbers], float]:
    """From the prong's outer (+1) or inner (-1) side to where the cups' sides meet, in z at a radial height."""

    def distance(numbers: Numbers) -> float:
        prong, height = numbers.seam.prong, radial(numbers)
        edge = prong.axis.z_at(height) + side * prong.diameter_mm / 2.0 / math.cos(prong.axis.lean)
        return _meeting_z(numbers, height) - edge

    return distance


def _parting(seat: SeatNumbers, count: int) -> float:
    """Height above the finger where the feet of two equal neighbours part."""
    return parting_height([(seat, math.pi / count)] * 2)


def _under_plug_top(numbers: Numbers) -> float:
    parting = _parting(numbers.seat, numbers.spec.stones.count)
    return numbers.seam.plug.top_mm - numbers.seat.bore_radius_mm - parting


_BORE, _FOOT, _TOP = (lambda n: n.seat.bore_radius_mm), (lambda n: n.seam.plug.foot_mm), (lambda n: n.seam.plug.top_mm)
# Features that might coincide, whether an event knows of it or not: the distance, and keys that move it.
COINCIDENCES: dict[str, tuple[Any, ...]] = {
    "feet, prong's outside, bore": (
        _feet_off_prong(1.0, _BORE),
        "prong.overlap",
        "prong.diameter_mm",
        "seat.draft_deg",
    ),
    "feet, prong's inside, bore": (
        _feet_off_prong(-1.0, _BORE),
        "prong.overlap",
        "prong.diameter_mm",
        "seat.draft_deg",
    ),
    "feet, prong's inside, plug's foot": (_feet_off_prong(-1.0, _FOOT), "plug.foot_clearance_mm", "prong.overlap"),
    "cups, prong's inside, plug's top": (_feet_off_prong(-1.0, _TOP), "plug.bite_mm", "seat.rim_diameter_mm"),
    "cups part at plug's top": (_under_plug_top, "seat.rim_diameter_mm", "seat.draft_deg", "plug.bite_mm"),
    "plug stops at bore": (lambda n: n.spec.plug.foot_clearance_mm, "plug.foot_clearance_mm"),
    "no fillet": (lambda n: n.seat.fillet_mm, "seat.fillet_mm"),
    "straight cup": (lambda n: n.seat.draft_deg, "seat.draft_deg"),
}


def frozen(spec: Spec, data: Data) -> Data:
    """The spec with every value filled in, but for one of the two keys that place the recess."""
    full = {**spec.model_dump(exclude_none=True, exclude=set(LEFT_OUT)), "finger": data["finger"]}
    full["seat"].pop("wall_mm" if "bearing_mm" in data.get("seat", {}) else "bearing_mm", None)
    return full


def put(data: Data, key: str, value: Any) -> None:
    """Set "table.key" in place; a bore replaces a size."""
    table, _, name = key.partition(".")
    if table == "finger":
        data["finger"] = {}
    data.setdefault(table, {})[name] = value


def get(data: Data, key: str) -> Any:
    """The value of "table.key", None where it is left out."""
    table, _, name = key.partition(".")
    return data.get(table, {}).get(name)


def _finger(rng: random.Random) -> Data:
    if rng.random() < 0.5:
        return {"size": rng.choice(all_sizes(rng.choice(sorted(SYSTEMS)))).label}
    wide = rng.random() < 0.4
    return {"inner_diameter_mm": _log_uniform(rng, 10.0, 80.0) if wide else rng.uniform(14.0, 23.0)}


def _log_uniform(rng: random.Random, low: float, high: float) -> float:
    return min(max(math.exp(rng.uniform(math.log(low), math.log(high))), low), high)


def _filled(data: Data) -> Spec | None:
    """The spec as filled in so far; None where that fails (the judge meets the same fault and reports it)."""
    try:
        return fill(make_spec(data))[0]
    except (SpecError, ValueError, ArithmeticError):
        return None


def _draw(rng: random.Random, data: Data, key: str, spread: float, filled: Spec | None) -> None:
    """Put a value beside the one that would be filled in; now and then the word "auto"."""
    low, high = RANGES[key]
    if rng.random() < 0.05 and key != "plug.foot_clearance_mm":
        put(data, key, "auto")
        return
    middle, room = (0.0, 0.0) if filled is None else _beside(data, key, filled)
    if filled is None or (spread > 2.0 and rng.random() < 0.15):
        value = rng.uniform(low, high)
    else:
        fall, rise = (1.0 + (factor - 1.0) * min(spread, 1.2) for factor in SPREADS[key])
        value = min(max(rng.uniform(middle * fall, min(middle * rise, room)), low), high)
    put(data, key, round(value) if key == "stones.count" else value)


def _beside(data: Data, key: str, filled: Spec) -> tuple[float, float]:
    """What would be filled in for a key, and the most that there is room for."""
    table, _, name = key.partition(".")
    value, room = getattr(getattr(filled, table), name), math.inf
    if key == "plug.foot_clearance_mm":
        value = room = _foot_room(data, filled)
    elif key == "seat.fillet_mm":
        value = room = longest_fillet(compute_seat(filled, girdle_radius(filled)))
    elif key == "seat.floor_mm" and isinstance(clearance := get(data, "stones.culet_clearance_mm"), float):
        room = clearance - KEEP_AWAY_MM
    return value, room


def _foot_room(data: Data, filled: Spec) -> float:
    """The highest of some places under the parting of the feet where the plug may stop; 0, at the finger, if none."""
    parting = _parting(compute_seat(filled, girdle_radius(filled)), filled.stones.count)
    for height in (max(parting, 0.0) * share for share in (0.9, 0.5, 0.2)):
        numbers = numbers_of({**data, "plug": {**data.get("plug", {}), "foot_clearance_mm": height}})
        if numbers and (numbers.distance("plug-foot-pocket") or 0.0) > KEEP_AWAY_MM:
            return height
    return 0.0


def _trimmings(rng: random.Random, data: Data, fixed: Data) -> None:
    """What has no bearing on the layout's proportions: the name and the mesh's deviation."""
    if rng.random() < KEY_SHARE:
        inner = "".join(rng.choices("Az 0._-", k=rng.randrange(6))).replace("..", ".")
        data["name"] = f"{rng.choice('AZaz09_-')}{inner}x"
    if "mesh.deviation_mm" not in fixed and rng.random() < KEY_SHARE:
        fine = rng.random() < 0.04
        put(data, "mesh.deviation_mm", _log_uniform(rng, 0.0005 if fine else 0.003, 0.05))


def _suitable_diameter(key: str, value: float) -> float | None:
    """The stone beside which the key's value is the least unusual; None where the stone does not matter."""
    table, _, name = key.partition(".")

    def miss(diameter: float) -> float:
        base = make_spec({"finger": {"inner_diameter_mm": 17.0}, "stones": {"diameter_mm": diameter}})
        return abs(math.log(max(getattr(getattr(fill(base)[0], table), name), 1e-3) / max(value, 1e-3)))

    if table in ("finger", "mesh") or name.endswith(("_deg", "_pct")) or name == "foot_clearance_mm":
        return None
    return min((1.0 + 0.25 * step for step in range(17)), key=miss)


def _aim(rng: random.Random, numbers: Numbers) -> tuple[str, str, float]:
    """An event or a coincidence: its name, a key that moves it, the distance to aim at."""
    events = [event for event in numbers.events if event.key in RANGES]
    if rng.random() < 0.6:
        event = rng.choice(events)
        return event.name, event.key, KEEP_AWAY_MM * (rng.choice((1.0, -1.0)) if event.kind == "flip" else 1.0)
    name = rng.choice(sorted(COINCIDENCES))
    return name, rng.choice(COINCIDENCES[name][1:]), 0.0


def _moved(data: Data, key: str, name: str, target: float) -> Data | None:
    """The spec with ``key`` where the event's distance is ``target``; None where that is nowhere in its range."""
    low, high = RANGES[key]
    if key == "stones.count":
        return None

    def at(value: float) -> Data:
        copy = {table: dict(inner) if isinstance(inner, dict) else inner for table, inner in data.items()}
        put(copy, key, value)
        return copy

    def miss(value: float) -> float:
        numbers = numbers_of(at(value))
        distance = None if numbers is None else numbers.distance(name)
        return math.nan if distance is None else distance - target

    middle = now if isinstance(now := get(data, key), float | int) else (low + high) / 2.0
    root = _root(miss, sorted({middle, *(low + (high - low) * step / 8.0 for step in range(9))}), middle)
    return None if root is None else at(root)


def _root(miss: Callable[[float], float], grid: list[float], middle: float) -> float | None:
    """The root between the two grid points nearest to ``middle`` that bracket one."""
    values = [miss(point) for point in grid]
    spans = [(a, b) for a, b, x, y in zip(grid, grid[1:], values, values[1:], strict=False) if x * y < 0.0]
    for low, high in sorted(spans, key=lambda span: abs((span[0] + span[1]) / 2.0 - middle))[:1]:
        root = brentq(miss, low, high, xtol=1e-13, disp=False)
        return root if math.isfinite(miss(root)) else None
    return None


@dataclass(frozen=True)
class Verdict:
    """What became of a spec: ``tag`` OK, REFUSED or a kind of failure; times in ms by stage."""

    tag: str
    message: str
    times: dict[str, float]


TAG_OF_CODE = {
    "genus": "GENUS",
    **dict.fromkeys(("volume-bounds", "band-width", "outer-diameter", "bore-diameter"), "VOLUME"),
    **dict.fromkeys(("exact-valid", "exact-genus", "exact-volume", "exact-bounds", "exact-distance"), "AGREEMENT"),
}


def judge(data: Data, exact: bool = False) -> Verdict:
    """Make the band by the mesh engine, or by both and in every format. Warnings, and all exceptions but a refusal that
    names a key, are failures of the stage that they come from."""
    stage: list[str] = ["SPEC"]
    times: dict[str, float] = {}
    with warnings.catch_warnings(), np.errstate(all="raise", under="ignore"):
        warnings.simplefilter("error")
        if exact:
            warnings.filterwarnings("ignore", category=DeprecationWarning)  # the exact kernel's own imports
        try:
            told = _make(data, exact, stage, times)
        except SpecError as refusal:
            known = all(problem.key in spec_keys() for problem in refusal.problems)
            refused = known and stage[-1] in ("SPEC", "LAYOUT")
            return Verdict("REFUSED" if refused else stage[-1], f"{refusal}\nspec: {json.dumps(data)}", times)
        except Exception as fault:  # the one place where any exception is a result
            told = f"{type(fault).__name__}: {fault}\n{traceback.format_exc(limit=-2)}"
    return Verdict(stage[-1], f"{told}\nspec: {json.dumps(data, sort_keys=True)}", times)


def _make(data: Data, exact: bool, stage: list[str], times: dict[str, float]) -> str:
    """What the band's checks complain of; ``stage`` ends with the tag, ``times`` holds the stages' milliseconds."""
    spec = make_spec(data)
    stage.append("LAYOUT")
    layout = compute.compute_layout(spec)
    stage.append("BUILD")
    band = generate(spec)
    times.update(band.timings_ms)
    if exact and band.sound:
        start = time.perf_counter()
        band = with_exact_findings(band)
        times["exact"] = (time.perf_counter() - start) * 1e3
    faults = [finding for finding in band.findings if finding.severity == "error"]
    stage.append(TAG_OF_CODE.get(faults[0].code, "TOPOLOGY") if faults else "EXPORT")
    if exact and not faults:
        for form in FORMATS.values():
            form.verify(band, form.encode(band))
    if not faults:
        stage.append("OK")
    near = sorted(layout.events, key=lambda event: abs(event.distance_mm))[:3] if faults else ()
    return "; ".join(
        [f"{fault.code} {fault.measured} (limit {fault.limit}) at {fault.place.point}" for fault in faults]
        + [f"near {event.name} {event.distance_mm:.6f}" for event in near]
    )
