"""Copies of the notebooks to edit: a student's set without answers, a teacher's set with them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cmjlab.errors import StudyError
from cmjlab.extras import optional
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.notebooks.declared import check_given, declared_in, with_values
from cmjlab.report.notebooks.files import (
    DEMO_TAG,
    PARAMETERS_TAG,
    choose_notebooks,
    has_tag,
    notebooks_folder,
)
from cmjlab.report.notebooks.own_places import way_to
from cmjlab.report.notebooks.solutions import with_solutions
from cmjlab.words.catalog import read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study


def copy_notebooks(
    folder: str | Path,
    study: Study | None = None,
    *,
    answers: bool = False,
    only: Sequence[str] | None = None,
    settings: Mapping[str, Any] | None = None,
) -> list[Path]:
    """Write copies of the notebooks to edit, each stamped with version and date.

    Parameters
    ----------
    folder : str or Path
        New or empty folder, or one without notebooks of these names: nothing is overwritten.
    study : Study, optional
        The way from the copies to its folder is put into the parameters cell; None leaves the
        invented demo study.
    answers : bool
        True: the teacher's set, with the solution below each exercise. False: the student's.
    only : sequence of str, optional
        Numbers such as "02"; default: all.
    settings : mapping, optional
        Values of parameters by name, for the notebooks that declare them.

    Returns
    -------
    list of Path
        The copies; their outputs are cleared.

    Raises
    ------
    MissingExtraError
        The lab extra is not installed.
    StudyError
        A notebook of that name stands there already.
    """
    from cmjlab import __version__

    nbformat = optional("nbformat", extra="lab", purpose="copies of notebooks need")

    folder = Path(folder)
    paths = choose_notebooks(only)
    standing = [p.name for p in paths if (folder / p.name).exists()]
    if standing:
        raise StudyError(
            f"{folder}: {standing[0]} stands there already, perhaps with your work in it."
            " Choose another folder; copies are never written over."
        )
    folder.mkdir(parents=True, exist_ok=True)
    today = dt.date.today().isoformat()
    key = "notebooks.copy_teacher" if answers else "notebooks.copy_student"
    stamp = read_words().say(key, version=__version__, date=today)
    values = dict(settings or {})
    check_given(values, declared_in(paths), "settings")
    if study is not None:
        values["study"] = way_to(study.folder, folder) or Path(study.folder).resolve().name
    written = []
    for path in paths:
        notebook = nbformat.read(path, as_version=4)
        notebook.cells = _copied(notebook.cells, stamp, values, answers)
        notebook.metadata["cmjlab"] = {
            "version": __version__,
            "copied": today,
            "answers": answers,
        }
        atomic_write(folder / path.name, nbformat.writes(notebook) + "\n")
        written.append(folder / path.name)
    licence = notebooks_folder() / "LICENSE"
    if licence.is_file() and not (folder / "LICENSE").exists():
        atomic_write(folder / "LICENSE", licence.read_bytes())
    return written


def _copied(
    cells: Sequence[Any], stamp: str, values: Mapping[str, Any], answers: bool
) -> list[Any]:
    """Return cells without outputs and checks of the demo, with stamp and parameters put in."""
    kept = [c for c in cells if not has_tag(c, DEMO_TAG)]
    for cell in kept:
        cell.metadata.pop("execution", None)
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
            if has_tag(cell, PARAMETERS_TAG):
                cell.source = with_values(cell.source, values)
    if kept and kept[0].cell_type == "markdown":
        heading, _, rest = kept[0].source.partition("\n")
        kept[0].source = f"{heading}\n\n{stamp}\n{rest}"
    return with_solutions(kept) if answers else kept
