"""Where an athlete stands: in this squad, and in a reference that the user supplies.

cmjlab brings no norms: jump values hang on plate, method, sex, age, sport and test wording. A
reference table is the user's own and must name its source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from cmjlab import checks
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.results import Note, Result
from cmjlab.stats.common.intervals import mean_limits, sd_limits
from cmjlab.stats.common.measures import strata
from cmjlab.stats.common.tables import check_table, metric_names, statistics_frame, unit_of
from cmjlab.stats.subgroups.noise import check_session, refuse_infinite

_QUANTILE = re.compile(r"p(\d{1,2}(?:\.\d+)?)")
_PLACES = ("sex", "position", "age_band")


def athlete_standing(
    table: pd.DataFrame,
    metrics: str | Sequence[str],
    *,
    session: str | None = None,
    reference: pd.DataFrame | None = None,
    within: str | Sequence[str] | None = "sex",
    level: float = 0.95,
) -> Result:
    """Return the squad's spread, and each athlete's percentile in squad and reference.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table with roster columns.
    metrics : str or sequence of str
    session : str, optional
        Default the first baseline.
    reference : pandas.DataFrame, optional
        One row per metric (and ``sex``, ``position`` or ``age_band``): ``metric``, ``source``
        and ``mean`` with ``sd``, or quantiles in columns ``p5``, ``p50``, ``p95`` …; quantiles
        count first. Values in the metric's table unit (metres, seconds).
    within : str, sequence of str or None
        Strata of the squad.
    level : float

    Returns
    -------
    Result
        Rows ``squad_mean``, ``squad_sd``, ``squad_percentile`` and ``reference_percentile``;
        ``points["standing"]`` with athlete, metric, value, n and both percentiles.

    Raises
    ------
    StatsError
        Unknown columns, a reference without source, or with falling quantiles.

    Notes
    -----
    A percentile in a squad of n athletes moves in steps of 100 / n. Percentiles outside the
    outermost quantile of a reference are given as that quantile, and the text says so.
    """
    level = checks.level(level)
    data = check_table(table)
    names = metric_names(data, metrics)
    refuse_infinite(data, names)
    chosen = check_session(data, session)
    known = None if reference is None else _checked(reference, names)
    at = data["session"].astype(str) == chosen
    rows: list[dict[str, Any]] = []
    points: list[tuple[Any, ...]] = []
    for name, mask in strata(data, within).items():
        part = data[mask & at]
        for metric in names:
            rows += _spread_rows(part, metric, name, chosen, level)
            found = [_one(part, metric, name, row, known) for row in part.to_dict("records")]
            points += found
            rows += _percentile_rows(found, metric, chosen, known is not None)
    columns = [
        "athlete",
        "stratum",
        "metric",
        "value",
        "n",
        "squad_percentile",
        "reference_percentile",
        "remark",
    ]
    notes = (
        ()
        if known is None
        else (
            Note(
                "reference",
                "Reference: " + "; ".join(dict.fromkeys(known["source"].astype(str))) + ".",
            ),
        )
    )
    return Result(
        "standing",
        statistics_frame(rows),
        points={"standing": pd.DataFrame(points, columns=columns)},
        settings={"session": chosen, "within": within, "level": level},
        notes=notes,
    )  # fmt: skip


def _one(
    part: pd.DataFrame,
    metric: str,
    stratum: str,
    row: dict[Any, Any],
    reference: pd.DataFrame | None,
) -> tuple[Any, ...]:
    """Return one athlete's line: value, n of the stratum, both percentiles, remark."""
    other, remark = _in_reference(reference, metric, row)
    n = int(part[metric].notna().sum())
    place = _percentile(part[metric], row[metric])
    return (str(row["athlete"]), stratum, metric, row[metric], n, place, other, remark)


def _percentile_rows(
    found: list[tuple[Any, ...]], metric: str, session: str, with_reference: bool
) -> list[dict[str, Any]]:
    rows = []
    for athlete, stratum, _, _, n, place, other, remark in found:
        base = {"metric": metric, "athlete": athlete, "session": session, "unit": "%"}
        why = None if np.isfinite(place) else "not estimable: no value"
        rows.append(base | {"statistic": "squad_percentile", "group": stratum, "estimate": place,
                            "n": n, "text": why})  # fmt: skip
        if with_reference:
            rows.append(
                base | {"statistic": "reference_percentile", "estimate": other, "text": remark}
            )
    return rows


def _spread_rows(
    part: pd.DataFrame, metric: str, stratum: str, session: str, level: float
) -> list[dict[str, Any]]:
    values = part[metric].dropna().to_numpy(dtype=float)
    n = len(values)
    base = {"metric": metric, "group": stratum, "session": session, "n": n, "unit": unit_of(metric)}
    if n < 2:
        text = f"not estimable: {n} athlete(s) with a value"
        return [base | {"statistic": s, "text": text} for s in ("squad_mean", "squad_sd")]
    sd = float(values.std(ddof=1))
    low, high = mean_limits(values.mean(), sd / np.sqrt(n), n - 1, level)
    sd_low, sd_high = sd_limits(sd, n - 1, level)
    common = {"level": level, "df": n - 1.0}
    return [
        base | common | {"statistic": "squad_mean", "estimate": float(values.mean()),
                         "ci_low": float(low), "ci_high": float(high), "method": "t"},
        base | common | {"statistic": "squad_sd", "estimate": sd, "ci_low": float(sd_low),
                         "ci_high": float(sd_high), "method": "chi-square"},
    ]  # fmt: skip


def _percentile(squad: pd.Series, value: float) -> float:
    """Return 100 (mean rank - 0.5) / n of a value in its squad."""
    known = squad.dropna().to_numpy(dtype=float)
    if not np.isfinite(value) or not len(known):
        return float("nan")
    rank = (known < value).sum() + ((known == value).sum() + 1) / 2
    return float(100 * (rank - 0.5) / len(known))


def _checked(reference: pd.DataFrame, metrics: Sequence[str]) -> pd.DataFrame:
    for column in ("metric", "source"):
        if column not in reference:
            raise StatsError(
                f"reference: no column {column!r}; columns metric, source and mean with sd (or"
                " quantiles p5, p50, …) are needed."
            )
    strange = [str(m) for m in reference["metric"] if str(m) not in metrics]
    if len(strange) == len(reference):
        raise StatsError(
            f"reference: none of the metrics asked for ({', '.join(metrics)}) is in it.{suggestion(strange[0], metrics)}"
        )
    for number, row in enumerate(reference.to_dict("records"), start=1):
        where = f"reference, row {number} ({row['metric']})"
        if pd.isna(row["source"]) or not str(row["source"]).strip():
            raise StatsError(f"{where}: no source; name where the values come from.")
        quantiles = _quantiles(row)
        has_sd = all(pd.notna(row.get(k)) for k in ("mean", "sd")) and float(row["sd"]) > 0
        if len(quantiles) < 2 and not has_sd:
            raise StatsError(
                f"{where}: mean and a positive sd, or at least two quantiles, are needed."
            )
        if any(b[1] <= a[1] for a, b in zip(quantiles, quantiles[1:], strict=False)):
            raise StatsError(f"{where}: the quantiles do not rise; correct them.")
    return reference


def _quantiles(row: dict[Any, Any]) -> list[tuple[float, float]]:
    found = []
    for name, value in row.items():
        match = _QUANTILE.fullmatch(str(name))
        if match and pd.notna(value):
            found.append((float(match[1]), float(value)))
    return sorted(found)


def _in_reference(
    reference: pd.DataFrame | None, metric: str, row: dict[Any, Any]
) -> tuple[float, str | None]:
    """Return the percentile of one athlete in the reference, and a remark."""
    if reference is None:
        return float("nan"), None
    fitting = [
        r
        for r in reference[reference["metric"] == metric].to_dict("records")
        if all(
            c not in r or pd.isna(r[c]) or str(r[c]) == str(row.get(c)) for c in _PLACES
        )
    ]  # fmt: skip
    if not fitting:
        return float("nan"), f"not estimable: the reference has no row for {metric} of this athlete"
    best = max(fitting, key=lambda r: sum(c in r and pd.notna(r[c]) for c in _PLACES))
    value = row[metric]
    if not np.isfinite(value):
        return float("nan"), "not estimable: no value"
    source = str(best["source"])
    quantiles = _quantiles(best)
    if len(quantiles) < 2:
        z = (value - float(best["mean"])) / float(best["sd"])
        return float(100 * special.ndtr(z)), f"{source}; as a normal distribution"
    at, values = np.array(quantiles).T
    if value < values[0] or value > values[-1]:
        side = f"below {at[0]:g}" if value < values[0] else f"above {at[-1]:g}"
        return float(at[0] if value < values[0] else at[-1]), f"{source}; {side}"
    return float(np.interp(value, values, at)), source
