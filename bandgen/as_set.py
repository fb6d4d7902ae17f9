"""The band as set: a second solid, after the setter's work on the blank, for pictures, finished weight and true grip.

Blank prongs are trimmed to height and domed over the crown, and every girdle's notch is cut; bent metal is not
modelled. Read by the mesh engine alone, through the same cells as the blank: the exact kernel (OCP 7.9) leaves some of
these notches out and says nothing.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from bandgen.band import Mesh, build_mesh
from bandgen.errors import ExportError
from bandgen.exporters import files, stl
from bandgen.inspection.as_set import inspect_as_set
from bandgen.inspection.findings import Finding
from bandgen.inspection.soundness import inspect_crossings, inspect_topology
from bandgen.inspection.topology import Topology, measure
from bandgen.layout.numbers import Layout
from bandgen.layout.placed import placed_stones
from bandgen.layout.set_dome import Finish
from bandgen.layout.set_numbers import FinishedProng, finished_prongs, set_layout
from bandgen.pipeline import Band, distinct_cells
from bandgen.trade.alloys import ALLOYS, mass_g


@dataclass(frozen=True, eq=False)
class AsSet:
    """A band after setting: ``layout`` with its prongs finished, the metal's ``mesh``, its findings, and what the
    setter takes off the blank (mm3)."""

    layout: Layout
    finish: Finish
    mesh: Mesh
    topology: Topology
    findings: tuple[Finding, ...]
    cut_mm3: float

    @property
    def sound(self) -> bool:
        """Whether the metal is one sound body: no finding of severity "error"."""
        return all(finding.severity != "error" for finding in self.findings)

    @cached_property
    def prongs(self) -> tuple[FinishedProng, ...]:
        """Every distinct prong and how it holds its stones, in numbers."""
        return finished_prongs(self.layout)

    @property
    def metal_g(self) -> float:
        """Weight of the metal after setting."""
        return self._grams(self.topology.volume)

    @property
    def cut_g(self) -> float:
        """Weight of what the setter cuts and files off."""
        return self._grams(self.cut_mm3)

    def _grams(self, volume_mm3: float) -> float:
        return mass_g(volume_mm3, ALLOYS[self.layout.spec.metal.alloy].density_g_cm3)


def set_stones(band: Band, finish: Finish | None = None) -> AsSet:
    """The band after setting.

    Raises:
        SpecError: when a blank is too short for its finished prong, or a girdle only grazes it.
        EngineError: when the kernel fails.
    """
    finish = finish or Finish()
    layout = set_layout(band.layout, finish)
    mesh = build_mesh(layout)
    topology = measure(mesh.vertices, mesh.faces)
    around, own = distinct_cells(layout, mesh)
    findings = (
        *inspect_topology(topology),
        inspect_crossings(mesh.vertices, mesh.faces[around], own),
        _genus(layout, topology),
        *inspect_as_set(layout, mesh),
    )
    return AsSet(layout, finish, mesh, topology, findings, band.topology.volume - topology.volume)


def _genus(layout: Layout, topology: Topology) -> Finding:
    found = topology.genus if topology.genus is not None else "open"
    text = "openings and handles, as many as in the blank"
    return Finding("genus", "ok" if found == layout.genus else "error", found, layout.genus, text, "the blank's layout")


def summary(as_set: AsSet) -> dict[str, Any]:
    """What a setter and a shop want to know, as plain data with unrounded numbers; shares as in ``Grip``."""
    return {
        "name": as_set.layout.spec.name,
        "finish": asdict(as_set.finish),
        "prongs": [_prong(as_set.finish, prong) for prong in as_set.prongs],
        "volume_mm3": as_set.topology.volume,
        "metal_g": as_set.metal_g,
        "cut_mm3": as_set.cut_mm3,
        "cut_g": as_set.cut_g,
        "genus": as_set.topology.genus,
        "watertight": as_set.topology.watertight,
        "triangles": as_set.topology.triangles,
        "findings": [finding.as_dict() for finding in as_set.findings],
    }


def _prong(finish: Finish, prong: FinishedProng) -> dict[str, Any]:
    """``push_mm``: how far the metal over the girdle has yet to be pushed in for the contact asked."""
    grips = [
        {
            **{key: value for key, value in vars(grip).items() if key != "stone"},
            "push_mm": max(finish.contact - grip.contact, 0.0) * grip.stone.outline.crown_width_mm,
        }
        for grip in prong.grips
    ]
    section = {"section_left": prong.section.area, "stiffness_left": prong.section.stiffness}
    return {"seam": prong.seam, "grips": grips, **section}


def write_as_set(as_set: AsSet, folder: Path) -> list[dict[str, str | int]]:
    """The metal and the stones as two STL files, whole or not at all, and what the record says of each.

    Raises ExportError, or SpecError where the folder cannot be one.
    """
    name = as_set.layout.spec.name
    stem = files.safe_name(name)
    meshes = {f"{stem}-set.stl": (as_set.mesh.vertices, as_set.mesh.faces), f"{stem}-stones.stl": _joined(as_set)}
    contents = {file: stl.encode(*mesh, f"{name} {file}") for file, mesh in meshes.items()}

    def verify(file: str, data: bytes) -> None:
        if len(stl.decode(data)[1]) != len(meshes[file][1]):
            raise ExportError(f"{file}: what was written does not read back as the mesh that was meant")

    files.write_all(files.open_folder(folder), contents, verify)
    return [files.entry(file, data) for file, data in contents.items()]


def _joined(as_set: AsSet) -> stl.Mesh:
    """All stones as one mesh of many bodies."""
    stones = placed_stones(as_set.layout)
    first = np.cumsum([0, *(len(vertices) for vertices, _, _ in stones)])
    faces = [faces + start for (_, faces, _), start in zip(stones, first, strict=False)]
    return np.concatenate([vertices for vertices, _, _ in stones]), np.concatenate(faces)
