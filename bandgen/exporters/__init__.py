"""Writing a band to files, and reading meshes back.

==============  ==================================================================================
``stl``         binary STL to bytes; binary and ASCII STL from bytes
``threemf``     3MF core package to bytes and from bytes
``files``       names, folders, and writing all of a band's files or none
``readers``     a mesh from a file of either kind
==============  ==================================================================================

Meshes are a pair ``vertices (n, 3) float`` in mm and ``faces (m, 3) int``, counter-clockwise seen from
outside. Encoders round to single precision, the precision of STL, so both formats hold the same numbers;
decoders return those numbers as double. The same mesh always gives the same bytes: no date, no clock, no
locale, no set order. Nothing is imported here, so that naming the package costs nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from bandgen.errors import Problem, SpecError

FORMAT_NAMES = ("stl", "3mf", "step")
"""The names of :data:`bandgen.exporters.formats.FORMATS`, known without loading an encoder."""


def check_formats(names: Sequence[str]) -> None:
    """Raise SpecError unless ``names`` are one or more different formats."""
    wrong = [name for name in names if name not in FORMAT_NAMES]
    if isinstance(names, str) or wrong or not names or len(set(names)) != len(names):
        given = names if isinstance(names, str) else ",".join(map(str, names))
        rule = f"must be a list of {', '.join(FORMAT_NAMES)}, each once at most"
        raise SpecError([Problem("--formats", rule, given)], "command line")
