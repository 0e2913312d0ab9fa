"""Time of random-intercept REML fits: one at a time, many at once, statsmodels in the same run.

``python tests/benchmarks/mixed_speed.py`` prints ratios; nothing is asserted.
"""

from __future__ import annotations

import time
import warnings

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from cmjlab.stats.common.reml import fit_linear, slope_structure
from cmjlab.stats.common.reml_intercept import fit_intercept

STUDIES, ATHLETES, SESSIONS = 200, 20, 3


def clock(function, repeats=3):
    """Return the shortest time of a few calls, s."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        best = min(best, time.perf_counter() - start)
    return best


def main() -> None:
    """Print milliseconds per study and ratios."""
    rng = np.random.default_rng(1)
    y = 30 + 2 * rng.standard_normal((STUDIES, ATHLETES, 1))
    y = y + rng.standard_normal((STUDIES, ATHLETES, SESSIONS))
    seen = rng.random(y.shape) > 0.15
    x = np.zeros((ATHLETES, SESSIONS, 2 * SESSIONS))
    for j in range(SESSIONS):
        x[: ATHLETES // 2, j, j] = 1.0
        x[ATHLETES // 2 :, j, SESSIONS + j] = 1.0
    few = range(10)
    start = np.array([0.3, 0.7, 0.0, 0.01])
    g = slope_structure(np.arange(float(SESSIONS)))

    def theirs():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for i in few:
                rows = np.repeat(np.arange(ATHLETES), SESSIONS).reshape(seen[i].shape)[seen[i]]
                MixedLM(y[i][seen[i]], x[seen[i]], groups=rows).fit(reml=True)

    times = {
        "statsmodels, one at a time": clock(theirs) / len(few),
        "cmjlab random intercept, one at a time": clock(
            lambda: [fit_intercept(y[i : i + 1], x, seen[i : i + 1]) for i in few]
        )
        / len(few),
        "cmjlab random intercept, 200 at once": clock(lambda: fit_intercept(y, x, seen)) / STUDIES,
        "cmjlab random slope": clock(
            lambda: [fit_linear(y[i], x, seen[i], g=g, start=start) for i in few]
        )
        / len(few),
    }
    base = times["statsmodels, one at a time"]
    for name, seconds in times.items():
        print(f"{name:42s} {1e3 * seconds:8.2f} ms   {base / seconds:7.1f} times as fast")


if __name__ == "__main__":
    main()
