"""What the notebook of screening shows: what to solve first, who is missing, what that changes."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.checks import number
from cmjlab.report.build.stops import find_stops
from cmjlab.stats.change.change import change_within
from cmjlab.stats.change.missing import change_if_missing_differ
from cmjlab.stats.mixed.mixed import change_mixed
from cmjlab.study.study import Study
from cmjlab.words.catalog import read_words
from cmjlab.words.fill import amount

#: The mixed model and the tests of it that are shown.
_MODEL, _TESTS = "model_unstructured", "kenward_roger"
#: Fewest athletes whose mean is compared.
_FEWEST = 2


def to_solve_first(study: Study) -> tuple[str, ...]:
    """Return what has to be solved before any result of a study is read, and how.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of str
        One text each; where there is nothing, one that says so.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.notebook.to_solve_first(cj.Study.open(cj.demo_study()))[0][:28]
    'Nothing was found that stops'
    """
    words = read_words(study.folder / "words.toml")
    return find_stops(study).sentences(words) or (words.say("missing.nothing"),)


def who_came_back(table: pd.DataFrame, metric: str, before: str, after: str) -> pd.DataFrame:
    """Return how those who came back differed, before, from those who did not.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session.
    metric : str
    before, after : str

    Returns
    -------
    pandas.DataFrame
        Texts: who, athletes, mean and standard deviation of the value before; last the
        difference with its 95 % interval (Welch), where two are missing at least.
    """
    from scipy import stats

    said = read_words().part("missing")
    first = _values(table, metric, before)
    there = first.index.isin(_values(table, metric, after).index)
    came, stayed = first[there], first[~there]
    rows = [_described(said[k], part, metric) for k, part in (("came", came), ("away", stayed))]
    if min(len(came), len(stayed)) >= _FEWEST:
        found = stats.ttest_ind(stayed, came, equal_var=False)
        low, high = found.confidence_interval(0.95)
        text = _interval(float(stayed.mean() - came.mean()), float(low), float(high), metric)
    else:
        text = said["too_few"]
    rows.append({said["who"]: said["difference"], said["athletes"]: "", said["mean"]: text})
    return pd.DataFrame(rows).fillna("")


def drop_lowest(
    table: pd.DataFrame, metric: str, *, before: str, after: str, share: float
) -> pd.DataFrame:
    """Return a sessions table in which the athletes lowest before did not come after.

    Parameters
    ----------
    table : pandas.DataFrame
    metric : str
    before, after : str
    share : float
        Share of the athletes with both values who are taken out, rounded to whole athletes;
        three stay at least.

    Raises
    ------
    ArgumentError
        The share is no number from 0 to 1.
    """
    both = _values(table, metric, before)
    both = both[both.index.isin(_values(table, metric, after).index)]
    out = round(number("share", share, low=0.0, high=1.0) * len(both))
    gone = both.sort_values(kind="stable").index[: max(0, min(out, len(both) - 3))]
    away = table["athlete"].isin(gone) & (table["session"].astype(str) == after)
    return table[~away]


def missing_side_by_side(
    table: pd.DataFrame,
    metric: str,
    *,
    before: str,
    after: str,
    differ: float,
    level: float = 0.95,
) -> pd.DataFrame:
    """Return the mean change of a squad under different beliefs about those who are missing.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session.
    metric : str
    before, after : str
    differ : float
        By how much the missing athletes may have changed less, or more, than the others; in the
        metric's table unit.
    level : float

    Returns
    -------
    pandas.DataFrame
        Texts: what was done, what it takes for granted, athletes, mean change, interval.
    """
    said = read_words().part("missing")
    one_squad = table.drop(columns="group", errors="ignore")
    first, second = _values(table, metric, before), _values(table, metric, after)
    paired = len(first.index.intersection(second.index))
    complete = change_within(one_squad, [metric], before=before, after=after, level=level)
    model = change_mixed(one_squad, [metric], order=[before, after], level=level).with_details()
    model_rows = model.rows("mean_change", metric=metric)
    model_rows = model_rows[
        model_rows["estimator"].eq(_MODEL) & model_rows["interval_kind"].eq(_TESTS)
    ]
    shifted = change_if_missing_differ(
        one_squad, metric, before=before, after=after, shifts=(-differ, differ), level=level
    ).rows("mean_change_shifted")
    everybody = len(first.index.union(second.index))
    naive = {"estimate": float(second.mean() - first.mean()), "ci_low": math.nan}
    rows = [
        ("naive", everybody, naive),
        ("complete", paired, complete.rows("mean_change", metric=metric).iloc[0]),
        *(("model", everybody, row) for _, row in model_rows.iterrows()),
        *zip(("less", "more"), (len(first),) * 2, (r for _, r in shifted.iterrows()), strict=False),
    ]
    return pd.DataFrame(
        [
            {
                said["done"]: said[key].format(amount=_amount(differ, metric)),
                said["granted"]: said[f"{key}_granted"],
                said["athletes"]: str(n),
                said["mean_change"]: _interval(
                    row["estimate"], row["ci_low"], row.get("ci_high", math.nan), metric
                ),
            }
            for key, n, row in rows
        ]
    )


def _values(table: pd.DataFrame, metric: str, session: str) -> pd.Series:
    """Return the values of one session by athlete."""
    rows = table[table["session"].astype(str) == session].set_index("athlete")
    return rows[metric].dropna()


def _described(who: str, values: pd.Series, metric: str) -> dict[str, str]:
    said = read_words().part("missing")
    return {
        said["who"]: who,
        said["athletes"]: str(len(values)),
        said["mean"]: _amount(float(values.mean()), metric),
        said["sd"]: _amount(float(values.std(ddof=1)), metric),
    }


def _amount(value: float, metric: str, *, signed: bool = False, with_unit: bool = True) -> str:
    unit: Any = METRICS[metric].unit if metric in METRICS else ""
    return amount(value, unit, signed=signed, with_unit=with_unit)


def _interval(estimate: float, low: float, high: float, metric: str) -> str:
    said = read_words().part("missing")
    text = _amount(float(estimate), metric, signed=True)
    if not math.isfinite(float(low)):
        return text
    ends = (_amount(float(end), metric, signed=True, with_unit=False) for end in (low, high))
    between = f" {said['to']} "
    return f"{text} ({between.join(ends)})"
