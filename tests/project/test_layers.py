"""The order of the house: imports point downward, between rooms and inside them, and never round.

Imports hidden in functions count, and so do those under TYPE_CHECKING.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from import_graph import Graph, circles, read_graph
from places import PACKAGE

#: Rooms from the bottom up. A room may import those of the steps below, never one of its own step.
ROOMS = [
    ["places"], ["upstairs"], ["later"], ["errors"], ["safe_names"], ["safe_open"], ["toml_text"], ["extras"], ["catalog"], ["checks"], ["units"], ["keys"], ["settings"], ["delimiters"],
    ["words"], ["tables"], ["method_limits"], ["method"], ["plan"], ["results"],
    ["layout", "recording"], ["jump_types"],
    ["files", "jump", "simulate", "stats"],
    ["study", "truth"],
    ["scrutiny"],
    ["plots", "screen"],
    ["report", "review", "share"], ["audit"],
    ["notebook"],
    ["cli"],
    ["__main__"],
]  # fmt: skip
#: Rooms inside the large rooms, from the bottom up, read in the same way; a name is a folder or
#: a file that stands in the room itself.
INNER_ROOMS = {
    "stats": [
        ["common"],
        ["association", "change", "individual", "mixed", "planning", "reliability", "subgroups"],
        ["curves"],
        ["targets", "season"],
        ["specifications"],
    ],
    "study": [
        ["shared_names", "remote"], ["folder"], ["store"], ["decide"], ["check"], ["demo"],
        ["summarise", "flow", "curves", "frozen_plan", "provenance", "weeks"],
        ["dataset"],
        ["analyses"],
        ["own_noise"],
        ["study"],
        ["check_study", "today", "export"],
        ["watch"],
    ],
    "report": [
        ["blocks"], ["build"], ["sections"], ["render"], ["gather", "paper_page", "squad_page", "study_figures"], ["write"], ["notebooks", "sheets"],
    ],
}  # fmt: skip
#: Imports inside a step that are agreed: who imports, and what.
CROSSINGS = {
    ("stats.individual", "stats.change"),
    ("stats.subgroups", "stats.reliability"),
    ("stats.subgroups", "stats.association"),
}

#: What is still against the order. These lists only shrink: what is mended is taken off.
KNOWN_UPWARD: set[tuple[str, str]] = set()
KNOWN_CIRCLES: set[str] = set()


@pytest.fixture(scope="module")
def graph() -> Graph:
    return read_graph(PACKAGE)


def _room(module: str) -> tuple[str, str]:
    """Return the room of a module, and the room inside it ("" where there are none)."""
    parts = module.split(".")[1:]
    room = parts[0]
    return room, parts[1] if room in INNER_ROOMS and len(parts) > 1 else ""


def _step(name: str, steps: list[list[str]]) -> int:
    found = [i for i, step in enumerate(steps) if name in step]
    assert found, f"{name!r} stands nowhere in the order of tests/project/test_layers.py: add it"
    return found[0]


def _against_the_order(importer: str, imported: str) -> tuple[str, str] | None:
    """Return the two rooms of an import that does not point downward, None when it does."""
    (room, inner), (other, other_inner) = _room(importer), _room(imported)
    if room != other:
        pair, steps = (room, other), ROOMS
    elif inner != other_inner and inner and other_inner:
        pair, steps = (inner, other_inner), INNER_ROOMS[room]
    else:
        return None
    if _step(pair[1], steps) < _step(pair[0], steps):
        return None
    names = pair if room != other else (f"{room}.{inner}", f"{room}.{other_inner}")
    return None if names in CROSSINGS else names


def _upward(graph: Graph) -> dict[tuple[str, str], list[str]]:
    """Return every import against the order, by the rooms that it joins."""
    found: dict[tuple[str, str], list[str]] = {}
    for importer, others in graph.items():
        for imported in others:
            if "." in importer and "." in imported:
                rooms = _against_the_order(importer, imported)
                if rooms is not None:
                    found.setdefault(rooms, []).append(f"{importer} imports {imported}")
    return found


def test_imports_point_downward(graph):
    found = _upward(graph)
    new = [line for rooms in found.keys() - KNOWN_UPWARD for line in sorted(found[rooms])]
    assert not new, "\n".join(new)
    gone = KNOWN_UPWARD - found.keys()
    assert not gone, f"mended; take it off KNOWN_UPWARD: {sorted(gone)}"


@pytest.mark.parametrize("room", ["", *INNER_ROOMS])
def test_every_room_has_its_place_in_the_order(room):
    steps = INNER_ROOMS[room] if room else ROOMS
    named = [name for step in steps for name in step]
    there = {
        path.stem
        for path in (PACKAGE / room).iterdir()
        if (path.suffix == ".py" and path.stem != "__init__") or (path / "__init__.py").is_file()
    }
    assert sorted(named) == sorted(there)


def test_no_file_imports_in_a_circle(graph):
    found = {name.removeprefix("cmjlab.") for group in circles(graph) for name in group}
    new = [" ".join(group) for group in circles(graph)]
    assert found <= KNOWN_CIRCLES, "\n".join(new)
    gone = KNOWN_CIRCLES - found
    assert not gone, f"mended; take them off KNOWN_CIRCLES: {sorted(gone)}"


@pytest.mark.parametrize(
    ("importer", "imported", "rooms"),
    [
        ("cmjlab.stats.common.tables", "cmjlab.study.study", ("stats", "study")),
        ("cmjlab.stats.change.pairs", "cmjlab.simulate.jump", ("stats", "simulate")),
        ("cmjlab.results", "cmjlab.layout", ("results", "layout")),
        ("cmjlab.study.flow", "cmjlab.study.study", ("study.flow", "study.study")),
        ("cmjlab.study.flow", "cmjlab.study.curves", ("study.flow", "study.curves")),
        ("cmjlab.stats.common.tables", "cmjlab.stats.change.pairs", ("stats.common", "stats.change")),
        ("cmjlab.stats.change.pairs", "cmjlab.stats.individual.rows", ("stats.change", "stats.individual")),
        ("cmjlab.stats.individual.rows", "cmjlab.stats.change.pairs", None),
        ("cmjlab.study.study", "cmjlab.study.flow", None),
        ("cmjlab.study.study", "cmjlab.stats.change.pairs", None),
        ("cmjlab.study.folder.ids", "cmjlab.study.folder.cells", None),
    ],
)  # fmt: skip
def test_the_order_is_seen(importer, imported, rooms):
    assert _upward({importer: {imported}}).keys() == (set() if rooms is None else {rooms})


def _package(folder: Path, files: dict[str, str]) -> Path:
    package = folder / "house"
    for name, text in files.items():
        path = package / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return package


HIDDEN = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from house.b import B\n"
IN_FUNCTION = "def f():\n    from house.c import C\n"


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        ({"a.py": HIDDEN, "b.py": IN_FUNCTION, "c.py": "import house.a\n"}, ["a", "b", "c"]),
        ({"a.py": "from . import b\n", "b.py": "from .a import A\n"}, ["a", "b"]),
        ({"a.py": "import house\n", "__init__.pyi": "from .a import A as A\n"}, ["", "a"]),
        ({"a.py": "from house import A\n", "__init__.pyi": "from .a import A\n"}, ["", "a"]),
        ({"a.py": "from house import __version__\n", "__init__.pyi": "from .a import A\n"}, []),
        ({"a.py": HIDDEN, "b.py": IN_FUNCTION, "c.py": "import os\n"}, []),
    ],
    ids=["typing and function", "relative", "the package", "public name", "version", "none"],
)
def test_a_circle_is_seen(tmp_path, files, expected):
    package = _package(tmp_path, {"__init__.py": "", **files})
    found = [name for group in circles(read_graph(package)) for name in group]
    assert found == [f"house.{name}".rstrip(".") for name in expected]


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
        if path.relative_to(PACKAGE).parts[0] == "plots":
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = []
            if isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module, *(f"{node.module}.{a.name}" for a in node.names)]
            for name in names:
                if name in HEAVY or any(name.startswith(h + ".") for h in HEAVY):
                    problems.append(f"{path.relative_to(PACKAGE)}: {name}")
    assert not problems, "\n".join(problems)
