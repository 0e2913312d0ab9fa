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
from cmjlab.stats.common.tables import statistics_frame
from cmjlab.stats.mixed.anova import anova_rows, why_no_anova
from cmjlab.stats.mixed.contrast_rows import contrast_rows, figure_data, primary_pair
from cmjlab.stats.mixed.model_rows import model_rows
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
        ``mean_change`` per group and pair of sessions, ``change_difference`` per pair of groups;
        contrasts are "later - earlier" and "group - control"; the column ``method`` tells the
        contrasts per athlete from the models (Satterthwaite and Kenward–Roger) and from the mixed
        ANOVA. Role "primary": the declared pair of sessions by the contrast per athlete (group −
        control, or the mean change when there is one group). ``p_adjusted`` is Holm within
        statistic, method and role. ``points``: values, means, changes, leave_one_out.

    Notes
    -----
    The primary test is the pooled t of two groups' changes, beside it HC2 with Bell–McCaffrey
    degrees of freedom, which needs no equal spread. With two complete sessions and two groups
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
    rows, notes = contrast_rows(panel, declared, level)
    words = sentences(panel, rows, declared)
    more, found = _beside(panel, rows, constrained=constrained, level=level)
    settings: dict[str, Any] = {
        "metric": panel.metric,
        "order": list(panel.sessions),
        "primary": [panel.sessions[declared[0]], panel.sessions[declared[1]]],
        "control": panel.groups[0],
        "constrained": constrained,
        "level": level,
    }
    return Result(
        "change over sessions",
        statistics_frame([*rows, *more]),
        figure_data(panel, declared),
        settings,
        (*panel.notes, *notes, *found, *standing_notes(panel, constrained=constrained)),
        words,
    )


def _beside(
    panel: Panel, rows: list[dict[str, Any]], *, constrained: bool, level: float
) -> tuple[list[dict[str, Any]], list[Note]]:
    """Return rows and notes of the mixed models and of the mixed ANOVA."""
    more, notes = model_rows(panel, models_to_fit(panel, constrained=constrained), level)
    groups = len(panel.groups)
    complete = bool(panel.complete.all())
    if len(panel.sessions) == 2 and complete and groups <= 2:
        return more, [*notes, one_test_note(panel, rows)] if groups == 2 else notes
    reason = why_no_anova(panel)
    if reason:
        return more, [*notes, Note("no_mixed_anova", f"{panel.metric}, mixed ANOVA: {reason}")]
    anova, left_out = anova_rows(panel)
    return [*more, *anova], [*notes, *left_out]
