"""The layer order of the package: imports point downward only.

Rooms of one layer never import each other; within layer 0 the order of LAYER_0 holds. Imports
hidden in functions count, and so do those under TYPE_CHECKING.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from places import PACKAGE

#: Layer 0 from the bottom up: a room may import those before it.
LAYER_0 = [
    "places",
    "errors",
    "checks",
    "units",
    "keys",
    "settings",
    "delimiters",
    "catalog",
    "words",
    "tables",
]
LAYER_0 += ["method_limits", "method", "plan", "results"]
LAYERS = {
    1: ["layout", "recording", "jump_types"],
    2: ["files", "jump", "simulate", "stats"],
    3: ["study", "truth"],
    4: ["plots"],
    5: ["report", "review"],
    6: ["cli", "__main__"],
}
#: jump_types holds a Recording: the one agreed exception inside a layer.
ALLOWED = {("jump_types", "recording")}


def _rank(room: str) -> tuple[int, int]:
    if room in LAYER_0:
        return 0, LAYER_0.index(room)
    for layer, rooms in LAYERS.items():
        if room in rooms:
            return layer, 0
    raise AssertionError(f"room {room!r} is in no layer: add it to tests/project/test_layers.py")


def _room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py").removesuffix(".pyi")


def _imports(path: Path) -> set[str]:
    """Return the rooms of cmjlab that a file imports, anywhere in it."""
    found = set()
    own = path.relative_to(PACKAGE.parent).with_suffix("").parts
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = list(own[: len(own) - node.level]) if node.level else []
            stem = ".".join([*base, *(node.module or "").split(".")]).strip(".")
            names = [stem, *(f"{stem}.{a.name}" for a in node.names)]
        else:
            continue
        for name in names:
            parts = name.split(".")
            if (
                parts[0] == "cmjlab"
                and len(parts) > 1
                and (PACKAGE / parts[1]).with_suffix("").name
            ):
                room = parts[1]
                if (PACKAGE / room).is_dir() or (PACKAGE / f"{room}.py").is_file():
                    found.add(room)
    return found


def _problems(path: Path) -> list[str]:
    room = _room(path)
    if room == "__init__":
        return []
    out = []
    for other in _imports(path) - {room}:
        if (room, other) in ALLOWED:
            continue
        if not _rank(other) < _rank(room) or (
            _rank(room)[0] > 0 and _rank(other)[0] == _rank(room)[0]
        ):
            out.append(f"{path.relative_to(PACKAGE)} imports {other}")
    return out


@pytest.mark.parametrize("room", sorted(p.name for p in PACKAGE.iterdir() if p.name[0] != "_"))
def test_imports_point_downward(room):
    place = PACKAGE / room
    files = sorted(place.rglob("*.py")) if place.is_dir() else [place]
    problems = [p for f in files if f.suffix == ".py" for p in _problems(f)]
    assert not problems, "\n".join(problems)


def test_rule_sees_an_upward_import(tmp_path, monkeypatch):
    fake = PACKAGE / "stats" / "common" / "tables.py"
    monkeypatch.setattr(
        "test_layers._imports", lambda path: {"study"} if path == fake else set(), raising=True
    )
    assert _problems(fake) == ["stats/common/tables.py imports study"]


HEAVY = {
    "scipy.stats",
    "scipy.signal",
    "pingouin",
    "statsmodels",
    "matplotlib",
    "seaborn",
    "sklearn",
}


def test_heavy_imports_are_not_at_module_level():
    """Importing a room must not load what only some of its functions need."""
    problems = []
    for path in PACKAGE.rglob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = []
            if isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module, *(f"{node.module}.{a.name}" for a in node.names)]
            for name in names:
                heavy = name in HEAVY or any(name.startswith(h + ".") for h in HEAVY)
                if heavy and _room(path) not in ("plots",):
                    problems.append(f"{path.relative_to(PACKAGE)}: {name}")
    assert not problems, "\n".join(problems)
