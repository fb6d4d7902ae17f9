"""What a boolean may leave in a cell, and must not stay: hand-made patches, and bands that random specs found."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import bandgen
from bandgen.engines.border import straightened, tidied, without_short_edges
from bandgen.engines.mesh import Patch
from bandgen.spec import make_spec

FOUND: dict[str, dict[str, Any]] = {
    "an even cell beside the end of a half band kept an idle border vertex": {
        "arrangement": {"coverage": "half", "scallop_mm": 0.3590638967999833},
        "finger": {"inner_diameter_mm": 15.133552683465778},
        "hoop": {"thickness_mm": 0.30005358611562843},
        "mesh": {"deviation_mm": 0.0034401072493530412},
        "prong": {"overlap": 0.15334950579270143},
        "seat": {"draft_deg": 1.582601284203446, "wall_mm": 0.7628328711333923},
        "shank": {"section": "half-round"},
        "stones": {
            "crown_deg": 32.39623407075269,
            "culet_clearance_mm": 1.1320295149391304,
            "cut": "round",
            "diameter_mm": 2.0706727906014653,
            "material": "emerald",
            "pavilion_deg": "auto",
        },
    },
    "a fan with a sliver in it kept an idle border vertex": {
        "arrangement": {
            "rows": 3,
            "sizes_mm": [
                2.1619402832140504,
                2.149075612206077,
                2.136287492692809,
                2.1235754691529705,
                2.110939088775876,
                2.098377901445299,
                2.0858914597234386,
                2.0734793188349814,
                2.0611410366512604,
                2.048876173674503,
                2.036684293022179,
                2.0245649604114346,
                2.0125177441436275,
                2.000542215088946,
                1.9886379466711244,
                1.976804514852248,
                1.965041498117649,
            ],
        },
        "finger": {"inner_diameter_mm": 20.380594730377197},
        "mesh": {"deviation_mm": 0.02079879311180162},
        "seat": {"opening": "blind"},
        "stones": {"girdle_pct": 3.218016675831674, "pavilion_deg": 39.75485277756119, "table_pct": 57.32225439431845},
    },
    "a prong's facet met a corner of the rim within float32": {
        "arrangement": {"coverage": "count"},
        "bore": {"section": "comfort"},
        "finger": {"size": "JP 24"},
        "plug": {"foot_clearance_mm": 0.6724371818727158},
        "prong": {
            "diameter_mm": "auto",
            "height_above_girdle_mm": 1.9886078844740354,
            "overlap": 0.18908686704970581,
            "tip": "dome",
        },
        "seat": {"draft_deg": 3.6604886388318683, "opening": "through"},
        "shank": {"base_width_mm": 3.9352492568129196, "section": "flat"},
        "stones": {
            "count": 9,
            "crown_deg": 33.035081871410966,
            "culet_clearance_mm": 2.118714350793651,
            "diameter_mm": 4.596505757327485,
            "girdle_pct": 4.216077711728603,
        },
    },
    "two facet edges of a pair of prongs met within float32": {
        "arrangement": {
            "coverage_deg": 254.1748760972498,
            "curve": 1.381041459228136,
            "end_mm": 1.22606248701044,
            "heights": "tables",
            "ladder": "calibrated",
            "prongs": "own",
        },
        "finger": {"size": "CH 3"},
        "hoop": {"thickness_mm": 0.5441014013246428},
        "prong": {"tip": "dome"},
        "seat": {"bearing_deg": 44.43710779878578},
        "shank": {"section": "half-round"},
        "stones": {
            "diameter_mm": 2.087018838088538,
            "girdle_pct": 7.405876276435263,
            "material": "sapphire",
            "pavilion_deg": 41.79976368482112,
        },
    },
    "more than eight short edges in a cell": {
        "arrangement": {"end_mm": 3.1548678753949777, "ladder": "calibrated", "prongs": "own", "rows": 3},
        "finger": {"size": "DE 19.25"},
        "prong": {"tip": "dome"},
        "stones": {
            "crown_deg": 34.68572394084506,
            "diameter_mm": 3.608833551755038,
            "girdle_pct": 3.2982786787472564,
            "material": "cubic-zirconia",
        },
    },
}


@pytest.mark.parametrize("name", FOUND)
def test_found(name: str) -> None:
    """Each failed once: it would not join, crossed itself by a millionth, or kept faces without area."""
    assert bandgen.generate(make_spec(FOUND[name])).sound


def fan(middle: tuple[float, float, float], apex: tuple[float, float, float] = (0.5, 1.0, 0.0)) -> Patch:
    """Two faces over the border from (0, 0, 0) by ``middle`` to (1, 0, 0), which lies on the patch's only plane."""
    vertices = np.array([(0.0, 0.0, 0.0), middle, (1.0, 0.0, 0.0), apex])
    return Patch(vertices, np.array([(0, 1, 3), (1, 2, 3)]), (np.array([0, 1, 2]),))


def test_an_idle_border_vertex_goes() -> None:
    tidy = straightened(fan((0.4, 0.0, 0.0)), (0,))
    assert tidy.vertices[tidy.faces].tolist() == [[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.5, 1.0, 0.0]]]
    assert tidy.on_plane[0].tolist() == [0, 1]


@pytest.mark.parametrize("middle", [(0.4, -1e-4, 0.0), (0.4, 1e-4, 0.0)], ids=["bends the border out", "and in"])
def test_a_vertex_that_bends_the_border_stays(middle: tuple[float, float, float]) -> None:
    assert len(straightened(fan(middle), (0,)).faces) == 2


def test_a_vertex_on_a_crease_stays() -> None:
    """A third face out of the plane, on the far side of the apex: the vertex ends a crease."""
    vertices = np.array([(0.0, 0.0, 0.0), (0.4, 0.0, 0.0), (1.0, 0.0, 0.0), (0.4, 1.0, 0.0), (1.0, 1.0, 0.3)])
    patch = Patch(vertices, np.array([(0, 1, 3), (1, 2, 4), (1, 4, 3)]), (np.array([0, 1, 2]),))
    assert straightened(patch, (0,)) is patch


def closed_patch(short: float) -> Patch:
    """A tetrahedron one of whose corners is cut off by an edge of length ``short``."""
    vertices = np.array([(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (short, 0.0, 1.0)])
    return Patch(vertices, np.array([(0, 2, 1), (0, 1, 4), (0, 4, 3), (0, 3, 2), (1, 2, 4), (2, 3, 4)]), ())


def test_a_short_edge_goes_and_the_patch_stays_closed() -> None:
    tidy = without_short_edges(closed_patch(1e-6))
    assert (len(tidy.vertices), len(tidy.faces)) == (4, 4)
    edges = {tuple(edge) for face in tidy.faces.tolist() for edge in zip(face, (*face[1:], face[0]), strict=True)}
    assert len(edges) == 12
    assert all((end, start) in edges for start, end in edges)


def test_an_edge_that_files_can_tell_stays() -> None:
    patch = closed_patch(2e-5)
    assert tidied(patch, ()) is patch


def test_an_edge_between_two_cut_planes_stays() -> None:
    """Neither end may leave its plane."""
    patch = closed_patch(1e-6)
    held = Patch(patch.vertices, patch.faces, (np.array([3]), np.array([4])))
    assert without_short_edges(held) is held
