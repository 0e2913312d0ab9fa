"""A folder that a person named for something new: refused where something is, and there whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from cmjlab.errors import StudyError


def refuse_taken(folder: Path, name: str = "") -> None:
    """Stop where a folder holds something, or a file stands in its place.

    Parameters
    ----------
    folder : Path
        May be missing or empty.
    name : str
        What it is called in the sentence; default its own name.

    Raises
    ------
    StudyError
        It holds something.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StudyError(
            f"{name or folder.name}: holds something already; a new or empty folder is needed. Name"
            " another folder, or empty this one yourself."
        )


def put_in_place(made: Path, folder: Path) -> None:
    """Give a finished folder its name in one step, where nothing or an empty folder is."""
    if folder.is_dir():
        folder.rmdir()
    os.replace(made, folder)
