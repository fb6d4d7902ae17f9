"""From a short parameter spec to a gem-set eternity band that can be printed, cast and set.

    import bandgen
    band = bandgen.generate(bandgen.load_spec("band.toml"))
    band.mesh.vertices, band.mesh.faces, band.record, band.solid

Names are imported on first use, so that ``import bandgen`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bandgen.errors import BandgenError, EngineError, ExportError, FileFault, SpecError
    from bandgen.pipeline import Band, export, generate
    from bandgen.spec import Spec, load_spec, make_spec, schema

_HOMES = {
    "Band": "pipeline",
    "BandgenError": "errors",
    "EngineError": "errors",
    "ExportError": "errors",
    "FileFault": "errors",
    "Spec": "spec",
    "SpecError": "errors",
    "export": "pipeline",
    "generate": "pipeline",
    "load_spec": "spec",
    "make_spec": "spec",
    "schema": "spec",
}

__all__ = [
    "Band",
    "BandgenError",
    "EngineError",
    "ExportError",
    "FileFault",
    "Spec",
    "SpecError",
    "export",
    "generate",
    "load_spec",
    "make_spec",
    "schema",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'bandgen' has no attribute {name!r}")
    return getattr(import_module(f"bandgen.{_HOMES[name]}"), name)
