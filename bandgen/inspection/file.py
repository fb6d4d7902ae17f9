"""Verifies a file, ours or another's: what ``bandgen check`` prints."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from bandgen.exporters.readers import read_mesh
from bandgen.inspection.findings import Finding, Place, equal
from bandgen.inspection.soundness import inspect_soundness

STEP_SUFFIXES = (".step", ".stp")
KERNEL = "the exact kernel's own check of the boundary"


def inspect_file(path: Path, progress: Callable[[str], None] = lambda stage: None) -> dict[str, Any]:
    """Findings and measures of an STL, 3MF or STEP file, as plain data.

    Raises:
        FileFault: when it is no such file.
    """
    return _inspect_step(path, progress) if path.suffix.lower() in STEP_SUFFIXES else _inspect_mesh(path)


def _inspect_mesh(path: Path) -> dict[str, Any]:
    vertices, faces = read_mesh(path)
    findings, topology = inspect_soundness(vertices, faces)
    return {
        "file": str(path),
        "triangles": topology.triangles,
        "bodies": topology.bodies - topology.cavities,
        "cavities": topology.cavities,
        "genus": topology.genus,
        "watertight": topology.watertight,
        "volume_mm3": topology.volume,
        "area_mm2": topology.area,
        "bounds_mm": topology.bounds.tolist(),
        "self_intersections": findings[-1].measured,
        "findings": [finding.as_dict() for finding in findings],
    }


def _inspect_step(path: Path, progress: Callable[[str], None]) -> dict[str, Any]:
    """The exact solid by the kernel's own checks."""
    progress("loading the exact kernel and reading the file")
    from bandgen.engines import exact_check
    from bandgen.engines.step import decode_step

    solid = decode_step(path)
    progress("looking for self-intersections")
    crossings = exact_check.interferences(solid)
    open_edges = exact_check.open_edges(solid)
    valid, cavities = solid.is_valid(), max(solid.shell_count - solid.solid_count, 0) if solid.solid_count else 0
    findings = [
        _counted("open-edges", open_edges, "edges with a face on one side only"),
        _found("exact-valid", valid, valid, True, "valid boundary: edges on their faces, faces oriented alike"),
        _counted("zero-area-faces", exact_check.tiny_faces(solid), "faces without area"),
        _found("inside-out", solid.volume > 0, solid.volume, 0.0, "mm3 of volume, more than none"),
        _found("cavities", cavities == 0, cavities, 0, "closed voids inside the metal"),
        _found("bodies", solid.solid_count == 1, solid.solid_count, 1, "separate bodies"),
        _counted("self-intersections", crossings, "places where the surface meets itself"),
    ]
    return {
        "file": str(path),
        "triangles": None,
        "bodies": solid.solid_count,
        "cavities": cavities,
        "genus": solid.genus,
        "watertight": valid and not open_edges and solid.solid_count >= 1,
        "volume_mm3": solid.volume,
        "area_mm2": solid.area,
        "bounds_mm": solid.bounds.tolist(),
        "self_intersections": len(crossings),
        "findings": [finding.as_dict() for finding in findings],
    }


def _counted(code: str, places: Sequence[tuple[float, float, float]], text: str) -> Finding:
    place = Place(point=places[0]) if places else Place()
    return equal(code, not places, len(places), 0, text, KERNEL, place)


def _found(code: str, good: bool, measured: float, limit: float, text: str) -> Finding:
    return equal(code, good, measured, limit, text, KERNEL)
