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

import pandas as pd

from cmjlab.checks import level as check_level
from cmjlab.results import Note, Result
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.mixed.anova import add_anova, why_no_anova
from cmjlab.stats.mixed.contrast_rows import (
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
    metric: str,
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
    metric : str
        Column to analyse, in its own unit.
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
        the column ``estimator`` tells the contrasts per athlete, which lead, from the models
        (``interval_kind`` "satterthwaite" and "kenward_roger") and from the mixed ANOVA. Role
        "primary": the declared pair of sessions by the contrast per athlete (group − control, or
        the mean change when there is one group). ``p_adjusted`` is Holm within statistic,
        estimator, interval and role. ``points``: values, means, changes, leave_one_out.

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
        When the table cannot be analysed, naming the athlete or session.
    """
    level = check_level(level)
    panel = read_panel(table, metric, order=order, control=control)
    declared = primary_pair(panel, primary)
    rows = Rows(level=level)
    add_contrasts(rows, panel, declared)
    words = sentences(panel, rows, declared)
    beside = _add_beside(rows, panel, constrained=constrained)
    several = len(panel.groups) > 1
    settings: dict[str, Any] = {
        "metric": panel.metric,
        "order": list(panel.sessions),
        "primary": list(panel.session_names(declared)),
        "control": panel.groups[0],
        "constrained": constrained,
        "level": level,
        "leading": {
            "statistic": "change_difference" if several else "mean_change",
            "why": "declared_contrast",
        },
    }
    return Result(
        "change_over_sessions",
        rows.frame(),
        figure_data(panel, declared),
        settings,
        (
            *panel.notes,
            *missing_sessions(panel),
            *beside,
            *standing_notes(panel, constrained=constrained),
        ),
        words,
    )


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
