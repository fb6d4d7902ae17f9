"""The JSON Schema of a spec file: all rules that need no other key, and that a size must be given."""

from __future__ import annotations

from typing import Any

from bandgen.spec.arrangement import LISTS
from bandgen.spec.table import Table, may_be_auto
from bandgen.spec.whole import Spec


def schema() -> dict[str, Any]:
    """The JSON Schema of a spec file (an editor completes and validates the TOML from it)."""
    model = Spec.model_json_schema()
    _drop_none(model)
    for field in Spec.model_fields.values():
        if isinstance(table := field.annotation, type) and issubclass(table, Table):
            _allow_auto(table, model["$defs"][table.__name__])
    _size_or_list(model)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **model, "title": "bandgen spec"}


def _drop_none(node: Any) -> None:
    """A key that may be left out has no default, rather than none."""
    if isinstance(node, dict):
        if node.get("default", 0) is None:
            del node["default"]
        if isinstance(node.get("default"), dict):
            node["default"] = {key: value for key, value in node["default"].items() if value is not None}
        for value in node.values():
            _drop_none(value)


def _allow_auto(table: type[Table], node: dict[str, Any]) -> None:
    for key, field in node["properties"].items():
        if may_be_auto(table, key):
            numbers = field.pop("anyOf", None) or [{rule: field.pop(rule) for rule in ("type", "minimum", "maximum")}]
            node["properties"][key] = {"anyOf": [*numbers, {"const": "auto"}], **field}


def _size_or_list(model: dict[str, Any]) -> None:
    """The stones' diameter is required, unless a list gives the sizes."""
    model["required"].remove("stones")
    model["$defs"]["Stones"].pop("required")
    listed = {"anyOf": [{"required": [key]} for key in LISTS]}
    model["anyOf"] = [
        {"required": ["stones"], "properties": {"stones": {"required": ["diameter_mm"]}}},
        {"required": ["arrangement"], "properties": {"arrangement": listed}},
    ]
