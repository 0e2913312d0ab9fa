"""The numbers of a paper: means and effect sizes of each group, one joint test per measure.

Nothing new is estimated for a group: all comes from the results of the report. The joint test is
the one that goes with the estimate that leads: the analysis of covariance of randomised groups,
else groups × sessions of the two sessions, which is the analysis of variance of the changes.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import pandas as pd

from cmjlab.errors import CmjlabError
from cmjlab.report.build.analyses import Analyses, grouped, has_groups
from cmjlab.results import Result
from cmjlab.stats.common.multiplicity import adjust_across_metrics
from cmjlab.stats.common.variance_share import variance_share

#: Which joint test a measure has.
ANCOVA, INTERACTION = "ancova", "interaction"
_NAN = math.nan


@dataclass(frozen=True)
class GroupNumbers:
    """One group in one measure; values in the unit of the table.

    ``change``, ``d_av`` and ``g`` are (estimate, low, high).
    """

    group: str
    n: int
    mean_before: float
    sd_before: float
    mean_after: float
    sd_after: float
    change: tuple[float, float, float]
    t: float
    df: float
    p: float
    d_av: tuple[float, float, float]
    g: tuple[float, float, float]


@dataclass(frozen=True)
class JointTest:
    """F test of all groups at once; ``eta`` is (estimate, low, high) at 90 %."""

    kind: str
    n: int
    f: float
    df: float
    df2: float
    p: float
    eta: tuple[float, float, float]
    omega: float
    p_adjusted: float = _NAN


@dataclass(frozen=True)
class MeasureNumbers:
    """One measure: whether it was declared primary, its groups, and the joint test."""

    metric: str
    primary: bool
    groups: tuple[GroupNumbers, ...]
    joint: JointTest | None = None
    why_no_joint: str = ""


@dataclass(frozen=True)
class PaperNumbers:
    """All numbers of a paper, the primary measure first."""

    measures: tuple[MeasureNumbers, ...]
    before: str
    after: str
    level: float
    kinds: frozenset[str] = field(default_factory=frozenset)

    def frame(self) -> pd.DataFrame:
        """Return a row per measure and group, with the joint test of the measure, in full digits."""
        rows = []
        for measure in self.measures:
            joint = _flat(asdict(measure.joint)) if measure.joint else {}
            joint = {f"joint_{k}": v for k, v in joint.items()}
            for group in measure.groups:
                role = "primary" if measure.primary else "exploratory"
                rows.append({"metric": measure.metric, "role": role, **_flat(asdict(group)), **joint})  # fmt: skip
        return pd.DataFrame(rows)


def _flat(values: dict[str, Any]) -> dict[str, Any]:
    """Return a mapping with (estimate, low, high) in three columns."""
    out: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, tuple):
            out |= dict(zip((name, f"{name}_low", f"{name}_high"), value, strict=True))
        else:
            out[name] = value
    return out


def paper_numbers(analyses: Analyses, primary: str, *, before: str, after: str) -> PaperNumbers:
    """Return the numbers of a paper from the results of a report.

    Parameters
    ----------
    analyses : Analyses
    primary : str
        The measure that was declared; all others are exploratory.
    before, after : str
        Sessions of the change.
    """
    within = analyses.results["change_within"]
    measures = [
        MeasureNumbers(m, m == primary, tuple(_groups(within, m)), *_joint(analyses, m, before, after))
        for m in analyses.metrics
    ]  # fmt: skip
    p = {m.metric: m.joint.p for m in measures if m.joint is not None}
    adjusted = adjust_across_metrics(p, primary) if len(p) > 2 else {}
    measures = [
        replace(m, joint=replace(m.joint, p_adjusted=adjusted[m.metric]))
        if m.joint is not None and not m.primary and m.metric in adjusted
        else m
        for m in measures
    ]
    measures.sort(key=lambda m: not m.primary)
    kinds = frozenset(m.joint.kind for m in measures if m.joint is not None)
    return PaperNumbers(tuple(measures), before, after, float(within.settings["level"]), kinds)


def _groups(within: Result, metric: str) -> list[GroupNumbers]:
    """Return each group of a measure, in the order of the result."""
    table = within.rows("mean_change", metric=metric)
    pairs = within.points["pairs"]
    pairs = pairs[pairs["metric"] == metric]
    out = []
    for _, row in table[table["estimate"].notna()].iterrows():
        group = "" if pd.isna(row["group"]) else str(row["group"])
        mine = pairs[pairs["group"].astype(str) == group] if group else pairs
        old, new = mine["before"].dropna(), mine["after"].dropna()
        out.append(
            GroupNumbers(
                group=group,
                n=int(row["n"]),
                mean_before=float(old.mean()),
                sd_before=float(old.std()),
                mean_after=float(new.mean()),
                sd_after=float(new.std()),
                change=_limits(row),
                t=float(row["test_value"]),
                df=float(row["df"]),
                p=float(row["p"]),
                d_av=_of(within, "cohen_dav", metric, group),
                g=_of(within, "hedges_g_within", metric, group),
            )
        )
    return out


def _of(result: Result, statistic: str, metric: str, group: str) -> tuple[float, float, float]:
    rows = result.rows(statistic, metric=metric)
    same = rows["group"].isna() if not group else rows["group"].astype(str) == group
    return _limits(rows[same].iloc[0]) if same.any() else (_NAN, _NAN, _NAN)


def g_of_difference(between: Result, row: pd.Series) -> tuple[float, float, float] | None:
    """Return Hedges' g with limits of a difference of changes; None for other estimates."""
    if row["statistic"] != "change_difference":
        return None
    pair = {"metric": row["metric"], "first": row["first"], "second": row["second"]}
    rows = between.rows("hedges_g_between", **pair)
    return _limits(rows.iloc[0]) if len(rows) else None


def _limits(row: pd.Series) -> tuple[float, float, float]:
    first, low, high = (float(row[c]) for c in ("estimate", "ci_low", "ci_high"))
    return first, low, high


def _joint(
    analyses: Analyses, metric: str, before: str, after: str
) -> tuple[JointTest | None, str]:
    """Return the joint test of a measure, or why there is none."""
    between = analyses.result("change_between")
    if between is None:
        return None, str(analyses.reasons.get("change_between", ""))
    leading = between.settings.get("leading") or {}
    if leading.get("statistic") == "adjusted_difference":
        rows = between.rows("group_f", metric=metric)
        if rows.empty or pd.isna(rows.iloc[0]["p"]):
            return None, ""
        return _tested(ANCOVA, rows.iloc[0]), ""
    return _interaction(analyses.sessions, metric, before, after)


def _interaction(
    sessions: pd.DataFrame, metric: str, before: str, after: str
) -> tuple[JointTest | None, str]:
    from cmjlab.stats.mixed.anova import mixed_anova

    if not has_groups(sessions):
        return None, ""
    table = grouped(sessions)
    table = table[table["session"].astype(str).isin([before, after])]
    try:
        result = mixed_anova(table, metric, order=[before, after])
    except CmjlabError as error:
        return None, str(error)
    rows = result.rows("group_by_time", metric=metric)
    if rows.empty or pd.isna(rows.iloc[0]["p"]):
        return None, ""
    return _tested(INTERACTION, rows.iloc[0]), ""


def _tested(kind: str, row: pd.Series) -> JointTest:
    f, df, df2, p = (float(row[c]) for c in ("test_value", "df", "df2", "p"))
    share = variance_share(f, df, df2)
    eta = (share.eta, share.eta_low, share.eta_high)
    return JointTest(kind, int(row["n"]), f, df, df2, p, eta, share.omega)
