"""The spec: what a user asks for, every key with its rule. Frozen; unknown keys are refused.

A key that may be left out is computed from the stones and the bore by :func:`bandgen.defaults.fill`; the word
"auto" asks for the same. Reading reports every problem of a file at once.
"""

from bandgen.spec.arrangement import Arrangement, Bore, Hoop, Shank
from bandgen.spec.casting import Casting, Sprue, Tag
from bandgen.spec.json_schema import schema
from bandgen.spec.reading import SIZE_LIMIT_BYTES, load_spec, make_spec
from bandgen.spec.table import COUNT_RANGE, SIZE_RANGE_MM, Table, may_be_auto
from bandgen.spec.tables import BORE_RANGE_MM, SCHEMA_NAME_PATTERN, Finger, Mesh, Metal, Plug, Prong, Seat, Stones
from bandgen.spec.whole import Spec, spec_keys
from bandgen.spec.workshop import Cost

__all__ = [
    "BORE_RANGE_MM",
    "COUNT_RANGE",
    "SCHEMA_NAME_PATTERN",
    "SIZE_LIMIT_BYTES",
    "SIZE_RANGE_MM",
    "Arrangement",
    "Bore",
    "Casting",
    "Cost",
    "Finger",
    "Hoop",
    "Mesh",
    "Metal",
    "Plug",
    "Prong",
    "Seat",
    "Shank",
    "Spec",
    "Sprue",
    "Stones",
    "Table",
    "Tag",
    "load_spec",
    "make_spec",
    "may_be_auto",
    "schema",
    "spec_keys",
]
