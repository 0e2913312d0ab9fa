"""Change from single jumps: groups × sessions, single athletes, and where the variance lies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.checks import level as check_level
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result
from cmjlab.stats.common.intervals import sd_limits
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.reml_tests import kenward_roger
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.mixed.contrast_rows import primary_pair
from cmjlab.stats.mixed.joint import add_joint_test
from cmjlab.stats.mixed.jumps_model import (
    ATHLETES,
    DAYS,
    JUMPS,
    NAME,
    Jumps,
    fit_jumps,
    read_jumps,
    shrunken_changes,
)
from cmjlab.stats.mixed.model_rows import (
    add_model_contrasts,
    between_contrasts,
    within_contrasts,
)
from cmjlab.stats.mixed.models import ModelFit
from cmjlab.stats.mixed.sentences import sentences, standing_notes

#: Statistic of each variance, in the order of the parameters.
_SPREADS = {JUMPS: "sd_between_jumps", DAYS: "sd_between_days", ATHLETES: "sd_between_athletes"}
#: Below it a chi-square runs from nearly 0 to beyond anything, so no interval is given.
_FEW_DF = 1.0


def change_jumps(
    table: pd.DataFrame,
    metric: str,
    *,
    order: Sequence[str] | None = None,
    primary: tuple[str, str] | None = None,
    control: str | None = None,
    level: float = 0.95,
) -> Result:
    """Return how athletes and groups changed, from one model on their single jumps.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per jump: ``athlete``, ``session``, the metric, optional ``group``; jumps whose
        column ``accepted`` is false are left out. Numbers of jumps may differ.
    metric : str
        Column to analyse, in its own unit.
    order : sequence of str, optional
        Sessions to use, in protocol order; else category order or order of appearance.
    primary : (str, str), optional
        Earlier and later session of the declared contrast; else first and last of ``order``.
    control : str, optional
        Group that the others are compared with; else the first category or first to appear.
    level : float
        Level of all intervals.

    Returns
    -------
    Result
        ``mean_change`` per group and pair of sessions and ``change_difference`` per pair of groups
        (Kenward–Roger), ``group_by_time`` (``time_main_effect`` with one group) as joint test,
        ``sd_between_jumps``, ``sd_between_days`` (athlete × session), ``sd_between_athletes``, and
        ``shrunken_change`` of every athlete over the declared sessions: the group's mean and the
        athlete's own deviation, drawn in by its noise. ``points``: jumps, changes.

    Raises
    ------
    StatsError
        When the table cannot be analysed, or the model has no solution.

    Notes
    -----
    Value = mean of group and session + athlete + athlete × session + jump, by REML. It assumes that
    the deviations of an athlete in different sessions are unrelated and equally large; where they
    drift from week to week, :func:`cmjlab.change_mixed` on session values assumes less. Its size
    stands in ``tests/calibration/jumps_model.csv``.

    Examples
    --------
    >>> import cmjlab as cj, numpy as np, pandas as pd
    >>> rng = np.random.default_rng(1)
    >>> rows = [(f"A{i}", s, 30 + i + 2 * (s == "post") + rng.normal())
    ...         for i in range(8) for s in ("pre", "post") for _ in range(3 + i % 2)]
    >>> table = pd.DataFrame(rows, columns=["athlete", "session", "height_cm"])
    >>> round(float(change_jumps(table, "height_cm").value("mean_change")), 1)
    1.5
    """
    level = check_level(level)
    jumps = read_jumps(table, metric, order=None if order is None else list(order), control=control)
    panel, declared = jumps.panel, primary_pair(jumps.panel, primary)
    fit = fit_jumps(jumps)
    if not fit.usable:
        why = Reason(f"model_{fit.status}")
        raise StatsError(
            f"{panel.metric}: the model on single jumps was not fitted, because {why}. Use"
            " change_mixed on one value a session."
        )
    rows = Rows(level=level)
    place = rows.at(metric=panel.metric, n=len(panel.athletes), role="exploratory")
    _add_contrasts(place, jumps, fit, declared)
    add_joint_test(place, panel, fit, leads=True)
    _add_spreads(place, fit)
    _add_athletes(place, jumps, fit, declared)
    several = len(panel.groups) > 1
    notes = [*panel.notes, *standing_notes(panel, constrained=False)]
    notes = [n for n in notes if n.code != "equal_steps"]
    if fit.status == "negative":
        notes.append(Note("negative_variance", {"metric": panel.metric, "model": NAME}))
    notes.append(Note("days_unrelated", {"metric": panel.metric}))
    settings: dict[str, Any] = {
        "metric": panel.metric,
        "order": list(panel.sessions),
        "primary": list(panel.session_names(declared)),
        "control": panel.groups[0],
        "level": level,
        "leading": {
            "statistic": "change_difference" if several else "mean_change",
            "why": "declared_contrast",
        },
    }
    return Result(
        "change_of_jumps", rows.frame(), _points(jumps, rows), settings, tuple(notes),
        sentences(panel, rows, declared),
    )  # fmt: skip


def _add_contrasts(place: Place, jumps: Jumps, fit: ModelFit, declared: tuple[int, int]) -> None:
    """Add all pairs of sessions by Kenward–Roger; the declared one has the role "primary"."""
    panel = jumps.panel
    names, several = panel.session_names(declared), len(panel.groups) > 1
    both = {"mean_change": within_contrasts, "change_difference": between_contrasts}
    for statistic, contrasts in both.items():
        every = [c for c in contrasts(panel, fit) if c.interval_kind == "kenward_roger"]
        first = [c.sessions == names for c in every]
        asked = (statistic == "change_difference") == several
        for wanted, role in ((True, "primary" if asked else "exploratory"), (False, "exploratory")):
            part = [c for c, f in zip(every, first, strict=True) if f == wanted]
            add_model_contrasts(place.at(role=role), statistic, fit, part)


def _add_spreads(place: Place, fit: ModelFit) -> None:
    """Add the three SDs with intervals by a chi-square of matched variance (Satterthwaite)."""
    spread = np.diag(fit.pieces.cov_expected)
    for (name, statistic), variance_of in zip(_SPREADS.items(), spread, strict=True):
        variance = fit.parameters[name]
        sd = float(np.sqrt(max(variance, 0.0)))
        df = 2.0 * variance**2 / float(variance_of) if variance > 0 else np.nan
        reason = Reason("variance_shown_as_zero")
        if df < _FEW_DF:
            df, reason = np.nan, Reason("variance_too_uncertain")
        low, high = sd_limits(np.array(sd), np.array(df), place.level)
        place.add(
            statistic,
            sd,
            limits=(low, high),
            df=df,
            reason=reason,
            estimator=NAME,
            interval_kind="satterthwaite_chi_square",
        )


def _add_athletes(place: Place, jumps: Jumps, fit: ModelFit, declared: tuple[int, int]) -> None:
    """Add every athlete's shrunken change over the declared sessions."""
    panel = jumps.panel
    earlier, later = panel.session_names(declared)
    found = shrunken_changes(jumps, fit, declared)
    df = np.array([_df_of(fit, int(g), declared) for g in panel.member])
    one_value = np.asarray(np.isnan(panel.values[:, list(declared)]).any(axis=1))
    place.at(
        athlete=list(panel.athletes),
        group=[panel.groups[g] or None for g in panel.member],
        first=later,
        second=earlier,
        n=[int(np.isfinite(v).sum()) for v in jumps.values[:, list(declared)]],
    ).add_estimate(
        "shrunken_change",
        Estimate(found.estimate, found.se, df),
        remark=[Reason("from_one_session") if o else None for o in one_value],
        reason=Reason("group_without_session"),
        test_value=np.nan,
        p=np.nan,
        estimator=NAME,
        interval_kind="prediction",
    )


def _df_of(fit: ModelFit, group: int, pair: tuple[int, int]) -> float:
    vector = fit.design.change(group, pair)
    if np.isnan(vector).any():
        return np.nan
    return float(kenward_roger(fit.pieces, vector).df)


def _points(jumps: Jumps, rows: Rows) -> dict[str, pd.DataFrame]:
    """Return the jumps, and observed beside shrunken changes, tidy."""
    panel = jumps.panel
    a, s, j = np.nonzero(np.isfinite(jumps.values))
    labels = np.array(panel.groups, dtype=object)[panel.member]
    single = pd.DataFrame(
        {
            "metric": panel.metric,
            "athlete": np.array(panel.athletes, dtype=object)[a],
            "group": labels[a],
            "session": np.array(panel.sessions, dtype=object)[s],
            "jump": j + 1,
            "value": jumps.values[a, s, j],
        }
    )
    drawn = pd.DataFrame(rows.records("shrunken_change"))
    names = ["metric", "athlete", "group", "first", "second", "estimate", "ci_low", "ci_high"]
    return {"jumps": single, "changes": drawn[names].rename(columns={"estimate": "shrunken"})}
