"""Where an athlete stands: in this squad, and in a reference that the user supplies.

cmjlab brings no norms: jump values hang on plate, method, sex, age, sport and test wording. A
reference table is the user's own and must name its source.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from cmjlab import checks
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result
from cmjlab.stats.common.intervals import mean_limits, sd_limits
from cmjlab.stats.common.measures import explanations, strata
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.tables import check_table, metric_names, refuse_infinite, refuse_no_table
from cmjlab.stats.subgroups.noise import check_session

Array = NDArray[np.float64]

#: Columns of the points.
_COLUMNS = [
    "athlete", "stratum", "metric", "value", "n", "squad_percentile", "reference_percentile",
    "source", "remark_code", "word_values",
]  # fmt: skip
_QUANTILE = re.compile(r"p(\d{1,2}(?:\.\d+)?)")
_PLACES = ("sex", "position", "age_band")


@dataclass(frozen=True)
class InReference:
    """A percentile in the reference with where it comes from, or why there is none."""

    percentile: float = float("nan")
    remark: Reason | None = None
    reason: Reason | None = None

    @property
    def source(self) -> str:
        """Where the reference comes from."""
        return str(self.remark.values["source"]) if self.remark else ""


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
        ``points["standing"]`` with athlete, metric, value, n, both percentiles and the
        ``source`` of the reference. ``settings["sources"]`` names every source.

    Raises
    ------
    StatsError
        Unknown columns, a reference without source, or with falling quantiles.

    Notes
    -----
    A percentile in a squad of n athletes moves in steps of 100 / n. Percentiles outside the
    outermost quantile of a reference are given as that quantile, and the remark says so.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> standing = cj.athlete_standing(table, "jump_height_m", session="base1", within=None)
    >>> round(standing.value("squad_percentile", athlete="A01"))
    38
    """
    level = checks.level(level)
    data = check_table(table)
    names = metric_names(data, metrics)
    refuse_infinite(data, names)
    chosen = check_session(data, session)
    known = None if reference is None else checked_reference(reference, names)
    at = data["session"].astype(str) == chosen
    rows = Rows(level=level)
    points: list[pd.DataFrame] = []
    for name, mask in strata(data, within).items():
        part = data[mask & at]
        for metric in names:
            _add_spread(rows.at(metric=metric, group=name, session=chosen), part[metric])
            if len(part):
                points.append(_add_percentiles(rows, part, metric, (name, chosen), known))
    sources = [] if known is None else list(dict.fromkeys(known["source"].astype(str)))
    notes = [Note("reference", {"sources": sources})] if sources else []
    return Result(
        "standing",
        rows.frame(),
        points={
            "standing": pd.concat(points, ignore_index=True)
            if points
            else pd.DataFrame(columns=_COLUMNS)
        },
        settings={"session": chosen, "within": within, "level": level, "sources": sources},
        notes=(*notes, *explanations(names)),
    )


def _add_percentiles(
    rows: Rows,
    part: pd.DataFrame,
    metric: str,
    where: tuple[str, str],
    reference: pd.DataFrame | None,
) -> pd.DataFrame:
    """Add both percentiles of the athletes of one stratum; return the points."""
    stratum, session = where
    values = part[metric].to_numpy(dtype=float, na_value=np.nan)
    athletes, n = list(part["athlete"].astype(str)), int(np.isfinite(values).sum())
    squad = percentiles(values)
    here = rows.at(metric=metric, athlete=athletes, session=session)
    here.at(group=stratum, n=n).add("squad_percentile", squad, reason=Reason("no_value_here"))
    places = places_in_reference(reference, metric, part)
    if reference is not None:
        here.add(
            "reference_percentile",
            [p.percentile for p in places],
            reason=[p.reason for p in places],
            remark=[p.remark for p in places],
        )
    return pd.DataFrame({
        "athlete": athletes, "stratum": stratum, "metric": metric, "value": values, "n": n,
        "squad_percentile": squad, "reference_percentile": [p.percentile for p in places],
        "source": [p.source for p in places],
        "remark_code": [p.remark.code if p.remark else "" for p in places],
        "word_values": [json.dumps(p.remark.values) if p.remark else "" for p in places],
    })  # fmt: skip


def _add_spread(place: Place, column: pd.Series) -> None:
    """Add mean and SD of one stratum of the squad."""
    values = column.dropna().to_numpy(dtype=float)
    n = len(values)
    here = place.at(n=n)
    if n < 2:
        for statistic in ("squad_mean", "squad_sd"):
            here.none(statistic, Reason("few_with_value", {"n": n}))
        return
    sd = float(values.std(ddof=1))
    mean = mean_limits(values.mean(), sd / np.sqrt(n), n - 1, place.level)
    here.add("squad_mean", values.mean(), limits=mean, df=n - 1, interval_kind="t")
    limits = sd_limits(sd, n - 1, place.level)
    here.add("squad_sd", sd, limits=limits, df=n - 1, interval_kind="chi_square")


def percentiles(values: Array) -> Array:
    """Return 100 (mean rank - 0.5) / n of every value in its squad; nan where there is none."""
    known = np.sort(values[np.isfinite(values)])
    below, up_to = (np.searchsorted(known, values, side=side) for side in ("left", "right"))
    rank = below + (up_to - below + 1) / 2
    place = 100 * (rank - 0.5) / max(len(known), 1)
    return np.asarray(np.where(np.isfinite(values), place, np.nan))


def checked_reference(reference: pd.DataFrame, metrics: Sequence[str]) -> pd.DataFrame:
    """Return a reference table that can be used.

    Raises
    ------
    StatsError
        Names the row, what is missing and what to do.
    """
    refuse_no_table("reference", reference)
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


def places_in_reference(
    reference: pd.DataFrame | None, metric: str, rows: pd.DataFrame
) -> list[InReference]:
    """Return where every athlete of some rows stands in the reference."""
    if reference is None:
        return [InReference()] * len(rows)
    needed = [c for c in dict.fromkeys((metric, *_PLACES)) if c in rows]
    return [in_reference(reference, metric, row) for row in rows[needed].to_dict("records")]


def in_reference(reference: pd.DataFrame, metric: str, row: dict[Any, Any]) -> InReference:
    """Return where one athlete stands in the reference."""
    fitting = [
        r
        for r in reference[reference["metric"] == metric].to_dict("records")
        if all(
            c not in r or pd.isna(r[c]) or str(r[c]) == str(row.get(c)) for c in _PLACES
        )
    ]  # fmt: skip
    if not fitting:
        return InReference(reason=Reason("no_row_of_reference"))
    best = max(fitting, key=lambda r: sum(c in r and pd.notna(r[c]) for c in _PLACES))
    value = row[metric]
    if not np.isfinite(value):
        return InReference(reason=Reason("no_value_here"))
    source = {"source": str(best["source"])}
    quantiles = _quantiles(best)
    if len(quantiles) < 2:
        z = (value - float(best["mean"])) / float(best["sd"])
        share = 100 * special.ndtr(z)
        return InReference(float(share), Reason("reference_as_normal", source))
    at, values = np.array(quantiles).T
    found = float(np.interp(value, values, at))  # np.interp holds the outermost quantile
    side = "below" if value < values[0] else "above" if value > values[-1] else "within"
    edge = {} if side == "within" else {"percentile": found}
    return InReference(found, Reason(f"reference_{side}", {**source, **edge}))
