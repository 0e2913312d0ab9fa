"""How often the interval of one athlete's change includes the truth, when athletes differ in noise.

The noise of the athletes of a squad has the SDs exp(spread · z), z the normal quantiles of
(i - 1/2) / n; spread 0 gives everybody the same. The change runs from the last of the sessions
that the noise is estimated from to one more, without any true change. Counted are single athletes
of the noisiest and of the steadiest quarter and of the half between; "one for all" is the interval
with one typical error, which is only shown.

``python tests/calibration/own_noise.py`` (some seven minutes on one core) writes ``own_noise.csv``.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from harness import calibrate
from judged_table import write_judged
from scipy import special

from cmjlab.stats.individual.own_noise import averaged, own_variances

PATH = Path(__file__).with_name("own_noise.csv")
SEED = 20261128
STUDIES = 2_000
BATCH = 500
LEVEL = 0.95
#: At least nine in ten of every quarter; never so wide that nothing can be seen.
BAR = (0.90, 1.0)

CELLS = [
    {"spread": spread, "n": n, "sessions": k}
    for spread in (0.0, 0.3, 0.4, 0.5)
    for k in (2, 3, 4)
    for n in (6, 8, 12, 20, 30)
]


def squad(rng, cell):
    """Return who of one squad is inside, own noise and one for all, steadiest athlete first."""
    n, k = cell["n"], cell["sessions"]
    z = special.ndtri((np.arange(n) + 0.5) / n)
    noise = np.exp(cell["spread"] * z)[:, None]
    values = 4.0 * rng.standard_normal((n, 1)) + noise * rng.standard_normal((n, k + 1))
    change = np.abs(values[:, k] - values[:, k - 1])
    variance, df = own_variances(values[:, :k])
    own = averaged(tuple(map(str, range(n))), variance, df).half_width(LEVEL)
    everybody = np.sqrt(df @ variance / df.sum())
    one = special.stdtrit((n - 1) * (k - 1), 0.5 + LEVEL / 2) * everybody
    return change <= np.sqrt(2) * own, change <= np.sqrt(2) * one


def study(rng, cell, size):
    """Return for single athletes whether the interval includes the truth."""
    quarter = cell["n"] // 4
    parts = {"steadiest quarter": slice(quarter), "noisiest quarter": slice(-quarter, None)}
    parts["between"] = slice(quarter, -quarter)
    found: dict[str, list[np.ndarray]] = {}
    for _ in range(-(-size // quarter)):
        for word, inside in zip(("own noise", "one for all"), squad(rng, cell), strict=True):
            for part, where in parts.items():
                found.setdefault(f"{word}, {part}", []).append(inside[where])
    return {name: np.concatenate(hits)[:size].astype(float) for name, hits in found.items()}


def shown(cell, quantity):
    """Return why a row is only shown, or "" when it is judged."""
    if quantity.startswith("one for all"):
        return "one typical error for everybody, for comparison"
    if cell["spread"] > 0.4 and quantity.endswith("noisiest quarter"):
        return "the noisiest have more than 1.9 times the usual noise, which so few sessions hide"
    return ""


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    table = calibrate(CELLS, study, studies=STUDIES, seed=SEED, bar=BAR, shown=shown, batch=BATCH)
    write_judged(table, PATH, start)


if __name__ == "__main__":
    main()
