"""A cut against the line behind it: rows, verdict and sentences of one stratum."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.association.rows import correlation_row
from cmjlab.stats.common.intervals import mean_limits, t_tail
from cmjlab.stats.common.measures import measure_label
from cmjlab.stats.common.tables import unit_of
from cmjlab.units import show

Array = NDArray[np.float64]
#: A difference smaller than this share of the squad's SD separates nothing; our own limit.
SMALL = 0.5
_FEWEST = 6


@dataclass(frozen=True)
class CutPart:
    """Values of one stratum and the cut."""

    name: str
    session: str
    metric: str
    outcome: str
    cut: float
    x: Array
    y: Array


def cut_rows(part: CutPart, level: float) -> tuple[list[dict[str, Any]], str]:
    """Return rows of the regression, of the difference and of the step; and the verdict."""
    base = {"metric": part.outcome, "group": part.name, "session": part.session, "n": len(part.x)}
    why = ""
    if len(part.x) < _FEWEST:
        why = f"{len(part.x)} athletes with both values; {_FEWEST} are needed"
    elif part.x.std() == 0 or part.y.std() == 0:
        why = "no spread"
    if why:
        names = ("outcome_slope", "correlation", "cut_difference", "cut_beyond_line")
        rows = [base | {"statistic": s, "text": f"not estimable: {why}"} for s in names]
        return rows, "cannot tell"
    contrast = f"on {part.metric}"
    unit = f"{unit_of(part.outcome)} per unit" if unit_of(part.outcome) else "per unit"
    line = _regression(np.column_stack([np.ones_like(part.x), part.x]), part.y, 1, level)
    rows = [
        base | {"statistic": "outcome_slope", "contrast": contrast, "unit": unit,
                "method": "least squares"} | line,
        _r_row(base, part, level),
    ]  # fmt: skip
    above = part.x >= part.cut
    label = f"{part.metric} ≥ {part.cut:g} - below"
    difference = base | {"statistic": "cut_difference", "contrast": label, "method": "Welch",
                         "unit": unit_of(part.outcome)}  # fmt: skip
    step = base | {"statistic": "cut_beyond_line", "contrast": label, "method": "least squares",
                   "unit": unit_of(part.outcome)}  # fmt: skip
    sizes = int(above.sum()), int((~above).sum())
    if min(sizes) < 2:
        text = f"not estimable: {sizes[0]} at or above the cut, {sizes[1]} below; 2 each are needed"
        return [*rows, difference | {"text": text}, step | {"text": text}], "cannot tell"
    difference |= _welch(part.y[above], part.y[~above], level)
    design = np.column_stack([np.ones_like(part.x), part.x, above.astype(float)])
    step |= _regression(design, part.y, 2, level)
    return [*rows, difference, step], _verdict(difference, float(part.y.std(ddof=1)))


def _r_row(base: dict[str, Any], part: CutPart, level: float) -> dict[str, Any]:
    r = float(np.corrcoef(part.x, part.y)[0, 1])
    named = base | {
        "statistic": "correlation",
        "contrast": f"with {part.metric}",
        "method": "Pearson",
    }
    return correlation_row(named, r, len(part.x) - 2, len(part.x), level)


def _regression(design: Array, y: Array, column: int, level: float) -> dict[str, Any]:
    """Return one coefficient with its t interval."""
    solution, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    df = len(y) - rank
    if rank < design.shape[1] or df < 1:
        return {"text": "not estimable: cut and measure cannot be told apart here"}
    rest = y - design @ solution
    variance = float(rest @ rest) / df
    se = float(np.sqrt(variance * np.linalg.inv(design.T @ design)[column, column]))
    return _estimate(float(solution[column]), se, float(df), level)


def _welch(first: Array, second: Array, level: float) -> dict[str, Any]:
    """Return the difference of two means with Welch's t interval."""
    parts = np.array([first.var(ddof=1) / len(first), second.var(ddof=1) / len(second)])
    se = float(np.sqrt(parts.sum()))
    df = float(parts.sum() ** 2 / (parts**2 / [len(first) - 1, len(second) - 1]).sum())
    return _estimate(float(first.mean() - second.mean()), se, df, level)


def _estimate(value: float, se: float, df: float, level: float) -> dict[str, Any]:
    low, high = mean_limits(value, se, df, level)
    t = value / se if se > 0 else np.inf
    return {
        "estimate": value, "ci_low": float(low), "ci_high": float(high), "level": level, "df": df,
        "se": se, "test_value": float(t), "p": float(t_tail(abs(t), df)),
    }  # fmt: skip


def _verdict(row: dict[str, Any], sd: float) -> str:
    low, high = row["ci_low"], row["ci_high"]
    if low > 0 or high < 0:
        return "supported"
    return "not supported" if max(-low, high) < SMALL * sd else "cannot tell"


def cut_sentences(part: CutPart, rows: list[dict[str, Any]], verdict: str) -> list[str]:
    """Return what the scatter, the difference and the step say, in words."""
    found = {r["statistic"]: r for r in rows}
    who = "" if part.name == "all" else f" ({part.name})"
    outcome = measure_label(part.outcome)
    unit = unit_of(part.outcome)
    difference = found["cut_difference"]
    if "estimate" not in difference:
        return [f"{outcome}{who}: {difference['text']}."]

    def amount(row: dict[str, Any]) -> str:
        limits = [show(row[k], unit, with_unit=False) for k in ("ci_low", "ci_high")]
        return f"{show(row['estimate'], unit)} ({limits[0]} to {limits[1]})".replace("-", "−")

    name = measure_label(part.metric)
    name = name[0].lower() + name[1:]
    verdicts = {
        "supported": f"the cut separates {outcome[0].lower()}{outcome[1:]} in this squad",
        "not supported": "a split at this cut is not supported in this squad: the interval holds no"
        f" difference as large as {SMALL:g} SD of the squad",
        "cannot tell": f"whether the cut separates them cannot be told from {len(part.x)} athletes",
    }
    out = [
        f"{outcome}{who} at or above {name} {part.cut:g} less below: {amount(difference)}:"
        f" {verdicts[verdict]}."
    ]
    r, step = found["correlation"], found["cut_beyond_line"]
    if "estimate" in r:
        out.append(
            f"Correlation of {outcome[0].lower()}{outcome[1:]} with {name}{who}: {r['estimate']:.2f}"
            f" ({r['ci_low']:.2f} to {r['ci_high']:.2f}), n = {r['n']}.".replace("-0", "−0")
        )
    if "estimate" in step:
        adds = step["ci_low"] > 0 or step["ci_high"] < 0
        says = (
            "the cut adds something to the line"
            if adds
            else "the cut adds nothing that can be seen"
        )
        out.append(f"Beyond the straight line the cut adds {amount(step)}: {says}.")
    return out
