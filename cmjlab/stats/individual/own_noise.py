"""The noise of each athlete: between one typical error for all and everybody's own few sessions.

One typical error for everybody lets the noisiest quarter of a squad down: their 95 % intervals
include the true change in about 80 to 85 % of cases. Two or three sessions of one athlete alone say
next to nothing. Between the two stands a squad of variances: athlete i has the variance σ²_i,
spread over athletes as a scaled inverse chi-square with ν degrees of freedom and scale s² (Lindley
1971; Smyth 2004, Stat Appl Genet Mol Biol 3:3). Given ν and s², what is known of σ²_i after the own
variance s²_i with d_i degrees of freedom is again of that kind, with

    (ν s² + d_i s²_i) / (ν + d_i)  and  ν + d_i degrees of freedom,

and a change over its own error follows a t of ν + d_i degrees of freedom.

Smyth puts the likeliest ν and s² in. A squad of 8 to 30 with two sessions cannot tell them, so here
they are averaged over all that the squad allows: s² with no preference on the log scale, and the
spread of noise between athletes (SD of ln σ_i) evenly between 0.3 and 0.9. Below 0.3, athletes would
be more alike than any squad that we know of; at 0.9, one athlete in six has more than 2.5 times the
usual noise. The bounds are a judgement (common practice, no source); what comes of them is in
``tests/calibration/own_noise.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special
from scipy.interpolate import PchipInterpolator

Array = NDArray[np.float64]

#: SD of ln σ between athletes that is thought possible, and the points between.
LEAST, MOST, _SPREADS = 0.3, 0.9, 10
#: Squad scales, as ln of their ratio to the pooled variance, and the points between.
_SCALES = np.linspace(-4.0, 4.0, 40)
#: What weighs less than this is left out of the average, and of the limits of a typical error.
_NEGLIGIBLE, _SMALL = 1e-7, 1e-5
#: Points at which the distribution of a typical error is computed.
_POINTS = 128
#: Fewest athletes with two sessions.
FEWEST = 4


@dataclass(frozen=True)
class OwnNoise:
    """What a squad's sessions say about the noise of each athlete.

    Attributes
    ----------
    athletes : tuple of str
    weights : array, shape (n_possible,)
        Of each possible pair of ν and s², sum 1.
    df : array, shape (n_possible, n_athletes)
        ν + d_i.
    scale : array, shape (n_possible, n_athletes)
        √((ν s² + d_i s²_i) / (ν + d_i)), unit of the metric.
    own_df : array, shape (n_athletes,)
        d_i; 0 for an athlete without a second session.
    """

    athletes: tuple[str, ...]
    weights: Array
    df: Array
    scale: Array
    own_df: Array
    _made: dict[tuple[str, float], Any] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def half_width(self, level: float) -> Array:
        """Return h so that ± h includes one session's error with a chance of ``level``.

        Returns
        -------
        array, shape (n_athletes,)
            Times √2 for a change between two sessions.

        Notes
        -----
        The chance is concave in h, so that Newton's steps from 0 climb to the root and never
        pass it. Every group of a squad asks; it is computed once.
        """
        if ("half_width", level) not in self._made:
            self._made["half_width", level] = self._half_width(level)
        return self._made["half_width", level]  # type: ignore[no-any-return]

    def _half_width(self, level: float) -> Array:
        half = np.zeros(len(self.athletes))
        log_top = special.gammaln((self.df + 1) / 2) - special.gammaln(self.df / 2)
        top = 2 * np.exp(log_top) / np.sqrt(np.pi * self.df) / self.scale
        for _ in range(60):
            t = half / self.scale
            inside = self.weights @ (2 * special.stdtr(self.df, t) - 1)
            density = self.weights @ (top * (1 + t**2 / self.df) ** (-(self.df + 1) / 2))
            step = (level - inside) / density
            half = half + step
            if np.all(np.abs(step) < 1e-10 * half):
                break
        return half

    def typical_error(self, level: float) -> tuple[Array, Array, Array]:
        """Return the median of what each σ_i may be, and its limits, shape (n_athletes,) each."""
        if ("typical_error", level) not in self._made:
            self._made["typical_error", level] = self._typical_error(level)
        return self._made["typical_error", level]  # type: ignore[no-any-return]

    def _typical_error(self, level: float) -> tuple[Array, Array, Array]:
        at = np.linspace(np.log(self.scale.min() / 12), np.log(self.scale.max() * 12), _POINTS)
        some = self.weights > _SMALL
        weights = self.weights[some] / self.weights[some].sum()
        wanted = [0.5, 0.5 - level / 2, 0.5 + level / 2]
        found = np.empty((3, len(self.athletes)))
        for i in range(len(self.athletes)):
            df, scale = self.df[some, i, None], self.scale[some, i, None]
            below = weights @ special.gammaincc(df / 2, df / 2 * (scale / np.exp(at)) ** 2)
            rising = np.concatenate([[True], np.diff(below) > 1e-12])
            found[:, i] = np.exp(PchipInterpolator(below[rising], at[rising])(wanted))
        return found[0], found[1], found[2]

    def places(self, athletes: tuple[str, ...]) -> list[int]:
        """Return where athletes stand here.

        Raises
        ------
        KeyError
            An athlete is not among these.
        """
        at = {a: i for i, a in enumerate(self.athletes)}
        return [at[a] for a in athletes]


def own_noise(values: pd.DataFrame, athletes: tuple[str, ...] = ()) -> OwnNoise | None:
    """Return the noise of each athlete from the sessions of a squad without training in between.

    Parameters
    ----------
    values : pandas.DataFrame
        ``athlete``, ``session``, ``value`` of one metric.
    athletes : tuple of str
        Athletes to speak of beside those of the table; of an athlete without a second session
        the squad speaks.

    Returns
    -------
    OwnNoise or None
        None with fewer than four athletes with two sessions, or without any noise.
    """
    wide = values.pivot(index="athlete", columns="session", values="value").astype(float)
    wide.index = wide.index.astype(str)
    wide = wide.reindex(list(dict.fromkeys([*wide.index, *athletes])))
    variance, df = own_variances(wide.to_numpy())
    if np.count_nonzero(df) < FEWEST or not (df @ variance) > 0:
        return None
    return averaged(tuple(wide.index), variance, df)


def own_variances(values: Array) -> tuple[Array, Array]:
    """Return each athlete's own variance about athlete and session, and its degrees of freedom.

    Parameters
    ----------
    values : array, shape (n_athletes, n_sessions)
        nan where a value is missing.

    Returns
    -------
    variance, df : arrays, shape (n_athletes,)
        Squared residuals of athletes and sessions fixed, over what they would sum to if the noise
        were 1 (a residual is smaller than the error by its leverage); values less one. Both 0
        for an athlete with fewer than two values.
    """
    there = np.isfinite(values)
    count = there.sum(axis=1)
    use = count >= 2
    variance, df = np.zeros(len(values)), np.where(use, count - 1.0, 0.0)
    who, when = np.nonzero(there & use[:, None])
    if not len(who):
        return variance, df
    design = np.zeros((len(who), len(values) + values.shape[1]))
    design[np.arange(len(who)), who] = 1.0
    design[np.arange(len(who)), len(values) + when] = 1.0
    u, s, _ = np.linalg.svd(design, full_matrices=False)
    u = u[:, s > 1e-9 * s[0]]
    y = values[who, when]
    residual = y - u @ (u.T @ y)
    left = np.bincount(who, 1.0 - np.sum(u**2, axis=1), minlength=len(values))
    squares = np.bincount(who, residual**2, minlength=len(values))
    known = use & (left > 1e-9)
    variance[known] = squares[known] / left[known]
    return variance, np.where(known, df, 0.0)


def averaged(athletes: tuple[str, ...], variance: Array, df: Array) -> OwnNoise:
    """Weigh every possible ν and s² by how well it explains the athletes' own variances."""
    pooled = float(df @ variance / df.sum())
    prior_df = np.repeat(possible_df(), len(_SCALES))[:, None]
    prior = pooled * np.tile(np.exp(_SCALES), _SPREADS)[:, None]
    chance = log_chance(variance, df, prior_df, prior).sum(axis=1)
    weights = np.exp(chance - chance.max())
    keep = weights > _NEGLIGIBLE
    weights = weights[keep] / weights[keep].sum()
    whole = prior_df[keep] + df
    scale = np.sqrt((prior_df[keep] * prior[keep] + df * variance) / whole)
    return OwnNoise(athletes, weights, whole, scale, df)


def log_chance(variance: Array, df: Array, prior_df: Array, prior: Array) -> Array:
    """Return the log density of own variances, without what does not depend on ν and s².

    A variance over s² follows F with d_i and ν degrees of freedom.
    """
    top = special.gammaln((df + prior_df) / 2) - special.gammaln(prior_df / 2)
    bottom = 0.5 * df * np.log(prior_df * prior)
    inside = np.log1p(df * variance / (prior_df * prior))
    return np.asarray(top - bottom - 0.5 * (df + prior_df) * inside)


@lru_cache(maxsize=1)
def possible_df() -> Array:
    """Return ν for each possible spread: the variance of ln σ² is ψ'(ν/2), four times that of ln σ."""
    return np.array([2 * trigamma_inverse(4 * s**2) for s in np.linspace(LEAST, MOST, _SPREADS)])


def trigamma_inverse(value: float) -> float:
    """Return x with ψ'(x) = value, by Newton on 1/ψ' (Smyth 2004, appendix).

    Parameters
    ----------
    value : float
        Above 0.
    """
    x = 0.5 + 1.0 / value
    for _ in range(50):
        tri = float(special.polygamma(1, x))
        step = tri * (1 - tri / value) / float(special.polygamma(2, x))
        x += step
        if abs(step) < 1e-12 * x:
            break
    return x
