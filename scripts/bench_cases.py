"""What ``scripts/bench`` times: bands that close at a 0.2 mm gap, the same bands the plain way, commands run cold."""

from __future__ import annotations

import gc
import os
import statistics
import subprocess
import sys
import sysconfig
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import manifold3d
import numpy as np

from bandgen.builders.bore import half_width
from bandgen.builders.plug import build_plug
from bandgen.builders.prong import build_prongs
from bandgen.builders.seat import build_seat
from bandgen.builders.web import build_web
from bandgen.cell import MIRROR_Z, moved, quarter_cell, whole_cell
from bandgen.defaults import fill
from bandgen.engines import mesh
from bandgen.exporters import stl
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout
from bandgen.layout.packing import closing_radius
from bandgen.layout.seatwork import girdle_radius
from bandgen.parts import Frame, Part, Point, Profile, Revolved, arc_of, merge_arcs, turned
from bandgen.pipeline import generate
from bandgen.spec import Spec, make_spec

DIAMETER_MM, GAP_MM = 2.0, 0.2
TESSELLATION = (0.01, 0.1)
"""Deviation in mm and angle in rad of the plain way's triangles."""
CHECKED_TRIANGLES = 150_000

Call = Callable[[], Any]


@dataclass(frozen=True)
class Sample:
    """The median of ``repeats`` measurements."""

    value: float
    repeats: int


def median_of(values: Sequence[float]) -> Sample:
    """The median, with how many it is of."""
    return Sample(statistics.median(values), len(values))


def seconds(call: Call) -> float:
    """One run; what earlier runs left is collected first."""
    gc.collect()
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def warm(call: Call, repeat: int) -> list[float]:
    """Seconds of each run, after one that does not count."""
    call()
    return [seconds(call) for _ in range(repeat)]


def alternated(calls: Sequence[Call], repeat: int) -> list[Sample]:
    """Median seconds of each call; they take turns, so that a busy machine slows all alike."""
    for call in calls:
        call()
    rounds = [[seconds(call) for call in calls] for _ in range(repeat)]
    return [median_of(column) for column in zip(*rounds, strict=True)]


# ------------------------------------------------------------------------------------------------------ bands


def spec_of(count: int, deviation_mm: float | None = None) -> Spec:
    """``count`` stones that close at the gap: the bore grows with them."""
    trial = fill(_spec(count, 80.0, deviation_mm))[0]
    above_bore = girdle_radius(trial) - 40.0
    return _spec(count, 2.0 * (closing_radius(DIAMETER_MM, count, GAP_MM) - above_bore), deviation_mm)


def _spec(count: int, bore_mm: float, deviation_mm: float | None) -> Spec:
    fineness = {} if deviation_mm is None else {"mesh": {"deviation_mm": deviation_mm}}
    stones = {"diameter_mm": DIAMETER_MM, "gap_mm": GAP_MM, "count": count}
    return make_spec({"name": f"bench{count}", "finger": {"inner_diameter_mm": bore_mm}, "stones": stones, **fineness})


def write_toml(spec: Spec, folder: Path) -> Path:
    """The spec as a file, with what it gives and no more."""
    given = spec.model_dump(exclude_unset=True)
    lines = [f'name = "{given.pop("name")}"']
    for table, values in given.items():
        lines += [f"[{table}]", *(f"{key} = {value!r}" for key, value in values.items())]
    path = folder / f"{spec.name}.toml"
    path.write_text("\n".join(lines) + "\n")
    return path


def write_big_stl(folder: Path) -> tuple[Path, int]:
    """A band of 80 stones as an STL of just over 150 000 triangles: halves the range of its deviation until it fits."""
    coarse, fine = 0.01, 0.0005
    for _ in range(9):
        middle = (coarse * fine) ** 0.5
        layout = compute_layout(spec_of(80, middle))
        few = 4 * 80 * len(mesh_cell(layout)().faces) < CHECKED_TRIANGLES
        coarse, fine = (middle, fine) if few else (coarse, middle)
    band = generate(spec_of(80, fine))
    path = folder / "big.stl"
    path.write_bytes(stl.encode(band.mesh.vertices, band.mesh.faces, "big"))
    return path, len(band.mesh.faces)


def mesh_cell(layout: Layout) -> Callable[[], mesh.Patch]:
    """The mesh engine on one cell of an even band."""
    cell = quarter_cell(layout, layout.seams[0])
    planes = (cell.before, cell.after, *cell.mirrors)
    return partial(mesh.evaluate, cell.parts, planes, layout.spec.mesh.deviation_mm)


def mesh_half_cell(layout: Layout) -> Callable[[], mesh.Patch]:
    """The mesh engine on one cell as it treats unequal neighbours."""
    cell = whole_cell(layout, layout.seams[0])
    return partial(mesh.evaluate, cell.parts, (cell.before, cell.after, MIRROR_Z), layout.spec.mesh.deviation_mm)


def exact_cell(layout: Layout) -> Call:
    """The exact engine on one cell."""
    from bandgen.engines import exact

    cell = whole_cell(layout, layout.seams[0])
    return partial(exact.evaluate, cell.parts, (cell.before, cell.after))


# -------------------------------------------------------------------------------------- the same, the plain way


def all_parts(layout: Layout) -> tuple[list[Part], list[Part]]:
    """Additions and cuts of every station and seam, in all rows; the last cut is the bore. For straight rows all round,
    with nothing that the tables beyond the arrangement ask for."""
    if layout.bore.crown_mm or any(each.extras for each in layout.stations) or any(s.extras for s in layout.seams):
        raise RuntimeError("the plain way knows seats, prongs, plugs, webs and a flat bore")
    seats = [part for station in layout.stations for part in build_seat(station, station.angle_deg)]
    joints = [
        turned(part, seam.angle_deg) for seam in layout.seams for part in (*build_prongs(seam), *build_plug(seam))
    ]
    rows = [moved(part, row.z_mm) for row in layout.rows for part in (*seats, *joints)]
    parts = [*rows, *(turned(part, seam.angle_deg) for seam in layout.seams for part in build_web(layout, seam))]
    cuts = [part for part in parts if part.sign < 0]
    return [part for part in parts if part.sign > 0], [*cuts, _bore(layout)]


def _bore(layout: Layout) -> Part:
    """One cylinder round the ring's axis."""
    radius = layout.bore_radius_mm
    rim = max(station.seat.rim_radius_mm for station in layout.stations)
    half = layout.outer_row_mm + max(half_width(rim, prong) for seam in layout.seams for prong in seam.prongs) + 1.0
    corners = (Point(0.0, -half), Point(radius, -half), Point(radius, half), Point(0.0, half))
    along_axis = Frame(u=(1.0, 0.0, 0.0), v=(0.0, 0.0, 1.0), w=(0.0, -1.0, 0.0))
    return Part("bore", -1, Revolved(Profile(corners)), along_axis)


def plain_exact(spec: Spec) -> Any:
    """The whole ring in plain cadquery: one n-ary fuse, then one cut by all recesses and the bore."""
    added, cuts = ([_plain(part) for part in parts] for parts in all_parts(compute_layout(spec)))
    return added[0].fuse(*added[1:]).cut(*cuts)


def _plain(part: Part) -> Any:
    """A part by cadquery's own verbs."""
    import cadquery as cq

    frame, shape = part.frame, part.shape
    if isinstance(shape, Revolved):
        plane = cq.Plane(origin=frame.origin, xDir=frame.u, normal=frame.w)
        return _outline(cq.Workplane(plane), shape.profile).revolve(360.0, (0.0, 0.0), (0.0, 1.0)).val()
    low = tuple(o - shape.length / 2.0 * w for o, w in zip(frame.origin, frame.w, strict=True))
    plane = cq.Plane(origin=low, xDir=frame.u, normal=frame.w)
    return _outline(cq.Workplane(plane), shape.profile).extrude(shape.length).val()


def _outline(work: Any, profile: Profile) -> Any:
    sides = merge_arcs(profile).sides
    work = work.moveTo(sides[0][0].u, sides[0][0].v)
    for start, end in sides:
        if start.bulge != 0.0:
            arc = arc_of(start, end)
            angle = arc.start + arc.sweep / 2.0
            middle = (arc.u + arc.radius * float(np.cos(angle)), arc.v + arc.radius * float(np.sin(angle)))
            work = work.threePointArc(middle, (end.u, end.v))
        elif end is not sides[0][0]:
            work = work.lineTo(end.u, end.v)
    return work.close()


def plain_mesh(spec: Spec) -> manifold3d.Mesh64:
    """The whole ring as a mesh boolean of the same faceted parts."""
    layout = compute_layout(spec)
    added, cuts = (
        manifold3d.Manifold.batch_boolean([_faceted(part, layout) for part in parts], manifold3d.OpType.Add)
        for parts in all_parts(layout)
    )
    return (added - cuts).to_mesh64()


def _faceted(part: Part, layout: Layout) -> manifold3d.Manifold:
    vertices, faces = mesh.facet(part, layout.spec.mesh.deviation_mm)
    return manifold3d.Manifold(manifold3d.Mesh64(vertices, faces.astype(np.uint64)))


def volume_of(result: manifold3d.Mesh64) -> float:
    """Volume in mm3 of a closed mesh."""
    corners = np.asarray(result.vert_properties)[:, :3][np.asarray(result.tri_verts, dtype=np.int64)]
    return float(np.linalg.det(corners).sum() / 6.0)


def _tessellate(solid: Any) -> None:
    """The kernel's mesher alone, on all cores: handing its triangles to Python would take as long again."""
    from OCP.BRepMesh import BRepMesh_IncrementalMesh

    BRepMesh_IncrementalMesh(solid.wrapped, TESSELLATION[0], False, TESSELLATION[1], True)


@dataclass(frozen=True)
class PlainExact:
    """The plain way's seconds, apart: spec to solid, its triangles, the kernel's check; and what came out."""

    solid: Sample
    triangles: Sample
    check: Sample
    volume: float
    valid: bool
    faces: int


def time_plain_exact(spec: Spec, repeat: int) -> PlainExact:
    """Each run anew, since a solid keeps its triangles; slow, so without a run that does not count."""
    columns: tuple[list[float], ...] = ([], [], [])
    kept: dict[str, Any] = {}
    for _ in range(repeat):
        columns[0].append(seconds(lambda: kept.update(solid=plain_exact(spec))))
        columns[2].append(seconds(lambda: kept.update(valid=kept["solid"].isValid())))
        columns[1].append(seconds(lambda: _tessellate(kept["solid"])))
    solid = kept["solid"]
    fused, triangles, check = map(median_of, columns)
    return PlainExact(fused, triangles, check, solid.Volume(), kept["valid"], len(solid.Faces()))


# ------------------------------------------------------------------------------------------------------- cold


def command(*arguments: str) -> list[str]:
    """bandgen as a user starts it: the installed script, or the module where there is none."""
    script = Path(sysconfig.get_path("scripts")) / "bandgen"
    return [*([str(script)] if script.exists() else [sys.executable, "-m", "bandgen"]), *arguments]


def run(line: Sequence[str], expected: int) -> str:
    """What a process prints; it must leave with the expected code."""
    done = subprocess.run(line, capture_output=True, text=True, check=False)
    if done.returncode != expected:
        raise RuntimeError(f"{' '.join(line)} left with {done.returncode}, not {expected}: {done.stderr}")
    return done.stdout


def bare_import() -> list[str]:
    """A process that does nothing but import cadquery."""
    return [sys.executable, "-c", "import cadquery"]


_PEAK = """
import sys
from pathlib import Path
{body}
status = Path("/proc/self/status")
if status.exists():
    peak = next(int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmHWM"))
else:
    import resource
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform == "darwin" else 1)
print("peak", peak)
"""


def peak_mb(body: str) -> float:
    """Peak memory in MB (10^6 bytes) of a fresh process that runs ``body``. Asked inside: the figure that a parent
    gets for its child holds the parent's own memory at the fork."""
    last = run([sys.executable, "-c", _PEAK.format(body=body)], 0).splitlines()[-1]
    return float(last.split()[1]) * 1024 / 1e6


def peak_of_command(*arguments: str) -> float:
    """Peak memory in MB of a bandgen command that must succeed."""
    return peak_mb(f"from bandgen.cli import main\nassert main({list(arguments)!r}) == 0")


def load() -> float:
    """Processes that wanted a core in the last minute."""
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
