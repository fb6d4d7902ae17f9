"""Verifies a file, ours or another's: what ``bandgen check`` prints."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from bandgen.exporters.readers import read_mesh
from bandgen.inspection.findings import Finding
from bandgen.inspection.soundness import inspect_soundness

STEP_SUFFIXES = (".step", ".stp")
KERNEL = "the exact kernel's own check of the boundary"


def inspect_file(path: Path) -> dict[str, Any]:
    """Findings and measures of an STL, 3MF or STEP file, as plain data.

    Raises:
        FileFault: when it is no such file.
    """
    return _inspect_step(path) if path.suffix.lower() in STEP_SUFFIXES else _inspect_mesh(path)


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


def _inspect_step(path: Path) -> dict[str, Any]:
    """The exact solid by the kernel's own check, and its tessellation's shells."""
    from bandgen.engines.step import decode_step

    solid = decode_step(path)
    valid, bodies, shells = solid.is_valid(), solid.solid_count, solid.shell_count
    findings = [
        Finding("exact-valid", "ok" if valid else "error", valid, True, "valid boundary", KERNEL),
        Finding("bodies", "ok" if bodies == 1 else "error", bodies, 1, "separate bodies", KERNEL),
        Finding("cavities", "ok" if shells <= bodies else "error", shells - bodies, 0, "closed voids inside", KERNEL),
        Finding("inside-out", "ok" if solid.volume > 0 else "error", solid.volume, 0.0, "mm3 of volume", KERNEL),
    ]
    return {
        "file": str(path),
        "triangles": None,
        "bodies": bodies,
        "cavities": max(shells - bodies, 0),
        "genus": solid.genus,
        "watertight": valid and bodies >= 1,
        "volume_mm3": solid.volume,
        "area_mm2": solid.area,
        "bounds_mm": solid.bounds.tolist(),
        "self_intersections": None,
        "findings": [finding.as_dict() for finding in findings],
    }
