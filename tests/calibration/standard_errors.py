"""How often the standard errors of one jump hold, over starts that the onset was not made from.

Run from the repository root: ``python tests/calibration/standard_errors.py``; it writes
``standard_errors.csv`` beside itself. Twelve onset shapes, deep slow, middling and fast short
athletes, noise and sway; coverage is the share of jumps whose truth lies within 1.96 standard
errors. Seeds were not used while the rules were made.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from cmjlab.errors import ArgumentError
from cmjlab.jump.measure import measure
from cmjlab.simulate.jump import RecordingSettings, simulate_jump
from cmjlab.simulate.onset_shapes import ONSET_SHAPES
from cmjlab.simulate.profile import Profile

TABLE = Path(__file__).with_suffix(".csv")
#: metric -> its standard error
ERRORS = {
    "jump_height_m": "jump_height_se_m",
    "countermovement_depth_m": "countermovement_depth_se_m",
    "time_to_takeoff_s": "time_to_takeoff_se_s",
    "rsi_modified_m_per_s": "rsi_modified_se_m_per_s",
}
#: rate (Hz), white noise and sway (N)
CELLS = (
    (1000.0, 0.5, 0.0), (1000.0, 1.0, 1.0), (1000.0, 1.0, 3.0), (1000.0, 3.0, 0.0),
    (1000.0, 5.0, 0.0), (500.0, 1.0, 1.0), (200.0, 1.0, 1.0), (2000.0, 0.5, 0.0),
)  # fmt: skip
#: unweighting, braking, depth (m) of three kinds of athletes
ATHLETES = {
    "slow": ((0.40, 0.55), (0.95, 1.15), (0.33, 0.40)),
    "middling": ((0.55, 0.70), (1.20, 1.40), (0.26, 0.32)),
    "fast": ((0.70, 0.85), (1.50, 1.80), (0.18, 0.26)),
}
EACH = 12
HOW = RecordingSettings(plates=1)


def athlete(kind: str, shape: str, random: np.random.Generator) -> Profile:
    """Return a random athlete of one kind."""
    unweighting, braking, depth = (float(random.uniform(*span)) for span in ATHLETES[kind])
    return Profile(
        mass_kg=float(random.uniform(50, 100)),
        unweighting=unweighting,
        braking=braking,
        depth_m=depth,
        takeoff_velocity_m_per_s=float(random.uniform(2.3, 2.7)),
        onset_shape=shape,
    )


def errors(cell: tuple[float, float, float], each: int, first_seed: int) -> pd.DataFrame:
    """Return error and standard error of every jump of a cell."""
    rate, noise, sway = cell
    rows = []
    for number, (kind, shape) in enumerate((k, s) for k in ATHLETES for s in ONSET_SHAPES):
        for seed in range(each):
            random = np.random.default_rng([first_seed, number, seed])
            try:
                profile = athlete(kind, shape, random)
            except ArgumentError:
                continue  # these numbers and this shape make no jump
            sim = simulate_jump(
                profile, rate_hz=rate, noise_sd_n=noise, sway_sd_n=sway, settings=HOW,
                seed=int(random.integers(2**31)),
            )  # fmt: skip
            metrics = measure(sim.recording).metrics
            row: dict[str, object] = {"kind": kind, "shape": shape}
            for metric, error in ERRORS.items():
                row[metric] = metrics[metric] - sim.truth[metric]
                row[error] = metrics[error]
            rows.append(row)
    return pd.DataFrame(rows)


def summary(cell: tuple[float, float, float], found: pd.DataFrame) -> list[dict[str, object]]:
    """Return coverage, RMS error and mean standard error of each metric; bias slow − fast."""
    out = []
    for metric, error in ERRORS.items():
        means = found.groupby("kind")[metric].mean()
        inside = found[metric].abs() < 1.96 * found[error]
        out.append(
            {
                "rate_hz": cell[0], "noise_n": cell[1], "sway_n": cell[2], "metric": metric,
                "n": len(found), "coverage": round(float(inside.mean()), 4),
                "rms": float(f"{np.sqrt((found[metric] ** 2).mean()):.4g}"),
                "mean_se": float(f"{found[error].mean():.4g}"),
                "bias": float(f"{found[metric].mean():.4g}"),
                "bias_slow_minus_fast": float(f"{means['slow'] - means['fast']:.4g}"),
            }
        )  # fmt: skip
    return out


def main() -> None:
    """Write the table."""
    rows = [r for cell in CELLS for r in summary(cell, errors(cell, EACH, 31_000))]
    pd.DataFrame(rows).to_csv(TABLE, index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
