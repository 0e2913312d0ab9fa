"""Which file of a package imports which, read from the source; nothing is run.

Imports hidden in functions count, and so do those under TYPE_CHECKING.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

Graph = dict[str, set[str]]


def read_graph(package: Path) -> Graph:
    """Return module -> modules of the same package that it imports, by their dotted names.

    Who imports a public name from the package itself imports, by its stub, the file behind it:
    a package counts as importing all that its ``__init__.pyi`` declares.
    """
    files = {_module(path, package): path for path in sorted(package.rglob("*.py"))}
    graph = {name: _imports(path, package, files) for name, path in files.items()}
    for stub in sorted(package.rglob("__init__.pyi")):
        graph[_module(stub, package)] |= _imports(stub, package, files)
    return graph


def _module(path: Path, package: Path) -> str:
    parts = path.relative_to(package.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _imports(path: Path, package: Path, files: Mapping[str, Path]) -> set[str]:
    own = path.relative_to(package.parent).with_suffix("").parts
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names if a.name in files}
        elif isinstance(node, ast.ImportFrom):
            base = own[: len(own) - node.level] if node.level else ()
            stem = ".".join([*base, *(node.module.split(".") if node.module else [])])
            for alias in node.names:
                inner = f"{stem}.{alias.name}"
                written_there = stem == package.name and alias.name.startswith("__")
                if inner in files:
                    found.add(inner)
                elif stem in files and not written_there:
                    found.add(stem)
    return found - {_module(path, package)}


def circles(graph: Graph) -> list[list[str]]:
    """Return the groups of modules that import each other, directly or through others."""
    reached = {name: set(_reachable(name, graph)) for name in graph}
    groups = {
        frozenset(other for other in reached[name] if name in reached[other])
        for name in graph
        if name in reached[name]
    }
    return sorted(sorted(group) for group in groups)


def _reachable(start: str, graph: Graph) -> Iterator[str]:
    """Yield every module that is reached from one by at least one import."""
    seen: set[str] = set()
    waiting = list(graph.get(start, ()))
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            yield name
            waiting += graph.get(name, ())
