"""Points of a curve that are all but fixed by definition: velocity at the lowest point is 0 for everybody.

Force is body weight at the onset and where downward velocity peaks, displacement starts at 0. What is
left of a spread there is rounding and the placing of events; a t made of it would name places at
which nothing that matters can change. Such points take no part.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: A spread this small beside the widest along the curve counts as none.
FIXED = 0.02


def moving(spread: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return the points that are not fixed, from the spread at each point, shape (m,)."""
    return np.asarray(spread > FIXED * spread.max(initial=0.0))
