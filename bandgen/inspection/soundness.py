"""Is a mesh one sound body? For any mesh, ours or another's: what :mod:`topology` and :mod:`crossings` measure,
as findings with the place of each fault."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bandgen.engines.facets import Floats, Ints
from bandgen.inspection.crossings import crossing_faces
from bandgen.inspection.findings import Finding, Place, Severity
from bandgen.inspection.topology import Topology, measure

SPEC_3MF = "3MF core specification 1.4: a model's edges, orientation and faces"
ONE_BODY = "a casting is one closed body; a trapped void bursts in burnout (casters' guides)"

# code, the count in the topology, what it counts
_COUNTS = (
    ("open-edges", "boundary_edges", "edges with a face on one side only"),
    ("nonmanifold-edges", "nonmanifold_edges", "edges where more than two faces meet"),
    ("misoriented-edges", "misoriented_edges", "edges whose two faces disagree on what is outside"),
    ("nonmanifold-vertices", "nonmanifold_vertices", "vertices where separate fans of faces touch"),
    ("zero-area-faces", "zero_area_faces", "faces without area"),
    ("inside-out", "inverted", "bodies that are inside out"),
    ("cavities", "cavities", "closed voids inside the metal"),
)


def inspect_soundness(vertices: Floats, faces: Ints) -> tuple[list[Finding], Topology]:
    """Findings on a whole mesh of ``vertices`` (n, 3) and ``faces`` (m, 3), and the topology behind them."""
    topology = measure(vertices, faces)
    return [*inspect_topology(topology), inspect_crossings(vertices, faces)], topology


def inspect_topology(topology: Topology) -> list[Finding]:
    """Closed, manifold, outward, one body, no void, no face without area."""
    return [*(_count_finding(topology, *row) for row in _COUNTS), _bodies(topology)]


def inspect_crossings(vertices: Floats, faces: Ints, subset: Ints | None = None) -> Finding:
    """Faces that run through one another; ``subset`` limits the search to pairs with one of these faces."""
    pairs = crossing_faces(vertices, faces, subset)
    place = Place(point=_point(vertices[faces[pairs[0, 0]]].mean(axis=0))) if len(pairs) else Place()
    severity: Severity = "error" if len(pairs) else "ok"
    return Finding("self-intersections", severity, len(pairs), 0, "pairs of faces that cross", SPEC_3MF, place)


def _count_finding(topology: Topology, code: str, field: str, text: str) -> Finding:
    count = getattr(topology, field)
    points = topology.places.get(field, np.empty((0, 3)))
    place = Place(point=_point(points[0])) if len(points) else Place()
    source = ONE_BODY if code == "cavities" else SPEC_3MF
    return Finding(code, "error" if count else "ok", count, 0, text, source, place)


def _bodies(topology: Topology) -> Finding:
    solid = topology.bodies - topology.cavities
    return Finding("bodies", "ok" if solid == 1 else "error", solid, 1, "separate bodies", ONE_BODY)


def _point(values: Sequence[float] | Floats) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return (x, y, z)
