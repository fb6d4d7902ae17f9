"""The data flows one way: a module imports only from rooms above it."""

import ast
from pathlib import Path

import pytest

import bandgen

ROOT = Path(bandgen.__file__).parent

# From the top down; rooms in one set may import one another.
ORDER = (
    {"errors", "units"},
    {"trade"},
    {"spec"},
    {"parts"},
    {"layout", "defaults"},
    {"builders"},
    {"engines"},
    {"cell"},
    {"band"},
    {"inspection", "exporters", "reports"},
    {"record"},
    {"pipeline"},
    {"as_set"},
    {"commands"},
    {"cli"},
)
RANK = {room: rank for rank, rooms in enumerate(ORDER) for room in rooms}
MODULES = sorted(path for path in ROOT.rglob("*.py") if path.stem not in ("__init__", "__main__"))


def room(path: Path) -> str:
    relative = path.relative_to(ROOT).with_suffix("")
    return relative.parts[0]


def imports(path: Path) -> set[str]:
    """Full names of the bandgen modules that a file imports, type-checking imports left out."""
    tree = ast.parse(path.read_text())
    skipped = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    found = set()
    for node in ast.walk(tree):
        if node in skipped:
            continue
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_only_from_rooms_above(path):
    mine = RANK[room(path)]
    for name in imports(path):
        if name.startswith("bandgen."):
            other = name.split(".")[1]
            assert other in RANK, f"{name} is in no room"
            assert RANK[other] <= mine, f"{path.name} ({room(path)}) imports {name}"


@pytest.mark.parametrize("path", [p for p in MODULES if room(p) == "builders"], ids=lambda path: path.stem)
def test_builders_never_import_one_another(path):
    assert not any(name.startswith("bandgen.builders") for name in imports(path))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_each_kernel_has_one_door(path):
    kernels = {name.split(".")[0] for name in imports(path)} & {"manifold3d", "OCP", "cadquery"}
    assert not kernels or room(path) == "engines"


def test_public_names_are_one_list():
    assert sorted(bandgen.__all__) == bandgen.__all__ == sorted(bandgen._HOMES)
    for name in bandgen.__all__:
        assert getattr(bandgen, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        bandgen.nonsense  # noqa: B018
