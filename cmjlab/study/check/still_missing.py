"""What a study still lacks at its beginning: nothing is wrong, but something is not possible yet."""

from __future__ import annotations

import pandas as pd

from cmjlab.checks import listed
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.study_folder import StudyFolder


def still_missing(study: StudyFolder) -> pd.DataFrame:
    """Return what later analyses will miss: roster, dates, comparison group, second baseline.

    Parameters
    ----------
    study : StudyFolder

    Returns
    -------
    pandas.DataFrame
        Notes with the columns of ``cmjlab.tables.PROBLEMS``; empty before there are recordings.
    """
    problems = Problems()
    if len(study.files):
        _roster(study, problems)
        _dates(study, problems)
        _baselines(study, problems)
    return problems.frame()


def _roster(study: StudyFolder, problems: Problems) -> None:
    roster = study.athletes
    if roster.empty:
        problems.add(
            "note", "no_roster", where=("athletes", "", ""), found="no rows",
            expected="one row per athlete with id and group",
            remedy="Fill it in: athletes are taken from the files, nobody has a group, and nobody"
            " who was not tested can be named.",
        )  # fmt: skip
        return
    names = roster["group"].dropna().astype(str)
    groups = list(dict.fromkeys(names[names != ""]))
    if len(groups) > 1 and not study.plan.control_group:
        problems.add(
            "note", "no_control_group", where=("study.toml", "", "plan.control_group"),
            found="not named", expected=f"one of {', '.join(groups)}, or nothing",
            remedy="If one group trained as usual, name it: the others are compared with it."
            " Without it every pair of groups is compared.",
        )  # fmt: skip


def _dates(study: StudyFolder, problems: Problems) -> None:
    """Sessions that were tested but have no date: time between tests is then not known."""
    sessions = study.sessions
    tested = sessions["session"].isin(study.files["session"])
    dated = sessions["date"].notna() & (sessions["date"].astype(str) != "")
    if "date_held" in sessions:
        dated |= sessions["date_held"].notna() & (sessions["date_held"].astype(str) != "")
    jumps = study.files
    if "date" in jumps:
        days = jumps.loc[jumps["date"].notna() & (jumps["date"].astype(str) != ""), "session"]
        dated |= sessions["session"].isin(days)
    without = sessions.loc[tested & ~dated, "session"]
    if len(without):
        problems.add(
            "note", "session_without_date", where=("study.toml", "", "sessions"),
            found=f"no date for {listed(without)}", expected='date = "2026-08-31"',
            remedy="Write the day of the test: noise over a week says little about eight weeks,"
            " and the report tells how long the block was.",
        )  # fmt: skip


def _baselines(study: StudyFolder, problems: Problems) -> None:
    roles = study.sessions.set_index("session")["role"]
    tested = [s for s in roles.index if s in set(study.files["session"])]
    baselines = [s for s in tested if roles[s] == "baseline"]
    others = [s for s in tested if roles[s] not in ("baseline",) and pd.notna(roles[s])]
    if len(baselines) == 1 and others:
        problems.add(
            "note", "one_baseline", where=("study.toml", "", "sessions"), found=listed(baselines),
            expected="two sessions with role baseline",
            remedy="With one baseline the noise of these athletes is not known, and no athlete's"
            " change can be judged; test twice before the next block.",
        )  # fmt: skip
