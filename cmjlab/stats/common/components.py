"""Variance components: athletes and sessions (crossed), and jumps within sessions (nested)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.stats.common.mean_squares import Array, ratio, two_way


@dataclass(frozen=True)
class Crossed:
    """Variances of athletes, sessions and remainder of one metric; nan when not estimable."""

    athletes: float
    sessions: float
    remainder: float
    n: int
    values: int


def crossed_mean_squares(values: Array) -> Crossed:
    """Return components from mean squares of the complete athletes; they may be negative."""
    ms = two_way(values)
    a = float((ms.msr - ms.mse) / ms.k)
    c = float(ratio(ms.msc - ms.mse, ms.n))
    return Crossed(a, c, float(ms.mse), int(ms.n), int(ms.n) * ms.k)


def crossed_reml(values: Array) -> Crossed:
    """Return REML components of athletes and sessions, both random, from all values.

    Parameters
    ----------
    values : array, shape (n, k)
        nan where missing.

    Returns
    -------
    Crossed
        None below zero: a component at zero is a boundary estimate. All nan where the complete
        athletes show no noise at all.

    Notes
    -----
    Patterson & Thompson (1971). The criterion is profiled over the remainder and needs only
    k × k matrices. Checked against lme4 (R) in the tests.
    """
    there = np.asarray(np.isfinite(values))
    count = there.sum(axis=1)
    n, total = int((count > 0).sum()), int(count.sum())
    if n < 2 or values.shape[1] < 2 or total - n < 2 or (count >= 2).sum() < 2:
        return Crossed(np.nan, np.nan, np.nan, n, total)
    if there.all():
        return _balanced_reml(values)
    x = values - values[there].mean()
    scale = float(np.sqrt(np.mean(x[there] ** 2)))
    start = crossed_mean_squares(values)
    if scale == 0 or start.remainder == 0:  # without noise the criterion has no bottom
        return Crossed(np.nan, np.nan, np.nan, n, total)
    fit = _Reml(np.where(there, x / scale, 0.0), there)
    s2, a, c = fit.solve(start)
    return Crossed(a * s2 * scale**2, c * s2 * scale**2, s2 * scale**2, n, total)


def _balanced_reml(values: Array) -> Crossed:
    """Return REML of complete data in closed form.

    The mean squares are independent, and the remainder may not exceed the others; where it
    does, the smallest violator is pooled with it (Thompson 1962, Ann Math Stat 33:273).
    """
    ms = two_way(values)
    pooled, df = float(ms.mse), float(ms.df_e)
    others = {"r": (float(ms.msr), float(ms.df_r)), "c": (float(ms.msc), float(ms.df_c))}
    for name in sorted(others, key=lambda key: others[key][0]):
        square, d = others[name]
        if square < pooled:
            pooled, df = (pooled * df + square * d) / (df + d), df + d
    a = max(others["r"][0] - pooled, 0.0) / ms.k
    c = max(others["c"][0] - pooled, 0.0) / float(ms.n)
    return Crossed(a, c, pooled, int(ms.n), int(ms.n) * ms.k)


class _Reml:
    """REML criterion in the ratios a = athletes / remainder and c = sessions / remainder.

    Athletes with the same pattern of gaps are summed up first: every evaluation then works on
    patterns × sessions, however many athletes there are.
    """

    def __init__(self, x: Array, there: NDArray[np.bool_]) -> None:
        seen = there.any(axis=1)
        x, there = x[seen], there[seen]
        patterns, which = np.unique(there, axis=0, return_inverse=True)
        which = which.ravel()
        row_sum = x.sum(axis=1)
        self.m = patterns.astype(np.float64)
        self.count = self.m.sum(axis=1)
        self.n = np.bincount(which).astype(np.float64)
        self.sum = np.bincount(which, row_sum)
        self.sum2 = np.bincount(which, row_sum**2)
        self.columns = np.column_stack([there.sum(axis=0), x.sum(axis=0)]).astype(np.float64)
        self.square = float(np.sum(x**2))
        self.total = float(there.sum())

    def parts(self, a: float, c: float) -> tuple[float, float]:
        """Return (criterion, remainder variance)."""
        w = a / (1 + a * self.count)
        xs = self.columns - self.m.T @ np.column_stack([w * self.n * self.count, w * self.sum])
        middle = np.diag(self.columns[:, 0]) - (self.m * (w * self.n)[:, None]).T @ self.m
        one = self.total - np.sum(w * self.n * self.count**2)
        cross = self.sum.sum() - np.sum(w * self.count * self.sum)
        square = self.square - np.sum(w * self.sum2)
        inner = np.eye(len(middle)) + c * middle
        gram = np.array([[one, cross], [cross, square]]) - c * xs.T @ np.linalg.solve(inner, xs)
        s2 = (gram[1, 1] - gram[0, 1] ** 2 / gram[0, 0]) / (self.total - 1)
        logdet = np.sum(self.n * np.log1p(a * self.count)) + np.linalg.slogdet(inner)[1]
        value = (self.total - 1) * np.log(max(s2, 1e-300)) + logdet + np.log(gram[0, 0])
        return float(value), float(s2)

    def solve(self, start: Crossed) -> tuple[float, float, float]:
        """Return (remainder variance, a, c) at the minimum, both ratios at least 0."""
        from scipy.optimize import minimize

        noise = start.remainder if start.remainder > 0 else 1.0
        guess = [
            max(v / noise, 0.05) if np.isfinite(v) else 1.0
            for v in (start.athletes, start.sessions)
        ]
        found = minimize(
            lambda t: self.parts(t[0] ** 2, t[1] ** 2)[0],
            np.sqrt(guess),
            method="Nelder-Mead",
            options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000, "maxfev": 4000},
        )
        a, c = self._polish(found.x[0] ** 2, found.x[1] ** 2)
        return self.parts(a, c)[1], a, c

    def _polish(self, a: float, c: float) -> tuple[float, float]:
        """Return the minimum after Newton steps in logs; a ratio below 1e-7 is set to zero."""
        free = np.array([a > 1e-7, c > 1e-7])
        t = np.log(np.where(free, [a, c], 1.0))

        def value(step: Array) -> float:
            ratios = np.where(free, np.exp(t + step), 0.0)
            return self.parts(float(ratios[0]), float(ratios[1]))[0]

        h = 1e-3
        for _ in range(4):
            gradient, hessian = np.zeros(2), np.eye(2)
            for i in np.flatnonzero(free):
                e = np.zeros(2)
                e[i] = h
                four = [value(s * e) for s in (-2, -1, 1, 2)]
                gradient[i] = (four[0] - 8 * four[1] + 8 * four[2] - four[3]) / (12 * h)
                hessian[i, i] = (four[1] + four[2] - 2 * value(0 * e)) / h**2
            if free.all():
                corners = [value(h * np.array(s)) for s in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
                hessian[0, 1] = hessian[1, 0] = (
                    corners[0] - corners[1] - corners[2] + corners[3]
                ) / (4 * h * h)
            if np.linalg.eigvalsh(hessian).min() <= 0:
                break
            t = t - np.clip(np.linalg.solve(hessian, gradient), -0.5, 0.5)
        ratios = np.where(free, np.exp(t), 0.0)
        return float(ratios[0]), float(ratios[1])


def session_components(values: Array, metrics: Sequence[str]) -> pd.DataFrame:
    """Return components of many metrics by mean squares and by REML, tidy.

    Parameters
    ----------
    values : array, shape (n_metrics, n, k)
    metrics : sequence of str

    Returns
    -------
    pandas.DataFrame
        metric, component ("athletes", "sessions", "remainder"), variance, sd, share, estimator
        ("mean_squares", "reml"), n.
        sd of a negative variance is minus the root of its size. For complete data with no
        negative component both methods agree.
    """
    rows = []
    for metric, value in zip(metrics, values, strict=True):
        plain = crossed_mean_squares(value)
        reml = crossed_reml(value)
        for estimator, c in (("mean_squares", plain), ("reml", reml)):
            sizes = np.array([c.athletes, c.sessions, c.remainder])
            total = np.maximum(sizes, 0).sum()
            for name, variance in zip(("athletes", "sessions", "remainder"), sizes, strict=True):
                if np.isfinite(variance):
                    share = max(variance, 0.0) / total if total > 0 else 0.0
                    sd = float(np.sign(variance) * np.sqrt(abs(variance)))
                    rows.append((metric, name, float(variance), sd, float(share), estimator, c.n))
    names = ["metric", "component", "variance", "sd", "share", "estimator", "n"]
    return pd.DataFrame(rows, columns=names)
