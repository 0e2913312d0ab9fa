"""A change along a whole curve, with one band that holds at all its points together.

A curve has a hundred points, and neighbours say nearly the same: neither a plain interval at each
point (too narrow for all of them) nor Bonferroni (far too wide) will do. Here the largest |t| along
the curve is compared with the largest |t| of the same curves after the signs of the athletes'
changes (one group) or the groups' labels (two groups) are dealt again. Whole curves are dealt, so
the band knows how closely points hang together without any assumption about it. The p value of a
point is the share of deals whose largest |t| reaches the point's own: it holds for all points at
once (single step).

The t of two groups is that of Welch. Where both groups have one spread, any t gives an exact
test; where training has made one group spread more, the pooled t rejects too often or too rarely
when groups differ in size, and the studentised one stays close to its level
(``tests/calibration/curve_bands.csv`` shows both cases).

Sources: Westfall & Young 1993 (Resampling-Based Multiple Testing, single-step maxT); Nichols &
Holmes 2002 (Hum Brain Mapp 15:1), Phipson & Smyth 2010 (Stat Appl Genet Mol Biol 9:39: p never
zero), Janssen 1997 (Stat Probab Lett 36:9: studentised deals); all from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.curves.fixed import moving

Array = NDArray[np.float64]

#: All deals up to this number are used, beyond it :data:`DRAWN` at random, the observed one among them.
MAXIMUM = 10_000
DRAWN = 5_000
_SEED = 41_203
#: Two values of t closer than this are one: the same sums in another order.
_SAME = 1e-9


@dataclass(frozen=True)
class Band:
    """A change along a curve of m points, with what the deals say about it.

    Attributes
    ----------
    estimate, se, t : array, shape (m,)
        t is nan where the point is fixed by definition (all athletes the same).
    p : array, shape (m,)
        Holds for all points at once.
    critical : float
        The band is estimate ± critical × se; inf where so few athletes cannot have one.
    level : float
    p_any : float
        Of "no change anywhere along the curve"; never zero.
    floor : float
        The smallest p that could come out.
    deals : int
    complete : bool
        Whether these are all deals that there are.
    """

    estimate: Array
    se: Array
    t: Array
    p: Array
    critical: float
    level: float
    p_any: float
    floor: float
    deals: int
    complete: bool

    @property
    def largest(self) -> float:
        """The largest |t| along the curve; nan where no point has one."""
        size = np.abs(self.t)
        return float(np.nanmax(size)) if np.isfinite(size).any() else float("nan")

    @property
    def limits(self) -> tuple[Array, Array]:
        """The limits of the band; nan where there is none."""
        half = np.where(np.isfinite(self.t) & np.isfinite(self.critical), self.critical, np.nan)
        return self.estimate - half * self.se, self.estimate + half * self.se

    @property
    def outside(self) -> NDArray[np.bool_]:
        """Where the band leaves zero."""
        return np.asarray(self.p <= 1 - self.level + 1e-12)


def one_group(changes: Array, level: float, *, drawn: int = DRAWN, seed: int = _SEED) -> Band:
    """Return the mean change of one group along a curve, by dealing signs.

    Parameters
    ----------
    changes : array, shape (n, m)
        Later less earlier curve of each athlete; 2 athletes at least.
    level : float
    drawn, seed : int
        How many deals, and from where they start, when they are too many for all of them.
    """
    n = len(changes)
    complete = 2 ** (n - 1) <= MAXIMUM
    signs = _all_signs(n) if complete else _drawn_signs(n, drawn, seed)
    sums = signs @ changes
    squares = (changes**2).sum(axis=0)
    t = _t_of_signs(sums, squares, n)
    mean = changes.mean(axis=0)
    se = changes.std(axis=0, ddof=1) / np.sqrt(n)
    return _band((mean, se), t, moving(np.sqrt(squares)) & (se > 0), level, complete)


def two_groups(
    first: Array, second: Array, level: float, *, drawn: int = DRAWN, seed: int = _SEED
) -> Band:
    """Return the difference first − second along a curve, by dealing the groups' labels.

    Parameters
    ----------
    first, second : array, shape (n, m)
        The change of each athlete of a group; 2 athletes at least in each.
    level : float
    drawn, seed : int
        How many deals, and from where they start, when they are too many for all of them.
    """
    n, size = len(first) + len(second), len(first)
    values = np.vstack([first, second])
    values = values - values.mean(axis=0)
    complete = comb(n, size) <= MAXIMUM
    labels = _all_labels(n, size) if complete else _drawn_labels(n, size, drawn, seed)
    t = _welch(labels, values)
    variance = first.var(axis=0, ddof=1) / size + second.var(axis=0, ddof=1) / (n - size)
    difference = first.mean(axis=0) - second.mean(axis=0)
    se = np.sqrt(variance)
    spread = np.sqrt((values**2).mean(axis=0))  # of all deals alike, so that the test stays exact
    return _band((difference, se), t, moving(spread) & (se > 0), level, complete)


def _band(
    found: tuple[Array, Array], t: Array, free: NDArray[np.bool_], level: float, complete: bool
) -> Band:
    """Return what the deals say; the first deal is the observed one."""
    estimate, se = found
    with np.errstate(invalid="ignore", divide="ignore"):
        own = np.where(free, estimate / se, np.nan)
    deals, alpha = len(t), 1 - level
    if not free.any():
        nothing = np.full(len(own), np.nan)
        return Band(estimate, se, own, nothing, np.inf, level, np.nan, 1 / deals, deals, complete)
    largest = np.sort(np.nan_to_num(np.abs(t[:, free]), nan=0.0).max(axis=1))

    def share(size: Array) -> Array:
        return np.asarray((deals - np.searchsorted(largest, size * (1 - _SAME))) / deals)

    p = np.where(free, share(np.abs(np.nan_to_num(own))), np.nan)
    floor = float(share(largest[-1:])[0])
    allowed = int(np.floor(alpha * deals + 1e-9))
    critical = np.inf if floor > alpha + 1e-12 else float(largest[-1 - allowed]) * (1 + _SAME)
    return Band(estimate, se, own, p, critical, level, float(np.nanmin(p)), floor, deals, complete)


def _t_of_signs(sums: Array, squares: Array, n: int) -> Array:
    """Return t of the mean for each deal of signs: the sum of squares is always the same."""
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = np.maximum(squares - sums**2 / n, 0.0) / (n - 1) / n
        return np.asarray(sums / n / np.sqrt(variance))


def _welch(labels: Array, values: Array) -> Array:
    """Return Welch's t of every deal and point: sums over a group are products of matrices."""
    n1 = float(labels[0].sum())
    n2 = labels.shape[1] - n1
    one = labels @ values
    two = values.sum(axis=0) - one
    square = labels @ values**2
    rest = (values**2).sum(axis=0) - square
    v1 = np.maximum(square - one**2 / n1, 0.0) / (n1 - 1) / n1
    v2 = np.maximum(rest - two**2 / n2, 0.0) / (n2 - 1) / n2
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((one / n1 - two / n2) / np.sqrt(v1 + v2))


def _all_signs(n: int) -> Array:
    """Return every deal of signs but for its mirror, whose |t| is the same; the observed first."""
    bits = (np.arange(2 ** (n - 1))[:, None] >> np.arange(n)) & 1
    return np.asarray(1.0 - 2.0 * bits, dtype=np.float64)


def _drawn_signs(n: int, drawn: int, seed: int) -> Array:
    signs = 1.0 - 2.0 * np.random.default_rng(seed).integers(0, 2, (drawn, n))
    signs[0] = 1.0
    return np.asarray(signs, dtype=np.float64)


def _all_labels(n: int, size: int) -> Array:
    chosen = np.array(list(combinations(range(n), size)))
    labels = np.zeros((len(chosen), n))
    labels[np.arange(len(chosen))[:, None], chosen] = 1.0
    return labels


def _drawn_labels(n: int, size: int, drawn: int, seed: int) -> Array:
    order = np.argsort(np.random.default_rng(seed).random((drawn, n)), axis=1)
    labels = (order < size).astype(np.float64)
    labels[0] = np.arange(n) < size
    return labels
