"""Where the numbers come from: files, tables, choices and versions, as plain data."""

from __future__ import annotations

import platform
from fnmatch import fnmatchcase
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import pandas as pd

from cmjlab.keys import ENGINE, file_sha256
from cmjlab.layout import Layout
from cmjlab.study.folder.cells import find_table
from cmjlab.study.folder.study_folder import StudyFolder
from cmjlab.tables import USER_TABLES

_PACKAGES = ("cmjlab", "numpy", "scipy", "pandas", "pyarrow")


def provenance_of(study: StudyFolder, jumps: pd.DataFrame) -> dict[str, Any]:
    """Return what the numbers come from: files, tables, choices, versions; plain data.

    Names of persons are not part of it: names.csv is neither read nor hashed.

    Parameters
    ----------
    study : StudyFolder
    jumps : pandas.DataFrame
        The jumps table, with the SHA-256 of each file.
    """
    files = jumps.drop_duplicates("file")[["file", "sha256"]].sort_values("file")
    tables = {}
    for stem in ("study", *USER_TABLES):
        paths = [study.folder / "study.toml"] if stem == "study" else find_table(study.folder, stem)
        if stem != "names" and paths and paths[0].exists():
            tables[paths[0].name] = file_sha256(paths[0])
    name = study.shared_names.name
    return {
        "title": study.title,
        "engine": ENGINE,
        "method": study.method.to_dict(),
        "method_key": study.method.key,
        "plan": study.plan.to_dict(),
        "layouts": [_layout(study, layout) for layout in study.layouts],
        "sessions": study.settings.sessions.to_dict("records"),
        "tables": tables,
        "recordings": {name(f): h for f, h in zip(files["file"], files["sha256"], strict=True)},
        "decisions": len(study.decisions),
        "versions": {"python": platform.python_version(), **_versions()},
        "platform": f"{platform.system()} {platform.machine()}",
    }


def _layout(study: StudyFolder, layout: Layout) -> dict[str, Any]:
    """Return a layout as plain data; a pattern that names a person's files only as their number."""
    out = layout.to_dict()
    hits = [f for f in study.shared_names.changed if layout.match and _matches(f, layout.match)]
    return {**out, "match": f"({len(hits)} files)"} if hits else out


def _matches(file: str, pattern: str) -> bool:
    return fnmatchcase(file, pattern) or fnmatchcase(file.rpartition("/")[2], pattern)


def _versions() -> dict[str, str]:
    found = {}
    for name in _PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found
