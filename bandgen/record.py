"""The record of a band: everything about it as plain data, with unrounded numbers."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from bandgen.layout.casting import printed_bore_mm
from bandgen.layout.hallmark import hallmark_patch
from bandgen.layout.numbers import Layout
from bandgen.layout.packing import girdle_gap
from bandgen.layout.shank import plain_arc
from bandgen.layout.sprue import cut_off_mm3, sprue_of
from bandgen.reports.costing import costing
from bandgen.reports.weights import carat_total, weights
from bandgen.spec import Spec
from bandgen.trade.alloys import ALLOYS, mass_g
from bandgen.trade.cautions import Caution, applying

if TYPE_CHECKING:
    from bandgen.pipeline import Band


def make_record(band: Band) -> dict[str, Any]:
    """The record of a band, as plain data with unrounded numbers."""
    layout, topology = band.layout, band.topology
    spec, metal_mm3, patch = spec_dict(layout.spec), topology.volume - cut_off_mm3(layout), hallmark_patch(layout)
    record = {
        "name": layout.spec.name,
        "version": version("bandgen"),
        "spec": spec,
        "spec_sha256": hashlib.sha256(canonical(spec)).hexdigest(),
        "stone_count": layout.stone_count,
        "stones": stone_list(layout),
        "girdle_gap_mm": layout.girdle_gap_mm,
        **(asdict(plain) if (plain := plain_arc(layout)) else {}),
        "inner_diameter_mm": 2.0 * layout.bore.finished_mm,
        "casting": casting_dict(layout),
        "hallmark_patch": None if patch is None else asdict(patch),
        "girdle_radius_mm": max(station.seat.girdle_mm for station in layout.stations),
        "volume_mm3": topology.volume,
        "metal_g": mass_g(metal_mm3, ALLOYS[layout.spec.metal.alloy].density_g_cm3),
        "carat_total": carat_total(layout),
        "cautions": [asdict(caution) for caution in cautions(layout, metal_mm3)],
        "weights": [asdict(weight) for weight in weights(layout, metal_mm3, topology.area)],
        **({"cost": asdict(cost)} if (cost := costing(layout, metal_mm3)) else {}),
        "bounds_mm": topology.bounds.tolist(),
        "bodies": topology.bodies - topology.cavities,
        "cavities": topology.cavities,
        "genus": topology.genus,
        "watertight": topology.watertight,
        "self_intersections": next(f.measured for f in band.findings if f.code == "self-intersections"),
        "triangles": topology.triangles,
        "openings": [asdict(opening) for opening in layout.openings],
        "layout": layout_dict(layout),
        "findings": [finding.as_dict() for finding in band.findings],
        "files": {},
        "timings_ms": dict(band.timings_ms),
    }
    return {key: _listed(value) for key, value in record.items()}


def cautions(layout: Layout, metal_mm3: float) -> tuple[Caution, ...]:
    """What whoever prints, casts, sets or wears this band should know."""
    alloy = ALLOYS[layout.spec.metal.alloy]
    full = layout.spec.arrangement.arc_deg == 360.0
    return applying(full, alloy.composition, mass_g(metal_mm3, alloy.density_g_cm3))


def casting_dict(layout: Layout) -> dict[str, Any]:
    """The bore as designed (finished) and as in the files, by how much these are larger, and what is cut off."""
    return {
        "finished_bore_mm": 2.0 * layout.bore.finished_mm,
        "printed_bore_mm": printed_bore_mm(layout),
        "factor": layout.spec.casting.factor,
        "sprue_stations": [station.index for station in layout.stations if sprue_of(station) is not None],
        "cut_off_mm3": cut_off_mm3(layout),
    }


def _listed(data: Any) -> Any:
    """Tuples as lists, as JSON has them."""
    if isinstance(data, dict):
        return {key: _listed(value) for key, value in data.items()}
    return [_listed(value) for value in data] if isinstance(data, list | tuple) else data


def layout_dict(layout: Layout) -> dict[str, Any]:
    """Stations, seams, events and moves as plain data."""
    return {
        "stations": [asdict(station) for station in layout.stations],
        "seams": [asdict(seam) for seam in layout.seams],
        "events": [asdict(event) for event in layout.events],
        "moves": [asdict(move) for move in layout.moves],
        "rows": [asdict(row) for row in layout.rows],
        "row_gap_mm": layout.row_gap_mm,
        "across_overlap": layout.across_overlap,
        "neighbour_counts": neighbour_counts(layout),
        "volume_bounds_mm3": list(layout.volume_bounds_mm3),
    }


def stone_list(layout: Layout) -> list[dict[str, Any]]:
    """Every stone, row by row in order: row, station, diameter, material, where it stands, its number in a parcel."""
    return [
        {
            "row": index,
            "station": station.index,
            "diameter_mm": station.diameter_mm,
            "material": station.material,
            "angle_deg": station.angle_deg + (layout.seams[station.index].before_deg if row.turned else 0.0),
            "z_mm": row.z_mm,
            **({"parcel_number": layout.parcel[station.index]} if layout.parcel else {}),
        }
        for index, row in enumerate(layout.rows)
        for station in layout.stations
    ]


def neighbour_counts(layout: Layout) -> list[dict[str, float]]:
    """The gap with one stone fewer and one more; empty where the stones differ or do not go all round."""
    count, first = len(layout.stations), layout.stations[0]
    alike = {(station.diameter_mm, station.seat.girdle_mm) for station in layout.stations}
    if len(alike) != 1 or len(layout.seams) != count:
        return []
    return [
        {"stone_count": n, "girdle_gap_mm": girdle_gap(first.seat.girdle_mm, first.diameter_mm, n)}
        for n in (count - 1, count + 1)
    ]


def spec_dict(spec: Spec) -> dict[str, Any]:
    """The spec as plain data, as a TOML file would hold it."""
    return spec.model_dump(exclude_none=True)


def canonical(data: Any) -> bytes:
    """One spelling for equal data."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()
