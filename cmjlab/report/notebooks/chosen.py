"""The study of a notebook, with what its parameters choose put into the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from cmjlab.checks import one_of, shown, suggestion
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.plan import Plan
from cmjlab.report.notebooks.parameters import Parameters
from cmjlab.report.notebooks.study import open_study
from cmjlab.study.folder.missing_folder import no_folder
from cmjlab.study.folder.problems import Problems
from cmjlab.study.study import Study

#: Parameters that are choices of the plan under the same name.
_OF_THE_PLAN = ("before", "after", "level")


class StudyOfGroups(Study):
    """A study as if only the athletes of some groups had taken part; nothing is written."""

    @classmethod
    def of(cls, study: Study, groups: Sequence[str]) -> StudyOfGroups:
        """Return the part of a study that belongs to these groups.

        Files are measured with those of all athletes, so that the store keeps them all.
        """
        roster = study.athletes
        keep = set(roster.loc[roster["group"].astype(str).isin(groups), "athlete"].astype(str))
        tables = {stem: _rows_of(table, keep) for stem, table in study._tables.items()}
        files = set(tables["files"]["file"])
        logged, wanted = tables["decisions"], tables["targets"]
        tables["decisions"] = logged[logged["file"].isin(files)]
        tables["targets"] = wanted[wanted["subgroup"].isin(groups)]
        plan = study.plan
        if plan.control_group not in groups:
            plan = plan.replace(control_group="")
        settings = replace(study.settings, plan=plan)
        part = cls(study.folder, study.results, settings, tables, Problems())
        whole = study._all_measured()
        part._measured = replace(
            whole,
            jumps=whole.jumps[whole.jumps["file"].isin(files)].reset_index(drop=True),
            make_checks=lambda: whole.checks[whole.checks["file"].isin(files)].reset_index(
                drop=True
            ),
            rows=whole.rows[whole.rows["file"].isin(files)].reset_index(drop=True),
        )
        return part


def _rows_of(table: pd.DataFrame, athletes: set[str]) -> pd.DataFrame:
    """Return the rows of these athletes, and those that are of nobody alone."""
    if "athlete" not in table:
        return table
    who = table["athlete"].fillna("").astype(str)
    return table[who.isin({*athletes, ""})]


def chosen_study(p: Parameters) -> Study:
    """Return the study of a notebook with the choices of its parameters.

    Parameters
    ----------
    p : Parameters
        From :func:`cmjlab.notebook_parameters`. ``study`` and ``results`` are places. ``metric``
        becomes the primary metric; ``before``, ``after`` and ``level`` go into the plan;
        ``groups`` leaves only their athletes in. None: as the study says.

    Returns
    -------
    Study
        Every analysis of it follows the choices; the study's own files stay as they are.

    Raises
    ------
    ArgumentError
        The study has no such metric, session or group.
    StudyError
        The folder is missing, is no study, or a problem must be solved first.

    Examples
    --------
    >>> import cmjlab as cj
    >>> p = cj.notebook_parameters(study=str(cj.demo_study()), metric=None, level=0.9)
    >>> cj.notebook.chosen_study(p).plan.level
    0.9
    """
    if p.get("study") is not None and not Path(p.get("study")).is_dir():
        raise StudyError(_missing(p.get("study")))
    study = open_study(p.get("study"), p.get("results"))
    names = list(study.sessions["session"].astype(str))
    changes = {key: p.get(key) for key in _OF_THE_PLAN if p.get(key) is not None}
    for key in ("before", "after"):
        if key in changes:
            one_of(key, changes[key], names)
    if p.get("metric") is not None:
        changes["primary_metric"] = _metric(study, p.get("metric"))
    if changes:
        study = study.with_choices(plan=_with(study.plan, changes))
        _check_order(study, names)
    return study if p.get("groups") is None else _of_groups(study, p.get("groups"))


def _missing(folder: str) -> str:
    """Return that a study folder is missing, and what to write."""
    return (
        f"the study folder is missing. {no_folder(Path(folder))} In the parameters cell, write the"
        ' place of the folder as seen from this notebook, for instance study = "../my_study".'
    )


def _with(plan: Plan, changes: dict[str, object]) -> Plan:
    try:
        return plan.replace(**changes)
    except ArgumentError as error:
        raise ArgumentError(f"parameters: {error}") from None


def _check_order(study: Study, names: list[str]) -> None:
    before, after = study.before, study.after
    if before in names and after in names and names.index(before) >= names.index(after):
        raise ArgumentError(
            f"before, after: {before} is not earlier than {after}; the sessions in order are"
            f" {', '.join(names)}."
        )


def _metric(study: Study, metric: str) -> str:
    """Return a metric that has values in this study."""
    table = study.sessions_table()
    numbers = table.select_dtypes("number")
    have = [str(c) for c in numbers if numbers[c].notna().any()]
    if metric not in have:
        raise ArgumentError(
            f"metric: found {shown(metric)}, which has no value in this study."
            f"{suggestion(metric, have)} 'cmjlab glossary WORD' finds the names of measures."
        )
    return metric


def _of_groups(study: Study, groups: Sequence[str]) -> Study:
    named = study.athletes["group"].dropna().astype(str)
    have = [g for g in study.groups if g in set(named)]
    if not groups:
        raise ArgumentError(f"groups: none is named; the study has {', '.join(have) or 'none'}.")
    for group in groups:
        one_of("groups", group, have)
    return StudyOfGroups.of(study, groups)
