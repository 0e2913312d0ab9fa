"""Words and units of metrics on a figure, always taken from the catalog."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from cmjlab.catalog import METRICS
from cmjlab.errors import ArgumentError
from cmjlab.plots.style import axis_label
from cmjlab.results import Result
from cmjlab.units import show, shown_unit, to_shown


def metric_label(metric: str) -> str:
    """Return the words for a metric; a user's own column keeps its name, in words.

    Parameters
    ----------
    metric : str
        Key of the catalog, or a column of the user's own.

    Returns
    -------
    str

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.plots.metric_label("jump_height_m")
    'Jump height (take-off velocity)'
    """
    return METRICS[metric].label if metric in METRICS else metric.replace("_", " ")


def metric_unit(metric: str) -> str:
    """Return the unit in which a figure shows this metric."""
    return shown_unit(METRICS[metric].unit) if metric in METRICS else ""


def shown(metric: str, values: ArrayLike) -> NDArray[np.float64]:
    """Return values converted from the table's unit to the unit of the figure."""
    factor = to_shown(1.0, METRICS[metric].unit) if metric in METRICS else 1.0
    return np.asarray(values, dtype=np.float64) * factor


def value_text(metric: str, value: float, *, signed: bool = False, extra_decimals: int = 0) -> str:
    """Return one value with its unit as a person reads it.

    Parameters
    ----------
    metric : str
        Key of the catalog, or a column of the user's own.
    value : float
        In the table's unit.
    signed : bool
        Write a plus before a value above zero.
    extra_decimals : int
        Decimals beyond the usual ones.

    Returns
    -------
    str

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.plots.value_text("jump_height_m", 0.3412)
    '34.1 cm'
    """
    if metric in METRICS:
        text = show(value, METRICS[metric].unit, extra_decimals=extra_decimals)
    else:
        text = f"{value:.4g}" if math.isfinite(value) else "–"
    if text.startswith("-"):
        return "−" + text[1:]
    rises = signed and value > 0 and text[:1].isdigit() and float(text.split(" ")[0]) > 0
    return f"+{text}" if rises else text


def right_share(asymmetry: float, formula: str = "share_difference") -> float:
    """Return the right limb's share of both in percent, from an asymmetry in percent.

    Parameters
    ----------
    asymmetry : float
        Percent, + = right larger.
    formula : str
        ``Method.asymmetry``; each published formula is solved for R / (R + L).
    """
    a = asymmetry / 100.0
    larger = "right_reference" if a >= 0.0 else "left_reference"
    kind = larger if formula == "larger_limb" else formula
    if kind == "symmetry_index":
        return 50.0 + asymmetry / 4.0
    if kind == "right_reference":
        return 100.0 / (2.0 - a)
    if kind == "left_reference":
        return 100.0 * (1.0 + a) / (2.0 + a)
    if kind == "symmetry_angle":
        return 100.0 / (1.0 + math.tan(math.radians(45.0 - 90.0 * a)))
    return 50.0 + asymmetry / 2.0


def level_words(metric: str, value: float, *, formula: str = "share_difference") -> str:
    """Return a value (not a change) as a person reads it; an asymmetry as both limbs' shares.

    Examples
    --------
    >>> level_words("mean_braking_force_asymmetry_percent", 5.2)
    'right 52.6 %, left 47.4 %'
    """
    if not metric.endswith("_asymmetry_percent") or not math.isfinite(value):
        return value_text(metric, value)
    right = round(right_share(value, formula), 1)
    return f"right {right:.1f} %, left {100.0 - right:.1f} %"


def interval_words(
    metric: str, row: pd.Series, *, signed: bool = False, extra_decimals: int = 0
) -> str:
    """Return estimate and interval of one row: ``+1.9 cm (95 % interval 0.8 to 3.0)``."""
    estimate = value_text(
        metric, float(row["estimate"]), signed=signed, extra_decimals=extra_decimals
    )
    low, high = float(row["ci_low"]), float(row["ci_high"])
    if not (math.isfinite(low) and math.isfinite(high)):
        return f"{estimate} (no interval)"
    unit = metric_unit(metric)
    limits = [
        value_text(metric, v, extra_decimals=extra_decimals).removesuffix(
            f" {unit}" if unit else ""
        )
        for v in (low, high)
    ]
    return f"{estimate} ({100 * float(row['level']):g} % interval {limits[0]} to {limits[1]})"


def metric_axis(metric: str, n: int | None = None, *, change: bool = False) -> str:
    """Return the axis label of a metric or of its change, with unit and n."""
    label = metric_label(metric)
    if change:
        label = f"Change in {label[0].lower() + label[1:] if label[1:2].islower() else label}"
    side = ", + = right" if metric.endswith("_asymmetry_percent") else ""
    return axis_label(label, metric_unit(metric) + side, n)


def metric_or_first(result: Result, metric: str | None) -> str:
    """Return the metric asked for, else the first of the result.

    Raises
    ------
    ArgumentError
        The result has no such metric.
    """
    names = list(dict.fromkeys(result.table["metric"].astype(str)))
    if metric is None:
        return names[0]
    if metric not in names:
        raise ArgumentError(f"metric: {metric!r} is not in this result; it has {', '.join(names)}.")
    return metric


def points(result: Result, name: str, metric: str | None = None) -> pd.DataFrame:
    """Return the tidy data behind a figure.

    Raises
    ------
    ArgumentError
        The result carries no data of this name.
    """
    if name not in result.points:
        have = ", ".join(result.points) or "none"
        raise ArgumentError(
            f"result: a {result.kind} result without the data {name!r} (it has {have});"
            " this figure cannot be drawn from it."
        )
    frame = result.points[name]
    return frame[frame["metric"] == metric] if metric is not None else frame


def amount_that_matters(amount: Any, metric: str) -> float | None:
    """Return the change that matters for a metric, in the figure's unit; None when not declared."""
    if amount is None:
        return None
    value = amount.get(metric) if hasattr(amount, "get") else amount
    if value is None or not float(value) > 0:
        return None
    return float(shown(metric, float(value)))
