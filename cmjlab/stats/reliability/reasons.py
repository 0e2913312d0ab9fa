"""Why a number, an interval or a percentage cannot be had, per metric."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from cmjlab.catalog import METRICS
from cmjlab.results import Reason
from cmjlab.stats.common.mean_squares import Array
from cmjlab.stats.reliability.data import Cube
from cmjlab.stats.reliability.missing import IntraBlock

#: One reason per metric, None where there is nothing in the way.
Why = list[Reason | None]

NOISE_ZERO = Reason("noise_zero")
NOT_SEPARABLE = Reason("not_separable")


def reasons_where(mask: Iterable[bool], yes: Reason | None, no: Reason | None = None) -> Why:
    """Return one of two reasons per metric."""
    return [yes if m else no for m in mask]


def first_of(*reasons: Sequence[Reason | None]) -> Why:
    """Return per metric the first reason that there is."""
    return [next((r for r in each if r is not None), None) for each in zip(*reasons, strict=True)]


def by_reason(
    metrics: Sequence[str], reasons: Sequence[Reason | None]
) -> list[tuple[Reason, list[str]]]:
    """Return each different reason with its metrics, in order of first appearance."""
    out: list[tuple[Reason, list[str]]] = []
    for metric, reason in zip(metrics, reasons, strict=True):
        if reason is None:
            continue
        same = next((names for known, names in out if known == reason), None)
        if same is None:
            out.append((reason, [metric]))
        else:
            same.append(metric)
    return out


def value_reasons(data: Cube) -> Why:
    """Return per metric why no comparison of sessions is possible at all."""
    out: Why = []
    for metric, values in zip(data.metrics, data.values, strict=True):
        there = values[np.isfinite(values)]
        if not there.size:
            out.append(Reason("no_values"))
        elif data.k < 2:
            out.append(Reason("one_session_only", {"session": data.sessions[0]}))
        elif there.min() == there.max():
            values_of_gaps = {"metric": metric, "n": int(there.size), "value": float(there[0])}
            out.append(Reason("all_equal", values_of_gaps))
        else:
            out.append(None)
    return out


def data_reasons(data: Cube, block: IntraBlock) -> Why:
    """Return per metric why nothing can be said about noise."""
    few = [
        None if df > 0 else Reason("few_with_two", {"n": int(n), "needed": 2})
        for n, df in zip(block.n, block.df, strict=True)
    ]
    return first_of(value_reasons(data), few)


def few_complete(n: Array) -> Why:
    """Return per metric that fewer than two athletes have every session."""
    return [None if x >= 2 else Reason("few_complete", {"n": int(x), "needed": 2}) for x in n]


def percent_reasons(data: Cube, *, of_size: bool = False) -> Why:
    """Return per metric why logs, percent and CV have no meaning.

    They need a metric that is declared ratio scale (a user's own column counts as such) and
    values that are all positive.

    Parameters
    ----------
    data : Cube
    of_size : bool
        A percentage of the size is asked for (a CV, which relates to |mean|): values that are
        all below zero do as well.
    """
    out: Why = []
    below_zero = all_below_zero(data)
    for i, metric in enumerate(data.metrics):
        declared = METRICS[metric].ratio_scale if metric in METRICS else True
        if not declared:
            out.append(Reason("no_true_zero"))
        elif (data.values[i] <= 0).any() and not (of_size and below_zero[i]):
            out.append(Reason("not_all_positive"))
        else:
            out.append(None)
    return out


def all_below_zero(data: Cube) -> list[bool]:
    """Return per metric whether there are values and all of them lie below zero."""
    there = np.isfinite(data.values)
    below = np.asarray(np.where(there, data.values < 0, True).all(axis=(1, 2)))
    return [bool(b) for b in below & there.any(axis=(1, 2))]
