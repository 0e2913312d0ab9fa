"""What a group that was chosen for its values would do without any training.

A group chosen for low (or high) values moves towards the squad at the next test, because
part of what was low was bad luck on the day. That drift is b · (group mean - squad mean) of
the selecting values, b the slope of the tested metric's change on them without training.
Only when the selecting metric is the tested one is this (1 - rho)(squad - group); with
another metric the short formula can do nothing, or create a bias where there was none.

Four situations, from the most to the least that is known:

1. Two baselines, chosen on the first: the change from the second is clean.
2. The first baseline is also the start: regress the second on the selectors, whole squad.
3. Untreated athletes in the same sessions: ANCOVA on the selectors (robust to slow true
   drift) and the constrained longitudinal model (narrower) beside each other.
4. One baseline: the slope must come from elsewhere, and everything hangs on it.

What none of 1, 2 and 4 can take out: slow true change of athletes, and a shift of the whole
squad (season, learning). Only athletes without the training in the same weeks can.

Sources: Davis 1976 (Am J Epidemiol 104:493), Barnett et al. 2005 (Int J Epidemiol 34:215),
Liang & Zeger 2000 (Sankhya B 62:134); from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.plan import Selection
from cmjlab.results import Note, Result
from cmjlab.stats.change.drift_rows import DriftOfGroup, drift_of_group, drift_with_outside_slope
from cmjlab.stats.change.pairs import prepare
from cmjlab.stats.common.rows import Rows


def drift_expected(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    selection: Selection,
    after: str,
    baseline: str,
    group: str | None = None,
    level: float = 0.95,
) -> Result:
    """Return the drift to be expected in chosen groups, and the change beyond it.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session, **the whole squad** that could have been chosen:
        ``athlete``, ``session``, ``group`` and metrics.
    metrics : str or sequence of str, optional
        Tested metrics; they need not be the selecting ones.
    selection : cmjlab.plan.Selection
        Metrics and session that decided the group.
    after : str
        Session after the block.
    baseline : str
        A second baseline session that did not decide the group. Without one use
        :func:`drift_from_outside`.
    group : str, optional
        One group; all of them when None.
    level : float

    Returns
    -------
    Result
        Rows ``drift_expected`` (with its own interval) and ``change_beyond_drift`` (by the
        clean change, with the group's own and with the squad's error, and by regression).
        Points ``regression_to_mean``: each athlete's selecting value, both baselines, the
        value to be expected without training, and the outcome.

    Raises
    ------
    StatsError
        When a selecting metric, a session or a group does not exist, or the whole table is
        the chosen group.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> chosen = cj.Selection(("jump_height_m",), "base1")
    >>> drift = cj.drift_expected(table, "jump_height_m", selection=chosen, baseline="base2",
    ...                           after="post", group="strength")
    >>> sorted(set(drift.table["statistic"]))
    ['change_beyond_drift', 'drift_expected', 'drift_towards_squad', 'squad_shift']
    """
    level = checks.level(level)
    if not isinstance(selection, Selection):
        raise StatsError("selection: a Selection(metrics, session) is needed.")
    if selection.session in (after, baseline):
        raise StatsError(
            f"the session of the selection, {selection.session!r}, decided the groups; baseline and"
            " after must be two other sessions."
        )
    prepared = prepare(
        table, metrics, before=baseline, after=after, group="group", also=(selection.session,)
    )
    wanted = (
        prepared.group_order
        if group is None
        else (checks.one_of("group", group, prepared.group_order),)
    )
    if len(prepared.group_order) < 2:
        raise StatsError(
            "the table holds one group only; the whole squad that could have been chosen is needed,"
            " with its own label in column 'group'."
        )
    rows = Rows(level=level)
    found = [
        drift_of_group(rows, prepared, metric, selection, g)
        for metric in prepared.metrics
        for g in wanted
    ]
    settings = {
        "metrics": prepared.metrics,
        "selection": selection.to_dict(),
        "after": after,
        "baseline": baseline,
        "group": group,
        "level": level,
    }
    return _result(rows, found, settings)


def drift_from_outside(
    table: pd.DataFrame,
    metric: str,
    *,
    selection_session: str,
    after: str,
    group: str,
    slope: Sequence[float],
    level: float = 0.95,
) -> Result:
    """Return the drift with one baseline only, for a slope that comes from elsewhere.

    Parameters
    ----------
    table : pandas.DataFrame
        The whole squad: ``athlete``, ``session``, ``group`` and the metric, which is both the
        selecting and the tested one.
    metric : str
    selection_session, after : str
        Session that decided the group, and session after the block.
    group : str
        The chosen group.
    slope : (estimate, low, high)
        Slope of a re-test on a test of the same summary without training (a consistency ICC
        of single sessions when spread did not change) with its interval.
    level : float
        Level of the interval of the change.

    Returns
    -------
    Result
        ``drift_expected`` and ``change_beyond_drift`` for the slope and for both ends of its
        interval: a table over what is not known, labelled so.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> drift = cj.drift_from_outside(table, "jump_height_m", selection_session="base1", after="post",
    ...                               group="strength", slope=(0.85, 0.70, 0.92))
    >>> len(drift.rows("drift_expected"))
    3
    """
    level = checks.level(level)
    rho = checks.numbers("slope", slope, low=0.0, high=1.0)
    if len(rho) != 3 or not rho[1] <= rho[0] <= rho[2]:
        raise StatsError("slope: (estimate, low, high) is needed, e.g. (0.85, 0.70, 0.93).")
    prepared = prepare(table, metric, before=selection_session, after=after, group="group")
    checks.one_of("group", group, prepared.group_order)
    rows = Rows(level=level)
    found = drift_with_outside_slope(rows, prepared, metric, group, (rho[0], rho[1], rho[2]))
    found.notes.append(Note("slope_from_elsewhere"))
    settings = {
        "metrics": [metric],
        "selection": {"metrics": [metric], "session": selection_session},
        "after": after,
        "group": group,
        "slope": rho,
        "level": level,
    }
    return _result(rows, [found], settings)


def _result(rows: Rows, found: list[DriftOfGroup], settings: dict[str, Any]) -> Result:
    """Return the rows with what stands beside them; a note that repeats stands once."""
    notes: list[Note] = []
    for note in (n for one in found for n in one.notes):
        if note not in notes:
            notes.append(note)
    return Result(
        kind="drift_expected",
        table=rows.frame(),
        points={"regression_to_mean": pd.DataFrame([r for one in found for r in one.points])},
        settings=settings,
        notes=(*notes, Note("drift_remains")),
        sentences=tuple(s for one in found for s in one.sentences),
    )
