"""Checks of reference.csv: every row names a measure, usable numbers and its source."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.targets import known_measures
from cmjlab.study.folder.user_tables import ROW

_FILE = "reference"
_WHOM = ["metric", "sex", "position"]


def check_reference(tables: Mapping[str, pd.DataFrame], problems: Problems) -> None:
    """Add what is wrong with reference.csv; nothing when it has no rows.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of the folder by file stem: reference and measures.
    problems : Problems
        Receives whatever is wrong.
    """
    reference = tables["reference"]
    if reference.empty:
        return
    known = known_measures(tables["measures"])
    for row in reference.to_dict("records"):
        if isinstance(row["metric"], str) and row["metric"] not in known:
            problems.add(
                "fail", "unknown_metric", where=(_FILE, row[ROW], "metric"), found=row["metric"],
                expected="a metric, or a measure of this study with its unit",
                remedy=f"Correct it.{suggestion(row['metric'], known)}",
            )  # fmt: skip
        _numbers(row, problems)
    _twice(reference, problems)


def _numbers(row: dict[str, object], problems: Problems) -> None:
    """A row needs mean and a positive SD, or at least two rising percentiles."""
    quantiles = [float(v) for k, v in row.items() if _is_quantile(k) and pd.notna(v)]  # type: ignore[arg-type,call-overload]
    mean, sd = row["mean"], row["sd"]
    if any(b <= a for a, b in zip(quantiles, quantiles[1:], strict=False)):
        problems.add(
            "fail", "percentiles_do_not_rise", where=(_FILE, row[ROW], "p5 … p95"),
            found=", ".join(f"{q:g}" for q in quantiles), expected="rising values",
            remedy="Correct the row.",
        )  # fmt: skip
    elif len(quantiles) < 2 and not (pd.notna(mean) and pd.notna(sd) and float(sd) > 0):  # type: ignore[call-overload,arg-type]
        problems.add(
            "fail", "reference_without_spread", where=(_FILE, row[ROW], "mean, sd"),
            found=f"mean {mean}, sd {sd}".replace("nan", "empty").replace("<NA>", "empty"),
            expected="mean and an SD above 0, or at least two percentiles",
            remedy="Fill them in or remove the row.",
        )  # fmt: skip


def _is_quantile(name: str) -> bool:
    return name[:1] == "p" and name[1:].isdigit()


def _twice(reference: pd.DataFrame, problems: Problems) -> None:
    """Two rows for the same athletes cannot both be used."""
    shown = reference.fillna(dict.fromkeys(_WHOM, ""))
    for values, rows in shown[shown.duplicated(_WHOM, keep=False)].groupby(_WHOM, sort=False):
        problems.add(
            "fail", "reference_twice", where=(_FILE, ", ".join(map(str, rows[ROW])), "metric, sex, position"),
            found=" / ".join(str(v) for v in values if v), expected="one row for the same athletes",
            remedy="Keep the level that this squad is to be compared with, and remove the other.",
        )  # fmt: skip
