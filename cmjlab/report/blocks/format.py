"""From numbers to the words of a table cell or a sentence; one place for rounding."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.plots.labels import level_words, metric_label, metric_unit, value_text
from cmjlab.words.catalog import Words

#: Keeps an interval on one line; a cell breaks between estimate and interval.
NBSP = "\u00a0"
_KEY = re.compile(r"\b(?:" + "|".join(sorted(METRICS, key=len, reverse=True)) + r")\b")


@dataclass(frozen=True)
class Estimate:
    """An estimate with its interval and n, in the table's unit of a metric."""

    metric: str
    estimate: float
    low: float
    high: float
    n: int
    text: str = ""

    @property
    def has_interval(self) -> bool:
        """Whether both limits are numbers."""
        return math.isfinite(self.low) and math.isfinite(self.high)


def estimate_of(row: pd.Series) -> Estimate:
    """Return one row of a statistics table as an estimate."""
    return Estimate(
        str(row["metric"]),
        _float(row["estimate"]),
        _float(row["ci_low"]),
        _float(row["ci_high"]),
        int(row["n"]) if pd.notna(row["n"]) else 0,
        str(row["text"]) if pd.notna(row["text"]) else "",
    )


def _float(value: Any) -> float:
    return float(value) if pd.notna(value) else math.nan


def percent_text(level: float) -> str:
    """Return a level as text: 0.95 as "95 %"."""
    return f"{100 * level:g} %"


def label_with_unit(metric: str) -> str:
    """Return the words for a measure with its unit, as a table's first column."""
    unit = metric_unit(metric)
    return f"{metric_label(metric)} ({unit})" if unit else metric_label(metric)


def number_text(metric: str, value: float, *, signed: bool = False, extra: int = 0) -> str:
    """Return a value without its unit."""
    text = value_text(metric, value, signed=signed, extra_decimals=extra)
    unit = metric_unit(metric)
    return text.removesuffix(f" {unit}") if unit else text


def with_interval(s: Estimate, *, signed: bool = False, extra: int = 0) -> str:
    """Return ``+1.9 (0.8 to 3.0)``, or "not estimable" (the reason goes below the table)."""
    if not math.isfinite(s.estimate):
        return s.text.split(":", 1)[0] or "–"
    value = number_text(s.metric, s.estimate, signed=signed, extra=extra)
    if not s.has_interval:
        return f"{value} ({s.text})" if s.text else value
    low, high = (number_text(s.metric, v, signed=signed, extra=extra) for v in (s.low, s.high))
    return f"{value} ({low}{NBSP}to{NBSP}{high})"


def unitless_interval(row: pd.Series, decimals: int = 2) -> str:
    """Return estimate and interval of a statistic that has no unit of its own (ICC, percent)."""
    estimate = _float(row["estimate"])
    if not math.isfinite(estimate):
        return str(row["text"]).split(":", 1)[0] if pd.notna(row["text"]) else "–"
    low, high = _float(row["ci_low"]), _float(row["ci_high"])
    text = f"{estimate:.{decimals}f}"
    if math.isfinite(low) and math.isfinite(high):
        text += f" ({low:.{decimals}f}{NBSP}to{NBSP}{high:.{decimals}f})"
    return text.replace("-", "−")


def missing_reasons(rows: pd.DataFrame) -> str:
    """Return the reasons of rows that are not estimable, each once, as one text."""
    missing = rows[rows["estimate"].isna() & rows["text"].notna()]
    return with_labels("; ".join(dict.fromkeys(missing["text"].astype(str))))


def with_labels(text: str) -> str:
    """Return a text with measure keys replaced by their labels, for a person to read."""
    return _KEY.sub(lambda found: metric_label(found.group()), text)


def declared_change(amounts: dict[str, float], metric: str) -> float | None:
    """Return the declared change that matters, in the metric's table unit, or None."""
    value = amounts.get(metric)
    return float(value) if value is not None and value > 0 else None


def interval_verdict(words: Words, s: Estimate, matters: float | None) -> str:
    """Return what the interval says about the change that matters; the interval decides."""
    if not s.has_interval:
        return words.say("coach.verdict_none")
    if matters is None:
        key = "up_only" if s.low > 0 else "down_only" if s.high < 0 else "open"
        key = "open_one" if key == "open" and s.n == 1 else key
        return words.say(f"coach.verdict_{key}", n=s.n)
    amount = value_text(s.metric, matters)
    if s.low > matters:
        key = "above"
    elif s.high < -matters:
        key = "below"
    elif s.low > -matters and s.high < matters:
        key = "inside"
    elif s.low > 0:
        key = "up"
    elif s.high < 0:
        key = "down"
    else:
        key = "open" if s.n != 1 else "open_one"
    return words.say(f"coach.verdict_{key}", matters=amount, n=s.n)


def mean_text(metric: str, values: pd.Series, *, formula: str = "share_difference") -> str:
    """Return the mean of values in the unit and decimals a person reads, without unit.

    An asymmetry is given as both limbs' shares; ``formula`` is ``Method.asymmetry``.
    """
    finite = values.dropna()
    if not len(finite):
        return "–"
    mean = float(finite.mean())
    if metric.endswith("_asymmetry_percent"):
        return level_words(metric, mean, formula=formula)
    return number_text(metric, mean)
