"""From numbers to the words of a table cell; one place for rounding."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.plots.labels import level_words, metric_label, metric_unit, value_text
from cmjlab.results import Reason, stored_reason
from cmjlab.words.catalog import Words
from cmjlab.words.fill import MINUS

#: Keeps an interval on one line; a cell breaks between estimate and interval.
NBSP = "\u00a0"
_KEY = re.compile(r"\b(?:" + "|".join(sorted(METRICS, key=len, reverse=True)) + r")\b")


@dataclass(frozen=True)
class Estimate:
    """An estimate with its interval and n, in the table's unit of a metric.

    Attributes
    ----------
    reason : Reason or None
        Why there is no number or no interval.
    remark : Reason or None
        What to know about the number.
    """

    metric: str
    estimate: float
    low: float
    high: float
    n: int
    reason: Reason | None = None
    remark: Reason | None = None

    @property
    def is_known(self) -> bool:
        """Whether there is a number."""
        return math.isfinite(self.estimate)

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
        stored_reason(row),
        stored_reason(row, "remark_code"),
    )


def _float(value: Any) -> float:
    return float(value) if pd.notna(value) else math.nan


def label_with_unit(words: Words, metric: str) -> str:
    """Return the words for a measure with its unit, as the first column of a table."""
    unit = metric_unit(metric)
    if not unit:
        return words.label(metric)
    return words.say("cell.with_unit", metric=metric, shown_unit=unit)


def title_with_unit(words: Words, key: str, metric: str, **values: Any) -> str:
    """Return the title of a table of one measure, with its unit where it has one."""
    unit = metric_unit(metric)
    if not unit:
        return words.say(f"{key}_without_unit", metric=metric, **values)
    return words.say(key, metric=metric, shown_unit=unit, **values)


def number_text(metric: str, value: float, *, signed: bool = False, extra: int = 0) -> str:
    """Return a value without its unit."""
    text = value_text(metric, value, signed=signed, extra_decimals=extra)
    unit = metric_unit(metric)
    return text.removesuffix(f" {unit}") if unit else text


def cell(words: Words, e: Estimate, *, signed: bool = False, extra: int = 0) -> str:
    """Return ``+1.9 (0.8 to 3.0)``, or "not estimable" (the reason goes below the table)."""
    texts = [number_text(e.metric, v, signed=signed, extra=extra) for v in (e.estimate, e.low, e.high)]  # fmt: skip
    return _cell(words, e, texts)


def unitless_cell(words: Words, e: Estimate, decimals: int) -> str:
    """Return estimate and interval of a statistic without the metric's unit (ICC, percent)."""
    texts = [
        f"{v:.{decimals}f}".replace("-", MINUS) if math.isfinite(v) else "–"
        for v in (e.estimate, e.low, e.high)
    ]
    return _cell(words, e, texts)


def _cell(words: Words, e: Estimate, texts: list[str]) -> str:
    if not e.is_known:
        return words.say("cell.not_estimable") if e.reason else "–"
    if e.has_interval:
        estimate, low, high = texts
        text = words.say("cell.estimate", estimate="\0", low=low, high=high)
        return text.replace(" ", NBSP).replace(f"\0{NBSP}", f"{estimate} ")
    if e.reason is None:
        return texts[0]
    return words.say("cell.with_remark", estimate=texts[0], remark=words.phrase(e.reason))


def missing_reasons(words: Words, estimates: Iterable[Estimate]) -> str:
    """Return why numbers of a table are missing, each reason once, as one text."""
    reasons = [words.phrase(e.reason) for e in estimates if e.reason and not e.is_known]
    said = [words.say("table.not_estimable", why=why) for why in dict.fromkeys(reasons)]
    return "; ".join(said)


def with_labels(text: str) -> str:
    """Return the text of an error with keys of measures replaced by their labels."""
    return _KEY.sub(lambda found: metric_label(found.group()), text)


def declared_change(amounts: Mapping[str, float], metric: str) -> float | None:
    """Return the declared change that matters, in the metric's table unit, or None."""
    value = amounts.get(metric)
    return float(value) if value is not None and value > 0 else None


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
