"""The difference between two groups along the baseline, where its lines are not parallel.

When the later values rise with the earlier ones differently in two groups, one difference "at
equal baseline" stands for nobody in particular. Here it is given at the quartiles of the baseline,
with a band that holds at all baselines at once, and with the region in which the band leaves out
zero (Johnson & Neyman 1936, Stat Res Mem 1:57; the simultaneous form after Potthoff 1964,
Psychometrika 29:241; both from memory). The difference is a line in the baseline, so that the band
is that of Working & Hotelling: √(2 F(2, df)) standard errors.

Only the range in which both groups have athletes is spoken of. The model that leads is not
changed for the test of slopes; these rows stand beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Case, Reason, Sentence
from cmjlab.stats.change.adjusted import Ancova, explains_all
from cmjlab.stats.change.design import Contrast, slope_design
from cmjlab.stats.common.intervals import f_quantile
from cmjlab.stats.common.least_squares import LeastSquares, least_squares
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.verdicts import estimate_says

Array = NDArray[np.float64]

#: Slopes are spoken of as different below this p; no model is chosen by it.
SLOPES_DIFFER = 0.05
#: Points of the band behind the figure.
_GRID = 61
_BAND = "working_hotelling"


@dataclass(frozen=True)
class Along:
    """The difference of two groups as a line in the baseline, in the metric's unit.

    Attributes
    ----------
    contrast : (group, group)
    coefficients : array, shape (2,)
        Difference at baseline 0, and per unit of baseline.
    covariance : array, shape (2, 2)
    multiplier : float
        Standard errors of the band.
    df : int
    low, high : float
        Range of baselines that both groups have.
    baselines : array, shape (n,)
        Baselines of both groups within that range.
    """

    contrast: Contrast
    coefficients: Array
    covariance: Array
    multiplier: float
    df: int
    low: float
    high: float
    baselines: Array

    def at(self, x: Array) -> tuple[Array, Array]:
        """Return the difference and its standard error at baselines ``x``."""
        points = np.stack([np.ones_like(x), x])
        variance = np.einsum("i...,ij,j...->...", points, self.covariance, points)
        return np.asarray(self.coefficients @ points), np.sqrt(variance)

    def clear(self, x: float) -> bool:
        """Return whether the band leaves out zero at a baseline."""
        estimate, se = self.at(np.array([x]))
        return bool(abs(estimate[0]) > self.multiplier * se[0])

    def region(self) -> tuple[str, tuple[float, ...]]:
        """Return where the difference is clear within the common range, and the limits.

        "everywhere", "nowhere", "above" (x), "below" (x), "between" (x, x) or "outside" (x, x).
        """
        limits = self._limits()
        edges = [self.low, *limits, self.high]
        inside = [self.clear((a + b) / 2) for a, b in zip(edges[:-1], edges[1:], strict=True)]
        kind = {
            (True,): "everywhere", (False,): "nowhere", (False, True): "above",
            (True, False): "below", (False, True, False): "between", (True, False, True): "outside",
        }[tuple(inside)]  # fmt: skip
        return kind, limits

    def _limits(self) -> tuple[float, ...]:
        """Return the baselines within the range at which an end of the band crosses zero."""
        square = np.outer(self.coefficients, self.coefficients)
        inner = square - self.multiplier**2 * self.covariance
        roots = np.roots([inner[1, 1], 2.0 * inner[0, 1], inner[0, 0]])
        real = sorted(float(r.real) for r in roots if abs(r.imag) <= 1e-9 * max(abs(r.real), 1.0))
        within = tuple(r for r in real if self.low < r < self.high)
        return within if len(set(within)) == len(within) else ()


def slopes_differ(rows: Rows) -> dict[str, float] | None:
    """Return the test of equal slopes where it speaks against them, else None."""
    row = rows.first("slope_f")
    if row is None or not row["p"] < SLOPES_DIFFER:
        return None
    return {c: float(row[c]) for c in ("test_value", "df", "df2", "p")}


def lines_of(ancova: Ancova, level: float) -> list[Along]:
    """Return the difference along the baseline of every contrast; none without a baseline slope."""
    wide = slope_design(ancova.design)
    if wide is None or not ancova.design.baseline:
        return []
    model = least_squares(ancova.pairs.after, wide)
    if explains_all(model, ancova.pairs):
        return []
    found = (_along(ancova, model, contrast, level) for contrast in ancova.contrasts)
    return [one for one in found if one is not None]


def _along(ancova: Ancova, model: LeastSquares, contrast: Contrast, level: float) -> Along | None:
    """Return one contrast's line, None where the groups have no range in common."""
    before, names = ancova.pairs.before, ancova.design.groups
    k, first, second = len(names), names.index(contrast[0]), names.index(contrast[1])
    mean, scale = float(before.mean()), float(before.std())
    # The design holds the baseline in SDs from the squad's mean; back to the metric's unit.
    rows = np.zeros((2, model.design.shape[1]))
    rows[0, [first, second]], rows[1, [k + first, k + second]] = (1.0, -1.0), (1.0, -1.0)
    rows[1] /= scale
    rows[0] -= mean * rows[1]
    one, two = (before[ancova.pairs.group == g] for g in contrast)
    low, high = max(one.min(), two.min()), min(one.max(), two.max())
    if not low < high:
        return None
    both = np.concatenate([one, two])
    return Along(
        contrast,
        rows @ model.coefficients,
        np.asarray(model.variance * (rows @ model.inverse @ rows.T)),
        float(np.sqrt(2.0 * f_quantile(np.asarray(level), np.asarray(2.0), np.asarray(float(model.df))))),
        model.df,
        float(low),
        float(high),
        both[(both >= low) & (both <= high)],
    )  # fmt: skip


def add_along_baseline(ancova: Ancova, lines: list[Along]) -> None:
    """Add the difference at the quartiles of the baseline, and the limits of the clear region."""
    for line in lines:
        place = ancova.at(line.contrast).at(n=int(np.isin(ancova.pairs.group, line.contrast).sum()))
        for x in quartiles(line):
            estimate, se = (float(v[0]) for v in line.at(np.array([x])))
            half = line.multiplier * se
            place.at(case=Case("at_baseline", {"at": x})).add(
                "difference_along_baseline",
                estimate,
                limits=(estimate - half, estimate + half),
                se=se,
                df=2,
                df2=line.df,
                estimator="slope_by_group_along",
                interval_kind=_BAND,
            )
        kind, limits = line.region()
        place = place.at(case=Case(f"clear_{kind}"))
        if not limits:
            place.none("clear_limit", Reason(f"clear_{kind}"))
        for x in limits:
            place.add("clear_limit", x, estimator="slope_by_group_along", leads=x == limits[0])


def quartiles(line: Along) -> list[float]:
    """Return the quartiles of the baselines that both groups have in common."""
    return [float(q) for q in np.quantile(line.baselines, [0.25, 0.5, 0.75])]


def along_points(metric: str, lines: list[Along]) -> list[dict[str, Any]]:
    """Return the band of every contrast over the common range, tidy (behind the figure)."""
    out = []
    for line in lines:
        x = np.linspace(line.low, line.high, _GRID)
        estimate, se = line.at(x)
        half = line.multiplier * se
        for values in zip(x, estimate, estimate - half, estimate + half, strict=True):
            names = ("baseline", "estimate", "ci_low", "ci_high")
            row: dict[str, Any] = {"metric": metric, "first": line.contrast[0]}
            row |= {"second": line.contrast[1]}
            out.append(row | dict(zip(names, map(float, values), strict=True)))
    return out


def along_sentence(metric: str, line: Along, level: float, values: dict[str, Any]) -> Sentence:
    """Return the conditional sentence of one contrast.

    ``values``: sessions, groups, sizes, and the test of the slopes.
    """
    at = []
    for x in quartiles(line):
        estimate, se = (float(v[0]) for v in line.at(np.array([x])))
        ends = {
            "ci_low": estimate - line.multiplier * se,
            "ci_high": estimate + line.multiplier * se,
        }
        row = {"metric": metric, "estimate": estimate, "level": level, "unit": None, "reason": ""}
        said = estimate_says({**row, **ends, "unit": values["unit"]})
        at.append(Sentence("change.at_baseline", metric, values={"at": x, "difference": said}))
    kind, limits = line.region()
    names = dict(zip(("one", "two"), limits, strict=False))
    region = Sentence(f"change.clear_{kind}", metric, values=names)
    return Sentence("change.along_baseline", metric, values={**values, "at": at, "region": region})
