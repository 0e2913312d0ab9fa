"""How often reliability notices that athletes differ in their noise, by athletes and sessions.

The noise of athlete i has the SD s_i. Equal: all 1 (what is noticed then is a false alarm).
From 0.5 to 2 and from 0.2 to 3: spread evenly on the log scale. One in four: three times the
others. Counted is whether the library writes a note that the noise is uneven or that one athlete
stands out.

``python tests/calibration/noise_check.py`` (under a minute) writes ``noise_check.csv``.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
from harness import calibrate
from judged_table import write_judged

from cmjlab.stats.common.intervals import sd_limits
from cmjlab.stats.reliability.missing import intra_block
from cmjlab.stats.reliability.robust import bonett, shares
from cmjlab.stats.reliability.sentences import ODD_ONE, UNEVEN

PATH = Path(__file__).parent / "noise_check.csv"
SEED = 20261126
STUDIES = 4_000
BATCH = 1_000
#: Largest share of false alarms.
BAR = (0.0, 0.08)

CELLS = [
    {"noise": noise, "n": n, "sessions": k}
    for noise in ("equal", "0.5 to 2", "0.2 to 3", "one in four")
    for k in (2, 3)
    for n in (6, 8, 12, 20, 30)
]


def noise_of(cell):
    """Return the noise SD of each athlete."""
    n = cell["n"]
    if cell["noise"] == "equal":
        return np.ones(n)
    if cell["noise"] == "one in four":
        return np.where(np.arange(n) % 4 == 0, 3.0, 1.0)
    low, high = (float(x) for x in cell["noise"].split(" to "))
    return np.exp(np.linspace(np.log(low), np.log(high), n))


def study(rng, cell, size):
    """Return which studies get a note on uneven noise, on one athlete, or on either."""
    n, k = cell["n"], cell["sessions"]
    values = 4.0 * rng.standard_normal((size, n, 1))
    values = values + noise_of(cell)[:, None] * rng.standard_normal((size, n, k))
    block = intra_block(values)
    part = shares(values, block)
    robust, plain = bonett(part, block, 0.95), sd_limits(np.sqrt(block.mse), block.df, 0.95)
    wide = np.log(robust[1] / robust[0]) > UNEVEN * np.log(plain[1] / plain[0])
    uneven = wide & (block.n >= 8)
    odd = (part.p < ODD_ONE).any(axis=-1)
    return {"uneven noise": uneven * 1.0, "one athlete": odd * 1.0, "either": (uneven | odd) * 1.0}


def why_shown(cell, quantity):
    """Return why a row is shown and not judged, "" when it is judged."""
    if cell["noise"] != "equal":
        return "how often it is noticed"
    if (cell["n"], cell["sessions"]) == (8, 3):
        return "known to sound in one of eight equal squads; it then offers a wider interval"
    return ""


def make(studies=STUDIES) -> pd.DataFrame:
    """Return the table."""
    return calibrate(
        CELLS, study, studies=studies, seed=SEED, bar=BAR, shown=why_shown, batch=BATCH
    )


if __name__ == "__main__":
    start = time.perf_counter()
    write_judged(make(), PATH, start)
