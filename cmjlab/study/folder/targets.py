"""Checks of targets.csv: every target names a subgroup, a measure and an amount that can be met."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.catalog.families import family_of
from cmjlab.checks import listed, suggestion
from cmjlab.study.folder.measure_names import measure_column
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW

_FILE = "targets"
#: The one measure of the sessions table that is made of two others.
_MADE = "relative_strength"


def check_targets(
    tables: Mapping[str, pd.DataFrame], declared: Mapping[str, float], problems: Problems
) -> None:
    """Add what is wrong with targets.csv; nothing when it has no rows.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of the folder by file stem: targets, athletes, subgroups and measures.
    declared : mapping of metric to float
        Changes that matter, as study.toml declares them: the amount of a target without one.
    problems : Problems
        Receives whatever is wrong.
    """
    targets = tables["targets"]
    if targets.empty:
        return
    groups = [*tables["athletes"]["group"].dropna(), *tables["subgroups"]["subgroup"].dropna()]
    _known(targets, "subgroup", dict.fromkeys(map(str, groups)), problems)
    _known(targets, "metric", known_measures(tables["measures"]), problems)
    _amounts(targets, declared, problems)
    _contradictions(targets, problems)


def known_measures(measures: pd.DataFrame) -> dict[str, None]:
    """Return what a target may be about: metrics of the plate, and the study's own measures."""
    own = measures[["measure", "unit"]].dropna(subset="measure").drop_duplicates()
    columns = [measure_column(m, u) for m, u in own.itertuples(index=False)]
    return dict.fromkeys([*METRICS, *columns, _MADE])


def _known(targets: pd.DataFrame, column: str, known: dict[str, None], problems: Problems) -> None:
    for word, rows in targets.dropna(subset=[column]).groupby(column, sort=False)[ROW]:
        if known and str(word) not in known:
            problems.add(
                "fail", f"unknown_{column}", where=(_FILE, listed(rows), column), found=str(word),
                expected=_expected(column, known),
                remedy=f"Correct it.{suggestion(word, known)}",
            )  # fmt: skip


def _expected(column: str, known: Iterable[str]) -> str:
    if column == "metric":
        return "a key of 'cmjlab glossary', or a measure of measures.csv with its unit behind"
    return f"a group of athletes.csv or subgroups.csv: {', '.join(known)}"


def _amounts(targets: pd.DataFrame, declared: Mapping[str, float], problems: Problems) -> None:
    unread = {
        r["row"] for r in problems.rows if r["file"].startswith(_FILE) and r["column"] == "amount"
    }
    for row in targets.to_dict("records"):
        if str(row[ROW]) in unread:
            continue
        amount, metric = row["amount"], str(row["metric"])
        place = (_FILE, row[ROW], "amount")
        if pd.notna(amount) and not amount > 0:
            problems.add(
                "fail", "amount_not_positive", where=place, found=f"{amount:g}",
                expected="a number above zero; the direction stands in 'wanted'",
                remedy="Write the size only, or leave it empty.",
            )  # fmt: skip
        elif pd.isna(amount) and pd.notna(row["metric"]) and not declared.get(metric):
            problems.add(
                "warn", "no_amount", where=place, found="empty",
                expected=f"an amount{_in_unit(metric)}, or {metric} under [plan.change_that_matters]",
                remedy="Without it only the direction can be answered, and 'unchanged' not at all.",
            )  # fmt: skip


def _in_unit(metric: str) -> str:
    unit = METRICS[metric].unit if metric in METRICS else ""
    return f" in {unit}" if unit else ""


def _contradictions(targets: pd.DataFrame, problems: Problems) -> None:
    """Two rows about one quantity in one subgroup: they contradict, or ask the same twice."""
    complete = targets.dropna(subset=["subgroup", "metric"])
    quantity = [family_of(str(m)) for m in complete["metric"]]
    for (subgroup, _), rows in complete.groupby(["subgroup", quantity], sort=False):
        metrics = list(dict.fromkeys(rows["metric"].astype(str)))
        where = (_FILE, listed(rows[ROW]), "wanted" if len(metrics) == 1 else "metric")
        wanted = list(dict.fromkeys(rows["wanted"].dropna().astype(str)))
        if len(metrics) == 1 and len(wanted) > 1:
            problems.add(
                "fail", "targets_contradict", where=where,
                found=f"{subgroup}, {metrics[0]}: {' and '.join(wanted)}",
                expected="one thing wanted of a measure in a subgroup", remedy="Keep one row.",
            )  # fmt: skip
        elif len(metrics) > 1:
            problems.add(
                "warn", "same_quantity", where=where, found=f"{subgroup}: {' and '.join(metrics)}",
                expected="each quantity once",
                remedy="These hold the same information: keep one, the other adds nothing.",
            )  # fmt: skip
