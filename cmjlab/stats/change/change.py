"""Whether the block worked, for the group and against the other group.

:func:`change_within` compares two sessions of the same athletes, :func:`change_between` two
or more groups over the same two sessions. How the groups came about decides the estimator.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.plan import Selection
from cmjlab.results import Result
from cmjlab.stats.change.comparison import Comparison, GroupQuestion
from cmjlab.stats.change.groups import compare_groups
from cmjlab.stats.change.left_out import left_out_frame, left_out_notes
from cmjlab.stats.change.notes import between_notes, within_notes
from cmjlab.stats.change.paired import add_paired_rows, leave_one_out_points
from cmjlab.stats.change.pairs import Pairs, Prepared, make_pairs, pairs_frame, prepare
from cmjlab.stats.change.sentences import paired_sentence
from cmjlab.stats.common.first_look import first_look, variants
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import every_group, session_order

#: Intervals of :func:`change_between` that are not read first.
_VARIANTS = ("classical", "hc3", "pooled_t", "multivariate_t_classical", "tukey_kramer")


def change_within(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    before: str,
    after: str,
    group: str | None = None,
    level: float = 0.95,
) -> Result:
    """Return the change of the same athletes from one session to a later one.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: ``athlete``, ``session`` and metric columns.
    metrics : str or sequence of str, optional
        Metric columns; all numeric ones when None.
    before, after : str
        Sessions; a positive change is a rise from ``before`` to ``after``.
    group : str, optional
        Column whose groups are reported one by one (e.g. "group" or "sex"). Such separate
        changes do not compare the groups: that is :func:`change_between`.
    level : float
        Level of the intervals.

    Returns
    -------
    Result
        Rows ``mean_change`` (paired t), ``percent_change`` (by logarithms), ``cohen_dz``,
        ``cohen_dav``, ``hedges_g_within``, ``leave_one_out_range``. Points ``pairs``, ``left_out``,
        ``leave_one_out``.

    Raises
    ------
    StatsError
        When sessions or columns do not exist, or no athlete has both sessions.

    Notes
    -----
    A change without a comparison group reflects everything that happened in between: season,
    learning, body mass, and regression to the mean if the athletes were chosen for their
    values (see ``cmjlab.stats.change.regression_to_mean``).

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"athlete": ["A1", "A2", "A3"] * 2, "session": ["pre"] * 3 + ["post"] * 3,
    ...                       "jump_height_m": [0.31, 0.34, 0.29, 0.33, 0.37, 0.30]})
    >>> result = change_within(table, before="pre", after="post")
    >>> round(result.value("mean_change"), 3)
    0.02
    """
    level = checks.level(level)
    prepared = prepare(table, metrics, before=before, after=after, group=group)
    every = [make_pairs(prepared, m) for m in prepared.metrics]
    if not any(p.athletes for p in every):
        raise StatsError(
            f"no athlete has values in both {prepared.before} and {prepared.after};"
            f" athletes found: {', '.join(prepared.table['athlete'].unique()[:10])}."
        )
    rows = Rows(level=level)
    times = rows.at(first=prepared.after, second=prepared.before, role=_role(prepared.metrics))
    sentences, without_one = [], []
    for pairs in every:
        for name, members in _by_group(pairs, prepared):
            place = times.at(metric=pairs.metric, group=name or None, n=len(members.athletes))
            add_paired_rows(members, place)
            sentences.append(paired_sentence(rows, pairs.metric, name, prepared))
            without_one += [{**r, "group": name} for r in leave_one_out_points(members)]
    return Result(
        kind="change_within",
        table=rows.frame(),
        points={
            "pairs": pairs_frame(every),
            "left_out": left_out_frame(every),
            "leave_one_out": pd.DataFrame(
                without_one, columns=["metric", "group", "statistic", "athlete", "estimate"]
            ),
        },
        settings=_settings(prepared, level, group=group, groups=every_group(table, group)),
        notes=(*left_out_notes(every), *within_notes(prepared, every)),
        sentences=tuple(sentences),
    )


def change_between(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    before: str,
    after: str,
    assignment: str | Selection = "other",
    control: str | None = None,
    level: float = 0.95,
) -> Result:
    """Compare the changes of groups; how the groups came about decides the estimator.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: ``athlete``, ``session``, ``group`` and metrics.
    metrics : str or sequence of str, optional
    before, after : str
        Sessions to compare.
    assignment : {"random", "other"} or cmjlab.plan.Selection
        ``"random"``: analysis of covariance (ANCOVA) leads. ``Selection(metrics, session)``:
        every value that decided the group becomes a covariate, or, when ``before`` is
        another session than the one used for selection, the change score leads.
        ``"other"`` (also when unknown): ANCOVA and change score side by side, neither leads.
        ``settings["leading"]`` names the statistic that leads ("" when none does) and why.
    control : str, optional
        Group that the others are compared with ("group - control"); all pairs when None.
    level : float
        Level of the intervals.

    Returns
    -------
    Result
        Rows ``adjusted_difference`` (ANCOVA at the squad-mean baseline with HC2 and
        Bell-McCaffrey df), ``adjusted_mean``, ``slope_difference``,
        ``change_difference``, ``simultaneous_difference``, ``hedges_g_between``, ``dppc2``, ``leave_one_out_range``, for selected
        groups ``drift_expected`` and ``change_beyond_drift``. Where the later values rise with the
        earlier ones differently in the groups: ``difference_along_baseline`` and ``clear_limit``
        (see :mod:`cmjlab.stats.change.along_baseline`). The classical, HC3, pooled and Tukey-Kramer
        variants come back with :meth:`cmjlab.Result.with_details`.

    Raises
    ------
    StatsError
        One group only, an athlete in two groups, a selecting variable that is not in the
        table (ANCOVA without it is biased), post equal to pre for everybody.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> found = cj.change_between(table, before="base2", after="post", control="usual")
    >>> sorted(set(found.rows("change_difference")["first"]))
    ['fast_braking', 'strength']
    """
    level = checks.level(level)
    if not isinstance(assignment, Selection):
        checks.one_of("assignment", assignment, ("random", "other"))
    also, second = _more_sessions(table, assignment, before, after)
    prepared = prepare(table, metrics, before=before, after=after, group="group", also=also)
    question = GroupQuestion(
        assignment, _control(control, prepared), level, second, _role(prepared.metrics)
    )
    comparisons = [compare_groups(prepared, m, question) for m in prepared.metrics]
    _refuse_empty(comparisons, prepared)
    every = [c.pairs for c in comparisons]
    rows = Rows(level=level)
    for comparison in comparisons:
        rows.extend(comparison.rows)
    result = Result(
        kind="change_between",
        table=rows.frame(),
        points={
            "pairs": pairs_frame(every),
            "left_out": left_out_frame(every),
            "adjusted": _joined([c.adjusted for c in comparisons]),
            "leave_one_out": _joined([c.leave_one_out for c in comparisons]),
            "regression_to_mean": _joined([c.drift for c in comparisons]),
            "along_baseline": _joined([c.along for c in comparisons]),
        },
        settings=_settings(
            prepared,
            level,
            assignment=assignment.to_dict() if isinstance(assignment, Selection) else assignment,
            control=question.control,
            groups=every_group(table),
            leading=question.leading(prepared.before),
        ),
        notes=(*left_out_notes(every), *between_notes(prepared, comparisons, assignment)),
        sentences=tuple(s for c in comparisons for s in c.sentences),
    )
    return first_look(result, variants(result.table, _VARIANTS))


def _more_sessions(
    table: pd.DataFrame, assignment: str | Selection, before: str, after: str
) -> tuple[tuple[str, ...], str]:
    """Return the further sessions that selected groups need, and the second baseline or "".

    The second baseline is the session that the change starts from, if another one decided
    the groups, else the last session of role baseline; never guessed from names.
    """
    if not isinstance(assignment, Selection):
        return (), ""
    if not isinstance(table, pd.DataFrame) or "session" not in table:
        return (), ""
    present = set(table["session"].astype(str).str.strip())
    also = (assignment.session,) if assignment.session in present else ()
    if assignment.session == after:
        raise StatsError(f"the groups cannot have been selected in the later session, {after!r}.")
    if assignment.session != before:
        return also, before if also else ""
    if "role" not in table:
        return also, ""
    base = table.loc[table["role"] == "baseline", "session"]
    others = [s for s in session_order(table) if s in set(base.astype(str)) - {before, after}]
    return (*also, *others[-1:]), others[-1] if others else ""


def _by_group(pairs: Pairs, prepared: Prepared) -> Iterator[tuple[str, Pairs]]:
    """Yield each group's name with its pairs; "" with all of them when there are no groups."""
    if not prepared.group_order:
        yield "", pairs
        return
    for name in prepared.group_order:
        yield name, pairs.take(pairs.group == name)


def _control(control: str | None, prepared: Prepared) -> str | None:
    order = prepared.group_order
    if len(order) < 2:
        raise StatsError(
            f"only one group, {', '.join(order)}, in {prepared.before} and {prepared.after}; two are"
            " needed for a comparison. For one group use change_within."
        )
    if control is None:
        return None
    return str(checks.one_of("control", str(control).strip(), order))


def _refuse_empty(comparisons: list[Comparison], prepared: Prepared) -> None:
    """Raise when no metric allows any comparison."""
    reasons = [c.why_not for c in comparisons]
    if not all(reasons):
        return
    texts = "; ".join(dict.fromkeys(map(str, reasons)))
    raise StatsError(
        f"no comparison from {prepared.before} to {prepared.after} is possible: {texts}."
    )


def _joined(parts: list[list[dict[str, Any]]]) -> pd.DataFrame:
    return pd.DataFrame([row for part in parts for row in part])


def _role(metrics: Sequence[str]) -> str:
    """One metric alone is primary; of several none is, until a plan declares it."""
    return "primary" if len(metrics) == 1 else "exploratory"


def _settings(prepared: Prepared, level: float, **more: Any) -> dict[str, Any]:
    return {
        "metrics": list(prepared.metrics),
        "before": prepared.before,
        "after": prepared.after,
        "level": level,
        **more,
    }
