"""The way back for whoever names another place than a study folder."""

from __future__ import annotations

from pathlib import Path

from cmjlab.checks import suggestion

_STUDY = "study.toml"


def no_folder(path: Path) -> str:
    """Return why a path that is no folder cannot be a study, and which folder is meant."""
    if path.exists():
        above = study_above(path)
        if above is not None:
            return f"{path}: is a file inside the study folder {above}; name that folder."
        return f"{path}: is a file. A study is a folder; make one with 'cmjlab new'."
    try:
        near = {p.name for p in path.absolute().parent.iterdir() if (p / _STUDY).is_file()}
    except OSError:
        near = set()
    have = f" Studies there are {', '.join(sorted(near)[:5])}." if near else ""
    return (
        f"{path}: is not a folder: there is nothing of that name.{suggestion(path.name, near)}"
        f"{have} 'cmjlab new' makes a study."
    )


def study_above(path: Path) -> Path | None:
    """Return the nearest folder above that holds a study, or None."""
    for folder in path.absolute().parents:
        if (folder / _STUDY).is_file():
            return folder
    return None


def no_study_file(folder: Path) -> str:
    """Return what to do when a folder holds no study.toml."""
    above = study_above(folder)
    if above is not None:
        return f"This folder lies inside the study folder {above}: name that one."
    try:
        inside = sorted(p.name for p in folder.iterdir() if (p / _STUDY).is_file())
    except OSError:
        inside = []
    if inside:
        return f"Name the study folder itself; in here there is {', '.join(inside[:5])}."
    return "Make a study folder with 'cmjlab new', or copy study.toml from another study."
