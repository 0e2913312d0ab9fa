"""Where the notebooks are, and the tags of their cells."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from cmjlab.errors import ArgumentError, StudyError
from cmjlab.places import AROUND, PACKAGE
from cmjlab.safe_open import read_text

#: Cells with this tag hold only on the demo study.
DEMO_TAG = "demo-check"
#: The cell with a plain assignment per parameter.
PARAMETERS_TAG = "parameters"
#: Cells that are written for the teacher's set.
SOLUTION_TAG = "solution"


def has_tag(cell: Any, tag: str) -> bool:
    """Return whether a cell carries a tag."""
    return tag in cell.get("metadata", {}).get("tags", [])


def cells_of(path: Path) -> list[Any]:
    """Return the cells of a notebook as plain data."""
    cells: list[Any] = json.loads(read_text(path))["cells"]
    return cells


def notebooks_folder() -> Path:
    """Return the folder with the notebooks, installed or in the checkout.

    Raises
    ------
    StudyError
        Neither holds notebooks: the installation is incomplete.
    """
    for place in (PACKAGE / "notebooks", AROUND / "notebooks"):
        if any(place.glob("[0-9][0-9]_*.ipynb")):
            return place
    raise StudyError("no notebooks were found beside cmjlab; install it again.")


def choose_notebooks(only: Sequence[str] | None = None) -> list[Path]:
    """Return the notebooks with these numbers, in order; all without any.

    Raises
    ------
    ArgumentError
        There is no notebook of a number.
    """
    paths = sorted(notebooks_folder().glob("[0-9][0-9]_*.ipynb"))
    if only is None:
        return paths
    wanted = [str(n).strip().zfill(2)[:2] for n in only]
    have = [p.name[:2] for p in paths]
    for number, text in zip(wanted, only, strict=True):
        if number not in have:
            raise ArgumentError(
                f"only: there is no notebook {text!r}; there are {', '.join(have)}."
            )
    return [p for p in paths if p.name[:2] in wanted]
