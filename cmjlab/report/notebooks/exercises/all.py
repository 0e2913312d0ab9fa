"""Every exercise by its number, gathered from the files of the notebooks."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from cmjlab.report.notebooks.exercises import (
    n00,
    n01,
    n02,
    n03,
    n04,
    n05,
    n06,
    n07,
    n08,
    n09,
    n10,
    n11,
    n12,
)
from cmjlab.report.notebooks.exercises.kinds import Exercise

#: One file for each notebook, in their order.
_FILES = (n00, n01, n02, n03, n04, n05, n06, n07, n08, n09, n10, n11, n12)

#: Every exercise by its number, "notebook.exercise".
EXERCISES: Mapping[str, Exercise] = MappingProxyType(
    {number: exercise for file in _FILES for number, exercise in file.EXERCISES.items()}
)
