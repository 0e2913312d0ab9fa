"""Change over several sessions and groups, with missing sessions: contrasts first.

The answer is the pre-declared contrast: the change of each athlete between two sessions,
compared between groups, tested against its own error (:mod:`cmjlab.stats.common.contrasts`).
Models of the covariance between sessions stand beside it, because they use athletes with a
missing session, and because readers ask for them; they are right only when their covariance
is (a random intercept alone on weekly data rejects a true null in 10–12 % of studies).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.checks import level as check_level
from cmjlab.errors import StatsError
from cmjlab.results import Note, Result, Sentence
from cmjlab.stats.common.first_look import first_look
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import check_table, metric_names
from cmjlab.stats.mixed.anova import add_anova, why_no_anova
from cmjlab.stats.mixed.contrast_rows import (
    SEPARATE,
    add_contrasts,
    figure_data,
    missing_sessions,
    primary_pair,
)
from cmjlab.stats.mixed.joint import joint_leader, joint_notes
from cmjlab.stats.mixed.model_rows import add_models
from cmjlab.stats.mixed.models import models_to_fit
from cmjlab.stats.mixed.panel import Panel, read_panel
from cmjlab.stats.mixed.sentences import one_test_note, sentences, standing_notes


def change_mixed(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    order: Sequence[str] | None = None,
    primary: tuple[str, str] | None = None,
    control: str | None = None,
    constrained: bool = False,
    level: float = 0.95,
) -> Result:
    """Return how athletes and groups changed over two or more sessions.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: ``athlete``, ``session``, the metric, optional ``group``.
    metrics : str or sequence of str, optional
        Metric columns, each in its own unit; all numeric ones when None.
    order : sequence of str, optional
        Sessions to use, in protocol order; else category order or order of appearance.
    primary : (str, str), optional
        Earlier and later session of the pre-declared contrast; else first and last of ``order``.
    control : str, optional
        Group that the others are compared with; else the first category or first to appear.
    constrained : bool
        Add the constrained longitudinal model: no group difference at the first session. Right
        for groups formed at random only (Liang & Zeger 2000).
    level : float
        Level of all intervals.

    Returns
    -------
    Result
        ``mean_change`` per group and pair of sessions (``first`` is the later, ``second`` the
        earlier one), ``change_difference`` per pair of groups (``first`` is the group, ``second``
        its reference) and pair of sessions (``session`` is the later, ``since`` the earlier one);
        and the joint test ``group_by_time`` (``time_main_effect`` with one group) that leads. With
        :meth:`cmjlab.Result.with_details` also separate variances, the mixed models (``estimator``;
        ``interval_kind`` "satterthwaite" and "kenward_roger") and the mixed ANOVA. Role
        "primary": the declared pair of sessions by the contrast per athlete (group − control, or
        the mean change when there is one group). ``p_adjusted`` is Holm within statistic,
        estimator, interval and role. ``points``: values, means, changes, leave_one_out (of all
        metrics, column ``metric``).

    Notes
    -----
    The primary test is the pooled t of two groups' changes, beside it HC2 with Bell–McCaffrey
    degrees of freedom, which needs no equal spread. Of the joint tests of groups × sessions the
    one by Kenward–Roger leads; its size and that of the others stand in
    ``tests/calibration/mixed_joint.csv`` (:mod:`cmjlab.stats.mixed.joint`). With two complete sessions and two groups
    this *is* the group × time test of mixed ANOVA and mixed model, and it is reported once.
    Models: :mod:`cmjlab.stats.mixed.models`; their rules at the boundary of the parameter space:
    :mod:`cmjlab.stats.common.reml_intercept` and :mod:`cmjlab.stats.common.reml`.

    Raises
    ------
    StatsError
        When no metric can be analysed, naming the athlete or session.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> over = cj.change_mixed(table, "jump_height_m", control="usual")
    >>> round(float(over.row("group_by_time")["df2"]), 1)
    30.4
    """
    level = check_level(level)
    names = _names(table, metrics)
    panels, notes = _panels(table, names, order=order, control=control)
    rows, words = Rows(level=level), list[Sentence]()
    pairs = [primary_pair(panel, primary) for panel in panels]
    for panel, declared in zip(panels, pairs, strict=True):
        own = Rows(level=level)
        add_contrasts(own, panel, declared)
        words += sentences(panel, own, declared)
        beside = _add_beside(own, panel, constrained=constrained)
        standing = standing_notes(panel, constrained=constrained)
        found = [*panel.notes, *missing_sessions(panel), *beside, *standing]
        notes += [note for note in found if note not in notes]
        rows.extend(own)
    first, declared = panels[0], pairs[0]
    settings: dict[str, Any] = {
        "metrics": names,
        "order": list(first.sessions),
        "primary": list(first.session_names(declared)),
        "control": first.groups[0],
        "constrained": constrained,
        "level": level,
        "leading": {
            "statistic": "change_difference" if len(first.groups) > 1 else "mean_change",
            "why": "declared_contrast",
        },
    }
    figures = [figure_data(panel, pair) for panel, pair in zip(panels, pairs, strict=True)]
    points = _joined([panel.metric for panel in panels], figures)
    table_of_all = rows.frame()
    result = Result(
        "change_over_sessions", table_of_all, points, settings, tuple(notes), tuple(words)
    )
    return first_look(result, _behind(table_of_all), leading_too=True)


def _names(table: pd.DataFrame, metrics: Any) -> list[str]:
    """Return the metrics to analyse; one column name is one metric."""
    if isinstance(metrics, str):
        return [metrics]
    return metric_names(check_table(table), metrics)


def _joined(names: Sequence[str], figures: Sequence[dict[str, pd.DataFrame]]) -> dict[str, Any]:
    """Return the data behind the figures of all metrics, told apart by a column."""
    return {
        key: pd.concat(
            [f[key].assign(metric=m) for m, f in zip(names, figures, strict=True)],
            ignore_index=True,
        )
        for key in figures[0]
    }


def _panels(
    table: pd.DataFrame, names: Sequence[str], *, order: Sequence[str] | None, control: str | None
) -> tuple[list[Panel], list[Note]]:
    """Return the panel of every metric that can be analysed, and why the others cannot.

    Raises
    ------
    StatsError
        That of the first metric, when none can be analysed.
    """
    panels: list[Panel] = []
    refused: list[tuple[str, StatsError]] = []
    for name in names:
        try:
            panels.append(read_panel(table, name, order=order, control=control))
        except StatsError as why:
            refused.append((name, why))
    if not panels:
        raise refused[0][1]
    return panels, [Note("metric_refused", {"metric": m, "why": str(w)}) for m, w in refused]


def _behind(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Return the rows that are not read first: all but the contrasts and what leads."""
    contrasts = table["estimator"].eq("change_per_athlete") & table["interval_kind"].ne(SEPARATE)
    groups = table["metric"].isin(table.loc[table["statistic"] == "change_difference", "metric"])
    joint = (
        table["statistic"]
        .eq("group_by_time")
        .where(groups, table["statistic"].eq("time_main_effect"))
    )
    return np.asarray(~contrasts & ~(joint & table["leads"].fillna(False).astype(bool)))


def _add_beside(rows: Rows, panel: Panel, *, constrained: bool) -> list[Note]:
    """Add the mixed models and the mixed ANOVA; return their notes."""
    fits, why = models_to_fit(panel, constrained=constrained), why_no_anova(panel)
    leader = joint_leader(panel, fits, anova=why is None)
    notes = add_models(rows, panel, fits, leader)
    notes += joint_notes(panel, fits)
    groups = len(panel.groups)
    if len(panel.sessions) == 2 and bool(panel.complete.all()) and groups <= 2:
        return [*notes, one_test_note(panel, rows)] if groups == 2 else notes
    if why:
        return [*notes, Note("no_mixed_anova", {"metric": panel.metric, "why": why})]
    return [*notes, *add_anova(rows, panel, joint_leads=not leader)]
