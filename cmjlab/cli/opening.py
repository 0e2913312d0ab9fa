"""Opening the study that a command works on, and the way on when it cannot be used yet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.pace import progress
from cmjlab.cli.stops import warn_of_stops

if TYPE_CHECKING:
    from cmjlab.study.study import Study

StudyPath = Annotated[
    Path, typer.Argument(help="The study folder; default: where you are.", show_default=False)
]
HERE = Path(".")
Results = Annotated[
    Path | None,
    typer.Option(help="Where results go; default: results/ in the study folder."),
]


def why_empty(study: Study) -> str:
    """Return what to do with a study that has no recording, or "" when it has one."""
    if len(study.files):
        return ""
    if study.settings.mirror is not None:
        return f"{study.title}: there are no recordings at {study.place}. Copy them there."
    place, folder = say.named(study.folder), say.named(study.settings.recordings)
    return (
        f"{study.title}: there are no recordings in {folder}. Copy them there (names like"
        f" sub-A07_ses-base1_run-1.csv), or run 'cmjlab gather FOLDER_WITH_FILES {place}'; then"
        f" 'cmjlab check {place}'."
    )


def open_study(folder: str | Path, results: Path | None = None) -> Study:
    """Open a study for a command that needs recordings; without any the way on is told."""
    from cmjlab.errors import StudyError
    from cmjlab.study.study import Study

    study = Study.open(folder, results)
    if missing := why_empty(study):
        raise StudyError(missing)
    return study


def measured(folder: Path, results: Path | None = None) -> Study:
    """Return a study that is measured; what cannot be right, or why no jump counts, is told."""
    from cmjlab.errors import StudyError

    study = open_study(folder, results)
    with progress("measuring") as step:
        table = study.measure(progress=step)
    if not table["accepted"].fillna(False).any():
        rows = list(zip(table["file"], table["error"].fillna(""), strict=True))
        why = next(
            (f" First reason: {file}: {e.removeprefix(f'{file}: ')}" for file, e in rows if e), ""
        )
        raise StudyError(
            f"{study.title}: none of {len(table)} recorded jump(s) counts.{why}"
            f" 'cmjlab check {say.named(folder)}' tells what to do about each."
        )
    warn_of_stops(study)
    return study
