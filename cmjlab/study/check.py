"""All problems of a study folder at once."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from cmjlab.errors import CmjlabError
from cmjlab.study.problems import Problems
from cmjlab.study.study import Study


def check_study(folder: str | Path, results: str | Path | None = None) -> pd.DataFrame:
    """Return every problem of a study folder: file, row, column, found, expected, remedy.

    Parameters
    ----------
    folder : str or Path
        Study folder.
    results : str or Path, optional
        Where results are kept; default ``results`` in the folder.

    Returns
    -------
    pandas.DataFrame
        Columns of ``cmjlab.tables.PROBLEMS``; severity "fail" (must be solved before the
        study can be used), "warn" (look at it) or "note". Empty when all is well. Never
        raises for what stands in the folder.
    """
    try:
        study = Study.read(folder, results)
    except CmjlabError as problem:
        found = Problems()
        found.add("fail", "no_study", where=(str(Path(folder).name), "", ""), found=str(problem),
                  expected="a study folder", remedy="Make one with 'cmjlab new'.")  # fmt: skip
        return found.frame()
    from cmjlab.study.check_measured import check_measured

    check_measured(study, study._found)
    return study.problems
