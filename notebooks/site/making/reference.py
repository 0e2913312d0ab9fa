"""Reference of every public name, made from the docstrings, in the order in which groups list them."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cmjlab as cj
from making.layout import write

#: Groups of names: the core has no name of its own after ``cj.``.
GROUPS = ("", "stats", "plots", "simulate", "scrutiny", "notebook")


@dataclass(frozen=True)
class Name:
    """One public name, and how Sphinx is asked for its docstring."""

    group: str
    name: str
    words: str
    kind: str

    @property
    def called(self) -> str:
        """How a person writes it."""
        return ".".join(p for p in ("cj", self.group, self.name) if p)

    @property
    def target(self) -> str:
        """Where it is found: the group, then the name, as a room may have the same name."""
        return f"{module(self.group).__name__}::{self.name}"

    @property
    def value(self) -> str:
        """What a name that is neither a function nor a class stands for, in short."""
        return repr(getattr(module(self.group), self.name))[:60]


def module(group: str) -> Any:
    """Return the module of a group."""
    return getattr(cj, group) if group else cj


def sections(group: str) -> list[tuple[str, list[Name]]]:
    """Return the sections of a group's docstring with their names; groups of names are left out."""
    found: list[tuple[str, list[Name]]] = []
    place = module(group)
    for line in (place.__doc__ or "").splitlines():
        if line.startswith("    "):
            found[-1][1].extend(
                Name(group, name, words, _kind(getattr(place, name)))
                for name, words in _named(line.strip())
                if name not in GROUPS
            )
        elif line.strip():
            found.append((line.strip(), []))
    return [(heading, names) for heading, names in found if names]


def _named(line: str) -> Iterator[tuple[str, str]]:
    """Yield names of a line, "name: words" or "name, name"; a bracket after a name is its words."""
    if ": " in line:
        yield tuple(line.split(": ", 1))
        return
    yield from re.findall(r"([A-Za-z_]+)(?: \(([^)]*)\))?(?:,|$)", line)


def _kind(thing: Any) -> str:
    if inspect.isclass(thing):
        return "exception" if issubclass(thing, Exception) else "class"
    return "function" if callable(thing) else "data"


def slug(text: str) -> str:
    """Return a heading as a file name."""
    return re.sub(r"[^a-z]+", "-", text.lower()).strip("-")


def make(source: Path) -> None:
    """Write a page per section, and the page that lists every name."""
    pages = []
    for group in GROUPS:
        for heading, names in sections(group):
            page = f"names-{group or 'core'}-{slug(heading)}"
            pages.append({"page": page, "group": group, "heading": heading, "names": names})
            write(
                source, f"reference/{page}.rst", "names.rst.j2",
                heading=heading, names=names, group=group,
            )  # fmt: skip
    write(source, "reference/names.md", "names_index.md.j2", pages=pages)
