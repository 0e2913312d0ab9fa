"""Does one measure go with another in this squad: correlation and straight line, per stratum."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from cmjlab import checks
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.association.rows import Correlation, add_correlation
from cmjlab.stats.association.sentences import chance_note
from cmjlab.stats.common.least_squares import Estimate, is_constant
from cmjlab.stats.common.measures import ALL, explanations, strata
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.tables import check_table, metric_names, refuse_infinite, unit_of
from cmjlab.stats.common.verdicts import relation_says
from cmjlab.stats.subgroups.noise import check_session, find_noise

Array = NDArray[np.float64]
#: Fewer athletes with both values give neither correlation nor line.
FEWEST = 6


def metric_relation(
    table: pd.DataFrame,
    metric: str,
    outcome: str,
    *,
    session: str | None = None,
    within: str | Sequence[str] | None = "sex",
    level: float = 0.95,
) -> Result:
    """Ask whether a measure goes with an outcome over the athletes of one session.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table.
    metric, outcome : str
        The measure, and what it may go with.
    session : str, optional
        Default the first baseline.
    within : str, sequence of str or None
        Strata analysed each alone: over women and men together a correlation also shows the
        difference between them.
    level : float

    Returns
    -------
    Result
        Rows ``correlation`` (Pearson, limits by Fisher's z) and ``outcome_slope`` (least
        squares, t interval) per stratum; ``points["scatter"]``, ``points["line"]`` (the straight
        line with the interval of its mean) and ``points["noise"]`` (typical errors, where known). ``settings["steps"]`` is the step of the measure that the
        sentences use: the squad's SD, rounded to one digit.

    Raises
    ------
    StatsError
        Unknown columns or session.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> found = cj.stats.metric_relation(study.sessions_table(), "relative_strength", "jump_height_m",
    ...                                  session="base1")
    >>> round(found.value("correlation"), 2)
    0.42
    """
    level = checks.level(level)
    data = check_table(table)
    metric_names(data, [metric, outcome])
    refuse_infinite(data, [metric, outcome])
    chosen = check_session(data, session)
    at = data["session"].astype(str) == chosen
    rows, sentences, points = Rows(level=level), list[Sentence](), list[pd.DataFrame]()
    steps: dict[str, float] = {}
    counts, lines = list[int](), list[pd.DataFrame]()
    for name, mask in strata(data, within).items():
        part = data[mask & at].dropna(subset=[metric, outcome])
        x, y = part[metric].to_numpy(float), part[outcome].to_numpy(float)
        here = rows.at(metric=outcome, other_metric=metric, group=name, session=chosen, n=len(x))
        add_line(here, x, y, outcome)
        steps[name] = _step(x)
        counts.append(len(x))
        sentences.append(_sentence(rows, (name, metric, outcome), steps[name]))
        points.append(_scatter(part, name, metric, outcome))
        lines.append(_line(name, x, y, level))
    return Result(
        "relation",
        rows.frame(),
        points={
            "scatter": pd.concat(points, ignore_index=True),
            "line": pd.concat(lines, ignore_index=True),
            "noise": error_frame(data, [metric, outcome], within),
        },
        settings={"metric": metric, "outcome": outcome, "session": chosen, "within": within,
                  "level": level, "steps": steps},
        notes=(Note("association_only"), chance_note(min(counts)), *explanations([metric, outcome])),
        sentences=tuple(sentences),
    )  # fmt: skip


def add_line(here: Place, x: Array, y: Array, outcome: str) -> Reason | None:
    """Add slope and correlation of one stratum, or the reason why there is neither; return it."""
    sloped = here.at(unit=f"{unit_of(outcome)} per unit".strip())
    why = None
    if len(x) < FEWEST:
        why = Reason("few_with_both_values", {"n": len(x)})
    elif is_constant(x) or is_constant(y):
        why = Reason("one_does_not_vary")
    if why is not None:
        sloped.none("outcome_slope", why)
        here.none("correlation", why)
        return why
    add_coefficient(sloped, "outcome_slope", np.column_stack([np.ones_like(x), x]), y)
    r = float(np.corrcoef(x, y)[0, 1])
    add_correlation(here, "correlation", Correlation(r, len(x) - 2, len(x)))
    return None


def add_coefficient(here: Place, statistic: str, design: Array, y: Array) -> None:
    """Add the last coefficient of a regression with its t interval."""
    solution, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    df = len(y) - rank
    if rank < design.shape[1] or df < 1:
        here.none(statistic, Reason("cut_and_line_alike"))
        return
    rest = y - design @ solution
    variance = float(rest @ rest) / df
    se = float(np.sqrt(variance * np.linalg.inv(design.T @ design)[-1, -1]))
    estimate = Estimate(float(solution[-1]), se, float(df))
    here.add_estimate(statistic, estimate, estimator="least_squares", interval_kind="t")


def error_frame(table: pd.DataFrame, metrics: Sequence[str], within: Any) -> pd.DataFrame:
    """Return typical errors for the bars of a figure; a metric without one is left out."""
    found = find_noise(table, metrics, None, strata(table, within))
    rows = []
    if found.noise is not None:
        rows = list(zip(found.metrics, found.noise.error, strict=True))
    return pd.DataFrame(rows, columns=["metric", "typical_error"])


def _step(x: Array) -> float:
    """Return the SD of a measure, rounded to one digit: a step that a person can imagine."""
    sd = float(x.std(ddof=1)) if len(x) > 1 else 0.0
    if not sd > 0:
        return math.nan
    digits = math.floor(math.log10(sd))
    return round(sd, -digits)


def _line(name: str, x: Array, y: Array, level: float) -> pd.DataFrame:
    """Return the straight line over the range of x, with the t interval of the mean of y."""
    columns = ["stratum", "x", "y", "low", "high"]
    if len(x) < FEWEST or is_constant(x) or is_constant(y):
        return pd.DataFrame(columns=columns)
    centred = x - x.mean()
    slope = float(centred @ y) / float(centred @ centred)
    rest = y - y.mean() - slope * centred
    variance = float(rest @ rest) / (len(x) - 2)
    at = np.linspace(x.min(), x.max(), 41)
    middle = y.mean() + slope * (at - x.mean())
    se = np.sqrt(variance * (1 / len(x) + (at - x.mean()) ** 2 / float(centred @ centred)))
    half = special.stdtrit(len(x) - 2, 0.5 + level / 2) * se
    return pd.DataFrame(
        {"stratum": name, "x": at, "y": middle, "low": middle - half, "high": middle + half}
    )


def _scatter(part: pd.DataFrame, name: str, metric: str, outcome: str) -> pd.DataFrame:
    return pd.DataFrame({
        "stratum": name, "athlete": part["athlete"].astype(str), "x": part[metric],
        "y": part[outcome],
    })  # fmt: skip


def _sentence(rows: Rows, place: tuple[str, str, str], step: float) -> Sentence:
    name, metric, outcome = place
    group = "" if name == ALL else name
    found = {str(r["statistic"]): r for r in rows.records(group=name)}
    r, slope = found["correlation"], found["outcome_slope"]
    if not np.isfinite(r["estimate"]):
        values = {"other": metric, "why": r["reason"]}
        return Sentence("relation.unknown", outcome, group, values)
    kind = "step_with_unit" if unit_of(metric) else "step_without_unit"
    shown = Sentence(f"relation.{kind}", metric, values={"step": step})
    values = {
        "other": metric, "athletes": int(r["n"]), "step": shown,
        "says": relation_says(r["ci_low"], r["ci_high"]),
        **{c: float(r[c]) for c in ("estimate", "ci_low", "ci_high", "level")},
        "more": float(slope["estimate"]) * step, "low": float(slope["ci_low"]) * step,
        "high": float(slope["ci_high"]) * step,
    }  # fmt: skip
    return Sentence("relation.found", outcome, group, values)
