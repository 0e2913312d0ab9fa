"""Every exercise by its number, gathered from the files of the notebooks."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from types import MappingProxyType

from cmjlab.report.notebooks.exercises.kinds import Exercise

#: Notebooks that have exercises: each has a file of its own here.
NOTEBOOKS = ("00", "01", "02", "03", "04", "05", "06", "07", "08", "10")


def _gathered() -> dict[str, Exercise]:
    found: dict[str, Exercise] = {}
    for number in NOTEBOOKS:
        found |= import_module(f"{__package__}.n{number}").EXERCISES
    return found


#: Every exercise by its number, "notebook.exercise".
EXERCISES: Mapping[str, Exercise] = MappingProxyType(_gathered())
