"""Sentences about changes: which words fit which numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from cmjlab.results import Sentence
from cmjlab.stats.change.along_baseline import Along, along_sentence, slopes_differ
from cmjlab.stats.change.comparison import Comparison
from cmjlab.stats.change.design import Contrast
from cmjlab.stats.change.pairs import Pairs, Prepared
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.verdicts import change_says, difference_says, estimate_says


def paired_sentence(rows: Rows, metric: str, group: str, prepared: Prepared) -> Sentence:
    """Return the mean change of one metric in one group ("" for everybody)."""
    where = {"metric": metric, "group": group or None}
    mean = _row(rows, "mean_change", where)
    values = {"before": prepared.before, "after": prepared.after, "change": estimate_says(mean)}
    if not np.isfinite(mean["ci_low"]):
        return Sentence("change.mean_without_interval", metric, group, values)
    without = _row(rows, "leave_one_out_range", where)
    values |= {
        "n": int(mean["n"]),
        "says": change_says(mean["ci_low"], mean["ci_high"]),
        "low_without_one": float(without["ci_low"]),
        "high_without_one": float(without["ci_high"]),
    }
    return Sentence("change.mean", metric, group, values)


def between_sentences(
    found: Comparison, pairs: Pairs, contrasts: list[Contrast], prepared: Prepared
) -> list[Sentence]:
    """Return one sentence per contrast; a conditional one where the baseline slopes differ."""
    out = []
    lines = {line.contrast: line for line in found.lines}
    for contrast in contrasts:
        plain = _contrast_sentence(found, pairs, contrast, prepared)
        line = lines.get(contrast)
        # One number does not stand for everybody where the difference depends on the baseline.
        if line is None or found.leading != "adjusted_difference":
            out.append(plain)
        if line is not None and found.leading != "change_difference":
            out.append(_conditional(found, line, plain.values))
    return out


def _conditional(found: Comparison, line: Along, values: Mapping[str, Any]) -> Sentence:
    """Return the difference at several baselines, and where it is clear."""
    names = ("before", "after", "first", "second", "n_first", "n_second")
    shared = {name: values[name] for name in names} | (slopes_differ(found.rows) or {})
    row = found.rows.first("difference_along_baseline")
    unit = row["unit"] if row else ""
    return along_sentence(found.pairs.metric, line, found.rows.level, {**shared, "unit": unit})


def _contrast_sentence(
    found: Comparison, pairs: Pairs, contrast: Contrast, prepared: Prepared
) -> Sentence:
    where = {"metric": pairs.metric, "first": contrast[0], "second": contrast[1]}
    adjusted, change = (
        _row(found.rows, s, where) for s in ("adjusted_difference", "change_difference")
    )
    sizes = [int((pairs.group == g).sum()) for g in contrast]
    values: dict[str, Any] = {
        "before": prepared.before,
        "after": prepared.after,
        "first": contrast[0],
        "second": contrast[1],
        "n_first": sizes[0],
        "n_second": sizes[1],
        "adjusted": estimate_says(adjusted),
        "change": estimate_says(change),
    }
    if not found.leading:
        return Sentence("change.neither_leads", pairs.metric, values=values)
    leader = adjusted if found.leading == "adjusted_difference" else change
    if not np.isfinite(leader["ci_low"]):
        return Sentence(f"change.{found.leading}_without_interval", pairs.metric, values=values)
    values["says"] = difference_says(leader["ci_low"], leader["ci_high"], *contrast)
    return Sentence(f"change.{found.leading}", pairs.metric, values=values)


def drift_sentence(
    rows: Rows, metric: str, group: str, observed: Mapping[str, float | str]
) -> Sentence:
    """Return start, both parts of the drift, observed change and remainder of a chosen group.

    Parameters
    ----------
    rows : Rows
    metric, group : str
    observed : mapping
        ``session`` of the selection, ``baseline``, ``after``, the ``gap`` to the squad's mean at
        the start, and the ``change`` that was observed since.
    """
    where = {"metric": metric, "group": group}
    parts = {
        name: float(_row(rows, statistic, where)["estimate"])
        for name, statistic in (("towards", "drift_towards_squad"), ("shift", "squad_shift"))
    }
    clean = _row(rows, "change_beyond_drift", {**where, "estimator": "clean_change"})
    fitted = {**where, "estimator": "second_baseline_on_selectors"}
    known = bool(np.isfinite(clean["ci_low"]))
    beyond = clean if known else _row(rows, "change_beyond_drift", fitted)
    values = {
        **observed,
        **parts,
        "beyond": estimate_says(beyond),
    }
    return Sentence(f"change.drift_{'clean' if known else 'fitted'}", metric, group, values)


def outside_drift_sentence(rows: Rows, metric: str, group: str, gap: float) -> Sentence:
    """Return start and drift of a chosen group over the interval of a slope from elsewhere."""
    middle, *ends = (
        float(row["estimate"]) for row in rows.records("drift_expected", metric=metric, group=group)
    )
    values = {"gap": gap, "drift": middle, "low": min(ends), "high": max(ends)}
    return Sentence("change.drift_outside", metric, group, values)


def _row(rows: Rows, statistic: str, where: Mapping[str, Any]) -> dict[str, Any]:
    """Return the first row of a statistic in a place, which must be there."""
    row = rows.first(statistic, **where)
    if row is None:
        raise KeyError(f"no row {statistic} for {where}")
    return row
