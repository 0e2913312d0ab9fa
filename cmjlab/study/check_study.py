"""All problems of a study folder at once."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.errors import CmjlabError
from cmjlab.study.check.doubt import Doubt
from cmjlab.study.check.doubts import add_doubts, find_doubts
from cmjlab.study.check.families import check_families
from cmjlab.study.check.measured import check_measured
from cmjlab.study.check.subgroups import check_subgroups
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW, read_user_table
from cmjlab.study.study import Study
from cmjlab.tables import NAMES


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

    Examples
    --------
    >>> import cmjlab as cj
    >>> problems = cj.check_study(cj.demo_study(mini=True))
    >>> len(problems), list(problems.columns)[:3]
    (0, ['severity', 'file', 'row'])
    """
    found = Problems()
    try:
        study = Study.read(folder, results, found)
    except CmjlabError as problem:
        name, _, why = str(problem).partition(": ")
        found.add("fail", "no_study", where=(name, "", ""), found=why,
                  expected="a study folder", remedy="Name a study folder, or make one with 'cmjlab new'.")  # fmt: skip
        return found.frame()
    _check_read(study, found)
    if _check_recordings(study, found):
        add_doubts(study_doubts(study), study.plan.settled, found)
    check_subgroups(study, found)
    return found.frame()


def other_fails(study: Study) -> tuple[dict[str, str], ...]:
    """Return every fail of the check on an opened study but the doubts.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of dict
        Rows of ``cmjlab.tables.PROBLEMS``.
    """
    found = Problems()
    _check_read(study, found)
    _check_recordings(study, found)
    check_subgroups(study, found)
    return tuple(found.fails)


def _check_read(study: Study, problems: Problems) -> None:
    """Check what shows before anything is measured."""
    _check_names(study, problems)
    check_families(study.plan, problems)


def _check_recordings(study: Study, problems: Problems) -> bool:
    """Measure the study (kept results are used), tell what is wrong; whether it can be measured."""
    try:
        jumps = study.measure()
    except CmjlabError as problem:
        problems.add("fail", "cannot_measure", where=(study.folder.name, "", ""),
                     found=str(problem), expected="recordings that can be measured",
                     remedy="Solve this first, then check again.")  # fmt: skip
        return False
    check_measured(jumps, study.decided, study.plan, problems)
    return True


def study_doubts(study: Study) -> tuple[Doubt, ...]:
    """Return what cannot be right in a study's sessions, people and measures; it is measured.

    Parameters
    ----------
    study : Study
        As it was read or opened.

    Returns
    -------
    tuple of Doubt
        Fails first; empty when nothing is in doubt.
    """
    used = (study.before, study.after)
    return find_doubts(
        study.jumps_at_load(), study.athletes, study.measures, used, study.plan.settled
    )


def _check_names(study: Study, problems: Problems) -> None:
    """Check names.csv without ever showing a name: the list of problems may be passed on."""
    found = Problems()
    names = read_user_table(study.folder, "names", NAMES, found)
    for row in found.rows:
        row["found"] = "(names are not shown)"
    problems.extend(found)
    known = set(study.athletes["athlete"])
    for athlete, number in zip(names["athlete"], names[ROW], strict=True):
        if pd.notna(athlete) and known and athlete not in known:
            problems.add(
                "warn", "unknown_athlete", where=("names", number, "athlete"), found=athlete,
                expected="an athlete of the roster",
                remedy=f"Correct the id or remove the row.{suggestion(athlete, known)}",
            )  # fmt: skip
