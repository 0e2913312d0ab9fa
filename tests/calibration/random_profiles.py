"""Errors of one jump against exact truth, over random athletes, noise, sway and sampling rates.

Run from the repository root: ``python tests/calibration/random_profiles.py``; it writes
``random_profiles.csv`` beside itself in about two minutes. Sixty random athletes, each with a
random onset shape, in each of 60 cells; at 100 and 200 Hz every recording is refused for its
rate, so that the share accepted is counted without that rule.
"""

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.simulate.jump import RecordingSettings, simulate_jump
from cmjlab.simulate.profile import ONSET_SHAPES, Profile

TABLE = Path(__file__).with_suffix(".csv")
RATES_HZ = (100.0, 200.0, 500.0, 1000.0, 2000.0)
NOISE_N, SWAY_N = (0.0, 1.5, 3.0, 5.0), (0.0, 3.0, 6.0)
ATHLETES = 60
METRICS = (
    "jump_height_m", "countermovement_depth_m", "time_to_takeoff_s", "braking_duration_s",
    "rsi_modified_m_per_s", "peak_propulsion_power_w", "mean_braking_force_n",
)  # fmt: skip
HOW = RecordingSettings(plates=1)


def athlete(random: np.random.Generator) -> Profile:
    """Return a random athlete; numbers that make no jump are drawn again."""
    while True:
        try:
            return Profile(
                mass_kg=float(random.uniform(40, 120)),
                unweighting=float(random.uniform(0.35, 0.9)),
                braking=float(random.uniform(0.9, 2.0)),
                depth_m=float(random.uniform(0.15, 0.45)),
                takeoff_velocity_m_per_s=float(random.uniform(1.8, 3.2)),
                push_exponent=float(random.uniform(4, 12)),
                onset_shape=str(random.choice(sorted(ONSET_SHAPES))),
            )
        except ArgumentError:
            continue


def cell(rate: float, noise: float, sway: float, athletes: int = ATHLETES) -> pd.DataFrame:
    """Return errors of every athlete's jump; fewer athletes are the first of many."""
    rows = []
    for number in range(athletes):
        random = np.random.default_rng([52_000, number])
        sim = simulate_jump(
            athlete(random), rate_hz=rate, noise_sd_n=noise, sway_sd_n=sway, settings=HOW,
            seed=int(random.integers(2**31)),
        )  # fmt: skip
        jump = measure(sim.recording)
        failed = [c.code for c in jump.checks if c.status == "fail" and c.code != "sampling"]
        errors = {m: jump.metrics[m] - sim.truth[m] for m in METRICS}
        rows.append({"accepted": not failed, **errors})
    return pd.DataFrame(rows)


def summary(found: pd.DataFrame) -> list[dict[str, object]]:
    """Return share accepted, and bias, 95th percentile and largest error of each metric."""
    out = []
    for metric in METRICS:
        error = found[metric].dropna()
        sizes = error.abs()
        out.append(
            {
                "metric": metric, "accepted": round(float(found["accepted"].mean()), 3),
                "n": len(error), "bias": float(f"{error.mean():.3g}"),
                "p95_abs": float(f"{sizes.quantile(0.95):.3g}"),
                "max_abs": float(f"{sizes.max():.3g}"),
            }
        )  # fmt: skip
    return out


def main() -> None:
    """Write the table."""
    rows = [
        {"rate_hz": rate, "noise_n": noise, "sway_n": sway, **row}
        for rate, noise, sway in product(RATES_HZ, NOISE_N, SWAY_N)
        for row in summary(cell(rate, noise, sway))
    ]
    pd.DataFrame(rows).to_csv(TABLE, index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
