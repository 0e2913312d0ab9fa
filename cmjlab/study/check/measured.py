"""Problems that only show in the recordings: unreadable files, too few jumps, wrong people."""

from __future__ import annotations

import pandas as pd

from cmjlab.checks import listed
from cmjlab.plan import Plan
from cmjlab.stats.common.loads import at_one_load, loads_of
from cmjlab.study.decide.decisions import Decided
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.same_test import check_mass_between_sessions, check_rates


def check_measured(
    jumps: pd.DataFrame,
    decided: Decided,
    plan: Plan,
    problems: Problems,
) -> None:
    """Tell what is wrong with measured recordings.

    Parameters
    ----------
    jumps : pandas.DataFrame
        The jumps table.
    decided : Decided
        What persons decided about the jumps.
    plan : Plan
        Accepted jumps wanted at least of each athlete in each session, and their load.
    problems : Problems
        Receives whatever is wrong.
    """
    _unreadable(jumps, problems)
    _same_content(jumps, problems)
    _decided_jumps(decided, jumps, problems)
    _other_loads(jumps, plan.load_kg, problems)
    _too_few(at_one_load(jumps, plan.load_kg), plan.minimum_jumps, problems)
    _impossible_mass(jumps, problems)
    check_mass_between_sessions(jumps, problems)
    check_rates(jumps, problems)


def _unreadable(jumps: pd.DataFrame, problems: Problems) -> None:
    for file, error in jumps.loc[jumps["error"] != "", ["file", "error"]].itertuples(index=False):
        problems.add(
            "warn", "file_not_measured", where=(file, "", ""), found=error,
            expected="a recording that can be read",
            remedy="'cmjlab inspect' shows what was understood and what to write.",
        )  # fmt: skip


def _same_content(jumps: pd.DataFrame, problems: Problems) -> None:
    """The same bytes under two names of one athlete's session; other places are doubts."""
    files = jumps[jumps["sha256"] != ""].drop_duplicates("file")
    for _, group in files[files.duplicated("sha256", keep=False)].groupby("sha256", sort=False):
        who = group["athlete"].astype(str) + "/" + group["session"].astype(str)
        if who.nunique() > 1:
            continue
        problems.add(
            "warn", "same_content",
            where=(listed(group["file"]), "", ""), found=f"identical files for {listed(who.unique())}",
            expected="a recording of its own for each", remedy="Remove the copy or find the original.",
        )  # fmt: skip


def _decided_jumps(decided: Decided, jumps: pd.DataFrame, problems: Problems) -> None:
    known = set(zip(jumps["file"], jumps["jump"].astype(int), strict=True))
    files = set(jumps["file"])
    asked = set(decided.verdicts)
    asked |= {(f, j) for f, by_jump in decided.moved.items() for j, e in by_jump.items() if e}
    for file, jump in sorted(asked - known):
        if file in files:
            count = sum(1 for f, _ in known if f == file)
            problems.add(
                "warn", "decision_without_jump", where=("decisions", "", "jump"),
                found=f"{file}, jump {jump}", expected=f"a jump from 1 to {count}",
                remedy="The row has no effect: correct the number.",
            )  # fmt: skip


def _other_loads(jumps: pd.DataFrame, load_kg: float, problems: Problems) -> None:
    loads = loads_of(jumps)
    others = loads[loads != load_kg]
    if len(others):
        wanted = f"a load of {load_kg:g} kg" if load_kg else "no load"
        problems.add(
            "note", "other_loads", where=("recordings", "", "load_kg"),
            found=f"{len(others)} jump(s) with {listed([f'{x:g}' for x in sorted(others.unique())])} kg",
            expected=f"jumps with {wanted} in sessions and changes",
            remedy="They stay out of both: load_profile compares loads, and load_kg under [plan]"
            " chooses another one to analyse.",
        )  # fmt: skip


def _too_few(jumps: pd.DataFrame, least: int, problems: Problems) -> None:
    groups = jumps.groupby(["athlete", "session"], observed=True, sort=False)
    for (athlete, session), group in groups:
        count = int(group["accepted"].sum())
        if count < least:
            problems.add(
                "warn", "too_few_jumps", where=(listed(group["file"].unique(), most=3), "", ""),
                found=f"{athlete}, {session}: {count} of {len(group)} jump(s) accepted",
                expected=f"at least {least}",
                remedy="Repeat jumps on the test day, or look at them and decide.",
            )  # fmt: skip


def _impossible_mass(jumps: pd.DataFrame, problems: Problems) -> None:
    used = jumps[jumps["accepted"].astype(bool)]
    means = used.groupby(["athlete", "session"], observed=True, sort=False)["body_mass_kg"].median()
    for (athlete, session), mass in means.dropna().items():
        if not 20.0 <= mass <= 250.0:
            problems.add("warn", "impossible_mass", where=(f"{athlete}, {session}", "", ""),
                         found=f"{mass:.1f} kg on the plate", expected="20 to 250 kg",
                         remedy="Unit or scale of the force is wrong: see 'cmjlab inspect'.")  # fmt: skip
