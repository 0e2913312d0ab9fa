"""``pool_metrics``: which metrics of two plates, methods or labs may stand in one table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import ArgumentError, CmjlabError
from cmjlab.method import Method
from cmjlab.results import Note, Result
from cmjlab.scrutiny.pool.matched import Matched, common_metrics, matched_files, matched_tables
from cmjlab.scrutiny.pool.one import NoPooling, Pooling, pool_one
from cmjlab.scrutiny.pool.rows import add_rows, sentences_of
from cmjlab.scrutiny.pool.rule import PoolRule, Yardstick
from cmjlab.stats.common.rows import Rows
from cmjlab.study.analyses.defaults import measures_of
from cmjlab.study.study import Study

#: Fewer athletes leave the parts of the variance nearly unknown.
_FEW = 10


def pool_metrics(
    first: Study | pd.DataFrame,
    second: Study | pd.DataFrame | None = None,
    metrics: str | Sequence[str] | None = None,
    *,
    method: Method | None = None,
    noise: Result | Mapping[str, float] | None = None,
    rule: PoolRule | None = None,
    level: float | None = None,
) -> Result:
    """Return which metrics can be pooled when the same jumps were measured two ways.

    Parameters
    ----------
    first : Study or pandas.DataFrame
        The plates or the method that the other is brought to: a study, or a table with a row per
        jump (``athlete``, ``session``, ``trial`` or ``jump`` where a session has several, metrics).
    second : Study or pandas.DataFrame, optional
        The same jumps on the other plates. Not with ``method``.
    metrics : str or sequence of str, optional
        Default: of a study the plan's measures that every jump has; of tables all that both have.
    method : Method, optional
        Measure the files of the first, a study, by this method too, and compare.
    noise : Result of ``reliability``, or mapping of metric to typical error, optional
        What an error of conversion is held against. Default: the study's own; where there is none,
        the noise from jump to jump by the jumps of a session's value, which is stricter.
    rule : PoolRule, optional
        How much pooling may add, and whose errors are larger.
    level : float, optional
        Level of limits and intervals; default the study's, else 0.95.

    Returns
    -------
    Result
        kind "pooling". Rows: ``pool_bias`` (second − first), limits of agreement of single jumps,
        ``pool_slope``, ``conversion_offset`` and ``conversion_slope`` (first = offset + slope ·
        second), errors of a converted jump and squad mean, and what pooling adds to the noise as it
        is and after conversion. ``points``: verdict (metric, verdict, reason, half widths of a new
        converted jump and squad mean), pairs (single jumps).

    Raises
    ------
    ArgumentError
        Two seconds, none, a metric that one of them lacks, or an argument of a wrong kind.
    StatsError
        No jump in common, a jump that stands twice, or columns missing.

    Notes
    -----
    Athletes are the units: jumps of one athlete share what the plates make of this athlete, so
    differences have a part between and a part within athletes (Bland & Altman 2007, section on
    changing true values). The line is Deming's, because neither of the two is without error, with
    intervals that leave out one athlete after the other (Linnet 1990). Its slope is used only when
    its interval excludes 1 and an offset would not do. Metrics are judged at the upper limit of
    the error that they would add to a session's value of one athlete. A change within an athlete
    who stays on one pair of plates needs no conversion where the slope is 1.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study(mini=True))
    >>> other = study.method.replace(onset_rule="percent")
    >>> found = cj.pool_metrics(study, method=other, metrics=["jump_height_m", "time_to_takeoff_s"])
    >>> found.points["verdict"]["metric"].tolist()
    ['jump_height_m', 'time_to_takeoff_s']
    >>> bool(found.value("pool_bias", metric="time_to_takeoff_s") < 0)  # the threshold finds it later
    True
    """
    how = checks.given_or_default("rule", rule, PoolRule)
    study = first if isinstance(first, Study) else None
    level = checks.level(level if level is not None else study.plan.level if study else 0.95)
    names = None if metrics is None else checks.names("metrics", metrics)
    if study is not None and names is None and not isinstance(second, pd.DataFrame):
        jumps = study.jumps_at_load()
        names = [m for m in measures_of(study, study.sessions_table(), None) if m in jumps]
    matched, names = _side_by_side(first, second, names, method)
    per_value = float(how.jumps) or _jumps_of_a_value(matched)
    typical = _typical_errors(study, noise, names)
    every = [
        pool_one(
            m, matched.values(m)[:2], _yardstick(typical.get(m), matched, m, per_value), how,
            per_value=per_value, level=level,
        )
        for m in names
    ]  # fmt: skip
    rows = Rows(level=level)
    for found in every:
        add_rows(rows, found)
    return Result(
        "pooling", rows.frame(),
        {"verdict": _verdicts(every, level), "pairs": matched.pairs},
        {"metrics": names, "level": level, "rule": how.to_dict(), "matched_by": list(matched.keys),
         "jumps_of_a_value": per_value,
         "method": None if method is None else method.to_dict()},
        (*matched.notes, *_notes(every, how)),
        tuple(s for found in every for s in sentences_of(found, level)),
    )  # fmt: skip


def _side_by_side(
    first: Any, second: Any, names: list[str] | None, method: Method | None
) -> tuple[Matched, list[str]]:
    """Return the jumps that both measured, and the metrics."""
    for name, value in (("first", first), ("second", second)):
        if not isinstance(value, Study | pd.DataFrame) and not (name == "second" and value is None):
            raise ArgumentError(
                f"{name}: an opened study or a table with a row per jump is needed, found"
                f" {checks.shown(value)}."
            )
    if (second is None) == (method is None):
        raise ArgumentError(
            "second, method: name one of the two: the same jumps on other plates, or a Method by which"
            " the files of the first are measured too."
        )
    if method is None:
        tables = [v.jumps_at_load() if isinstance(v, Study) else v for v in (first, second)]
        metrics = common_metrics(tables[0], tables[1], names)
        return matched_tables(tables[0], tables[1], metrics), metrics
    if not isinstance(method, Method):
        raise ArgumentError(f"method: a Method is needed, found {checks.shown(method)}.")
    if not isinstance(first, Study):
        raise ArgumentError(
            "method: only the files of a study can be measured by another method; first is a table."
        )
    if method.key == first.method.key:
        raise ArgumentError("method: it is the study's own; nothing would differ.")
    tables = [first.jumps_at_load(), first.with_choices(method=method).jumps_at_load()]
    metrics = common_metrics(tables[0], tables[1], names)
    return matched_files(tables[0], tables[1], metrics), metrics


def _jumps_of_a_value(matched: Matched) -> float:
    counts = matched.pairs.groupby(["athlete", "session"], observed=True).size()
    return float(max(1, round(float(counts.median()))))


def _typical_errors(study: Study | None, noise: Any, names: list[str]) -> dict[str, float]:
    """Return the typical errors that are given, else the study's own where it has them."""
    if noise is None and study is not None:
        try:
            noise = study.reliability(names)
        except CmjlabError:
            return {}
    if noise is None:
        return {}
    if isinstance(noise, Result):
        rows = noise.rows("typical_error")
        rows = rows[rows["group"].isna()]
        return dict(zip(rows["metric"].astype(str), rows["estimate"].astype(float), strict=True))
    if not isinstance(noise, Mapping):
        raise ArgumentError(
            "noise: a result of reliability or a mapping of metric to typical error is needed, found"
            f" {checks.shown(noise)}."
        )
    return {str(m): checks.number(f"noise[{m!r}]", v, low=1e-300) for m, v in noise.items()}


def _yardstick(typical: float | None, matched: Matched, metric: str, per_value: float) -> Yardstick:
    """Return the variance of a session's value: typical error², or noise of jumps by their number."""
    if typical is not None and np.isfinite(typical) and typical > 0:
        return Yardstick(typical**2, "typical_error")
    groups = matched.pairs.groupby(["athlete", "session"], observed=True)[f"{metric}_1"]
    counts = groups.count()
    df = float((counts - 1).clip(lower=0).sum())
    squares = float((groups.var() * (counts - 1)).sum())
    return Yardstick(squares / df / per_value if df > 0 else float("nan"), "jumps")


def _verdicts(every: Sequence[Pooling | NoPooling], level: float) -> pd.DataFrame:
    """Return one row per metric, to read and to convert by."""
    rows: list[dict[str, Any]] = []
    for found in every:
        if isinstance(found, NoPooling):
            rows.append({"metric": found.metric, "verdict": "", "reason_code": found.why.code})
            continue
        made, verdict = found.conversion, found.verdict
        jump, mean = found.half_widths(level)
        rows.append({
            "metric": found.metric, "verdict": verdict.key,
            "reason_code": verdict.why.code if verdict.why else "", "athletes": found.athletes,
            "jumps": found.jumps, "offset": made.offset, "slope": made.slope, "off_jump": jump,
            "off_mean": mean, "seen_from": float(made.at.min()), "seen_to": float(made.at.max()),
        })  # fmt: skip
    return pd.DataFrame(rows)


def _notes(every: Sequence[Pooling | NoPooling], rule: PoolRule) -> list[Note]:
    notes = [Note("pool_rule", {"allowed": rule.allowed_percent})]
    made = [f for f in every if isinstance(f, Pooling)]
    by_jumps = [f.metric for f in made if f.yardstick.source == "jumps" and f.verdict.key]
    if by_jumps:
        notes.append(Note("pool_by_jumps", {"metrics": tuple(by_jumps)}))
    few = max((f.athletes for f in made), default=_FEW)
    if few < _FEW:
        notes.append(Note("pool_few", {"n": few}))
    return notes
