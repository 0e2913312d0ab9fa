"""How many athletes a reliability study needs: the exact width of the ICC(C,1) interval.

The usual formula (Bonett 2002) gives the expected width by a normal approximation, and in
small studies the width it promises is reached in about one study of three. Here n is searched
on the exact F interval, so that a wanted share of studies is at least that precise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.errors import ArgumentError
from cmjlab.stats.common.intervals import f_quantile
from cmjlab.stats.planning.power import smallest

Array = NDArray[np.float64]

#: Equal-probability points of the F distribution.
_POINTS = 2000


@dataclass(frozen=True)
class IccWidth:
    """Width of the interval of ICC(C,1) for one size.

    Attributes
    ----------
    n, sessions : int
    mean_width : float
    assured_width : float
        Not exceeded by the wanted share of studies.
    reached : float
        Share of studies with at most the wanted width.
    """

    n: int
    sessions: int
    mean_width: float
    assured_width: float
    reached: float


def icc_width(
    icc: float,
    width: float,
    n: int,
    *,
    sessions: int = 2,
    level: float = 0.95,
    assurance: float = 0.8,
) -> IccWidth:
    """Return how wide the exact interval of ICC(C,1) comes out with n athletes.

    Parameters
    ----------
    icc : float
        True ICC(C,1).
    width : float
        Wanted width.
    n : int
    sessions : int
    level, assurance : float
    """
    widths = _widths(icc, n, sessions, level)
    return IccWidth(
        n,
        sessions,
        float(widths.mean()),
        float(np.quantile(widths, assurance)),
        float((widths <= width).mean()),
    )


def _widths(icc: float, n: int, sessions: int, level: float) -> Array:
    """Return the widths over equally likely values of the F statistic."""
    df1, df2 = n - 1.0, (n - 1.0) * (sessions - 1.0)
    p = (np.arange(_POINTS) + 0.5) / _POINTS
    scale = 1.0 + sessions * icc / (1.0 - icc)
    f = scale * f_quantile(p, df1, df2)
    limits = []
    for tail in (0.5 + level / 2, 0.5 - level / 2):
        ratio = f / f_quantile(tail, df1, df2)
        limits.append((ratio - 1.0) / (ratio + sessions - 1.0))
    return np.asarray(limits[1] - limits[0])


def athletes_for_icc(
    icc: float,
    width: float,
    *,
    sessions: int = 2,
    level: float = 0.95,
    assurance: float = 0.8,
) -> IccWidth:
    """Return the fewest athletes with which the wanted share of studies is precise enough.

    Parameters
    ----------
    icc : float
        Expected ICC(C,1), between 0 and 1.
    width : float
        Wanted width of the interval.
    sessions : int
    level : float
    assurance : float
        Share of studies that must reach the width.
    """
    icc = checks.number("icc", icc, low=0.01, high=0.999)
    width = checks.number("width", width, low=0.005, high=0.99)
    sessions = int(checks.number("sessions", sessions, low=2, high=50))
    level = checks.level(level)
    n = smallest(
        lambda k: bool(np.quantile(_widths(icc, k, sessions, level), assurance) <= width), 4
    )
    if n is None:
        raise ArgumentError(
            f"width: {width:g} is not reached with any practicable number of athletes; allow a wider interval."
        )
    return icc_width(icc, width, n, sessions=sessions, level=level, assurance=assurance)
