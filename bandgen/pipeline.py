"""The map: spec -> layout -> parts -> cells -> band -> inspection -> files. The one place that knows the order."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bandgen.band import Mesh, build_mesh, build_solid, scaled
from bandgen.errors import EngineError
from bandgen.exporters import check_formats, files
from bandgen.exporters.formats import FORMATS
from bandgen.inspection.casting import inspect_compensated
from bandgen.inspection.findings import Finding
from bandgen.inspection.mirror import upper_faces
from bandgen.inspection.prediction import inspect_prediction
from bandgen.inspection.rules import RULES
from bandgen.inspection.setting import inspect_setting
from bandgen.inspection.soundness import inspect_crossings, inspect_topology
from bandgen.inspection.surface import inspect_surface
from bandgen.inspection.topology import Topology, measure
from bandgen.inspection.volume_prediction import inspect_volume
from bandgen.layout.casting import finished
from bandgen.layout.compute import compute_layout
from bandgen.layout.kinds import Kind
from bandgen.layout.numbers import Layout
from bandgen.record import canonical, make_record, spec_dict
from bandgen.spec import Spec

if TYPE_CHECKING:
    from bandgen.engines.exact import Solid

Progress = Callable[[str], None]


def _silent(stage: str) -> None:
    pass


@dataclass(frozen=True, eq=False)
class Band:
    """A finished band: its layout, its verified mesh, its findings; the exact solid on first use."""

    layout: Layout
    mesh: Mesh
    topology: Topology
    findings: tuple[Finding, ...]
    timings_ms: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def solid(self) -> Solid:
        """The exact solid. Raises EngineError when the kernel fails, with the spec."""
        with _blaming(self.layout.spec):
            return build_solid(self.layout)

    @property
    def sound(self) -> bool:
        """Whether the geometry is one sound body: no finding of severity "error"."""
        return all(finding.severity != "error" for finding in self.findings)

    @cached_property
    def record(self) -> dict[str, Any]:
        """Everything about the band as plain data; the same as the JSON file, which adds the files."""
        return make_record(self)


def generate(spec: Spec) -> Band:
    """A verified band from a spec.

    Raises:
        SpecError: when the values do not go together.
        EngineError: when a kernel fails.
    """
    clock = _Clock()
    layout = compute_layout(spec)
    clock.lap("layout")
    with _blaming(layout.spec):
        mesh = build_mesh(layout)
    clock.lap("mesh")
    findings, topology = inspect_mesh(layout, mesh)
    clock.lap("inspection")
    return Band(layout, mesh, topology, (*findings, *inspect_setting(finished(layout), RULES)), clock.laps)


def inspect_mesh(layout: Layout, mesh: Mesh) -> tuple[list[Finding], Topology]:
    """The checks on the mesh: the whole for topology, the first cell of each kind and its joints for
    self-intersections; that all others equal it is a check of its own."""
    topology = measure(mesh.vertices, mesh.faces)
    around, own = distinct_cells(layout, mesh)
    findings = [
        *inspect_topology(topology),
        inspect_crossings(mesh.vertices, mesh.faces[around], own),
        *inspect_prediction(layout, mesh.vertices, topology),
        *inspect_surface(layout, mesh),
        inspect_volume(layout, topology),
    ]
    if (factor := layout.spec.casting.factor) != 1.0:
        findings.append(inspect_compensated(scaled(mesh, factor).vertices, mesh.faces, around, own))
    return findings, topology


def distinct_cells(layout: Layout, mesh: Mesh) -> tuple[np.ndarray, np.ndarray]:
    """Face ids of the first cell of each kind and the first of each kind of pair, with all their neighbours, and
    which of these, by their place in that list, are such cells' own; of cells that are their own images in z the upper
    half, as no face crosses one beyond a plane that neither crosses."""
    ends = np.cumsum(mesh.cell_faces)
    faces = [np.arange(end - size, min(end, len(mesh.faces))) for end, size in zip(ends, mesh.cell_faces, strict=True)]
    kinds, count = layout.kinds, len(faces)
    firsts = {kind.seam for kind in kinds}
    pairs: dict[tuple[Kind, Kind], int] = {}
    for index in range(count):
        pairs.setdefault((kinds[index], kinds[(index + 1) % count]), index)
    chosen = sorted(firsts | set(pairs.values()))
    beside = sorted({(index + step) % count for index in chosen for step in (-1, 1)} - set(chosen))
    upper = {index: faces[index][upper_faces(mesh.vertices[mesh.faces[faces[index]]])] for index in (*chosen, *beside)}
    if any(len(upper[index]) == len(faces[index]) for index in upper):
        upper = {index: faces[index] for index in upper}
    own = np.concatenate([upper[index] for index in chosen])
    return np.concatenate([own, *(upper[index] for index in beside)]), np.arange(len(own))


def export(
    band: Band,
    folder: str | Path,
    formats: Sequence[str] = ("stl", "3mf", "step"),
    keep_rejected: bool = False,
    progress: Progress = _silent,
) -> Band:
    """Write the band's files and its record, whole or not at all; the band that comes back names them.

    With "step" the exact solid is made and its findings added first. A band that is not sound is not written,
    unless ``keep_rejected`` marks its names. Raises SpecError, ExportError, EngineError.
    """
    check_formats(formats)
    fresh = not Path(folder).exists()
    place = files.open_folder(Path(folder))
    files.clear_leftovers(place)
    clock = _Clock()
    if "step" in formats:
        band = with_exact_findings(band, progress)
        clock.lap("exact")
    if not band.sound and not keep_rejected:
        if fresh:
            place.rmdir()
        return band
    written = as_written(band)
    contents = _encode(written, formats, clock, progress)
    entries = {Path(file).suffix[1:]: files.entry(file, data) for file, data in contents.items()}
    band = _with(band, timings_ms={**band.timings_ms, **clock.laps})
    band.record["files"].update(entries)
    contents[f"{file_name(band)}.json"] = (json.dumps(band.record, indent=1, allow_nan=False) + "\n").encode()
    superseded = files.superseded(place, _stem(band), contents)
    progress("verifying the files")
    files.write_all(place, contents, lambda file, data: _verify(written, file, data))
    for path in superseded:
        path.unlink(missing_ok=True)
    return band


def _encode(band: Band, formats: Sequence[str], clock: _Clock, progress: Progress) -> dict[str, bytes]:
    """The bytes of each format by file name."""
    contents = {}
    for suffix in formats:
        progress(f"writing {suffix}")
        contents[f"{file_name(band)}.{suffix}"] = FORMATS[suffix].encode(band)
        clock.lap(suffix)
    return contents


def _verify(band: Band, file: str, data: bytes) -> None:
    form = FORMATS.get(Path(file).suffix[1:])
    if form is not None:  # the record is compared by its bytes alone
        form.verify(band, data)


def as_written(band: Band) -> Band:
    """The band as its files carry it: larger by what pattern and metal shrink. One similarity of each engine's own
    verified body, so that what was found of the design holds of it, and both engines go on agreeing."""
    factor = band.layout.spec.casting.factor
    if factor == 1.0:
        return band
    mesh = scaled(band.mesh, factor)
    larger = replace(band, mesh=mesh, topology=measure(mesh.vertices, mesh.faces))
    if "solid" in band.__dict__:
        from bandgen.engines import exact

        larger.__dict__["solid"] = exact.scaled(band.solid, factor)
    return larger


def _with(band: Band, **changes: Any) -> Band:
    """The band with other values; an exact solid that was made stays with it."""
    changed = replace(band, **changes)
    if "solid" in band.__dict__:
        changed.__dict__["solid"] = band.solid
    return changed


def with_exact_findings(band: Band, progress: Progress = _silent) -> Band:
    """The band with the exact solid made and the two engines compared."""
    progress("building the exact solid")
    from bandgen.inspection.agreement import inspect_agreement

    solid = band.solid
    progress("comparing the two engines")
    extra = inspect_agreement(solid, band.mesh.vertices, band.topology, band.layout.spec.mesh.deviation_mm)
    return _with(band, findings=(*band.findings, *extra))


def file_name(band: Band) -> str:
    """Letters, digits, dot and hyphen; marked where the files are compensated, and where the band is rejected."""
    return _stem(band) + ("" if band.sound else ".rejected")


def _stem(band: Band) -> str:
    return files.safe_name(band.layout.spec.name) + (".compensated" if band.layout.spec.casting.factor != 1.0 else "")


@contextmanager
def _blaming(spec: Spec) -> Iterator[None]:
    """Add the spec to a kernel's failure."""
    try:
        yield
    except EngineError as error:
        raise EngineError(error.operation, f"{error.cause}; spec {canonical(spec_dict(spec)).decode()}") from error


class _Clock:
    """Laps in milliseconds."""

    def __init__(self) -> None:
        self.laps: dict[str, float] = {}
        self._last = time.perf_counter()

    def lap(self, name: str) -> None:
        now = time.perf_counter()
        self.laps[name] = (now - self._last) * 1e3
        self._last = now
