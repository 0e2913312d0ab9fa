"""Make the invented jumps that the model on single jumps is checked on: ``jumps_model.csv``.

Run from the root: python tests/reference/jumps_model.py; then, in this folder,
Rscript jumps_model.R > jumps_model.json.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

#: Group sizes, sessions, range of jumps, share of missing sessions, SDs of athletes, days, jumps.
SETS = {
    "two_groups": ((8, 9), 2, (3, 3), 0.0, (4.0, 1.2, 1.5)),
    "unequal_jumps": ((10, 10), 2, (1, 6), 0.0, (4.0, 1.5, 1.5)),
    "missing": ((9, 8), 3, (2, 5), 0.15, (3.0, 1.2, 1.0)),
    "three_groups": ((7, 8, 9), 3, (2, 4), 0.0, (3.0, 1.0, 1.2)),
    "one_group": ((12,), 4, (2, 4), 0.1, (3.5, 1.0, 1.3)),
    "small": ((5, 5), 2, (2, 6), 0.0, (3.0, 1.5, 1.0)),
    "quiet_days": ((10, 9), 3, (4, 6), 0.05, (3.0, 0.6, 1.5)),
}


def jumps_of(name: str, seed: int) -> pd.DataFrame:
    """Return one invented table of single jumps."""
    sizes, sessions, (least, most), missing, sds = SETS[name]
    rng = np.random.default_rng([20261126, seed])
    rows = []
    for g, size in enumerate(sizes):
        for i in range(size):
            athlete = f"{'abc'[g]}{i:02d}"
            level = 33 + sds[0] * rng.standard_normal()
            gone = rng.random(sessions) < missing
            gone[rng.integers(sessions)] = False
            for s in range(sessions):
                day = level + sds[1] * rng.standard_normal() + 0.7 * s * (g > 0)
                count = int(rng.integers(least, most + 1))
                jumps = day + sds[2] * rng.standard_normal(count)
                if not gone[s]:
                    rows += [(name, athlete, "abc"[g], f"s{s}", round(x, 4)) for x in jumps]
    return pd.DataFrame(rows, columns=["set", "athlete", "group", "session", "h"])


if __name__ == "__main__":
    parts = [jumps_of(name, seed) for seed, name in enumerate(SETS)]
    path = Path(__file__).with_suffix(".csv")
    pd.concat(parts).to_csv(path, index=False, lineterminator="\n")
