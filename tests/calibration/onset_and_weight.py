"""Onset rules and body-weight rules against truth, on several ways of starting and under sway.

Run from the repository root: ``python tests/calibration/onset_and_weight.py``; it writes
``onset_rules.csv`` and ``body_weight_rules.csv`` beside itself. Seeds and three of the six
profiles were not used while the fitted onset was developed.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from cmjlab.jump.measure import measure
from cmjlab.method import Method
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.onset_shapes import ONSET_SHAPES
from cmjlab.simulate.profile import named_profile

HERE = Path(__file__).parent
PROFILES = ("typical", "light", "fast_stiff", "slow_deep", "two_peaked", "late_peaked")
HOW = RecordingSettings(plates=1)

#: The drop alone, as published; the default also counts a rise directly before it.
DROP = Method(onset_rule="sd", onset_rise="ignore")
ONSET_METHODS = {
    "5 SD - 30 ms": DROP,
    "5 SD": DROP.replace(onset_shift_s=0.0),
    "20 N": DROP.replace(onset_rule="newton", onset_newton=20.0, onset_shift_s=0.0),
    "2.5 % BW": DROP.replace(onset_rule="percent", onset_percent=2.5, onset_shift_s=0.0),
    "5 % BW": DROP.replace(onset_rule="percent", onset_percent=5.0, onset_shift_s=0.0),
    "fit": DROP.replace(onset_rule="fit"),
    "5 SD - 30 ms, rise": Method(onset_rule="sd"),
    "fit, rise": Method(),
}
WEIGHT_METHODS = {
    "stillest 1 s": Method(),
    "last 1 s": Method(weighing="last"),
    "stillest 2 s": Method(weighing_duration_s=2.0),
    "rest to rest": Method(body_weight="rest_to_rest"),
    "rest to rest, 5 SD - 30 ms": Method(body_weight="rest_to_rest", onset_rule="sd"),
}
#: white noise and sway, N
ONSET_CELLS = ((1.0, 0.0), (5.0, 0.0), (1.0, 3.0))
WEIGHT_CELLS = ((1.0, 1.0), (1.0, 3.0), (2.0, 5.0))

Row = dict[str, str | float]


def errors(sims: list[SimulatedJump], method: Method) -> np.ndarray:
    """Return errors of time to take-off (ms), height (mm), depth (mm), body weight (N)."""
    out = []
    for sim in sims:
        m, t = measure(sim.recording, method).metrics, sim.truth
        out.append(
            (
                1e3 * (m["time_to_takeoff_s"] - t["time_to_takeoff_s"]),
                1e3 * (m["jump_height_m"] - t["jump_height_m"]),
                1e3 * (m["countermovement_depth_m"] - t["countermovement_depth_m"]),
                m["body_weight_n"] - t["body_weight_n"],
            )
        )
    return np.array(out)


def summary(values: np.ndarray, names: tuple[str, ...]) -> Row:
    """Return bias, SD and root mean square of each column."""
    row: Row = {}
    for name, column in zip(names, values.T, strict=True):
        row[f"{name}_bias"] = round(float(column.mean()), 2)
        row[f"{name}_sd"] = round(float(column.std(ddof=1)), 2)
        row[f"{name}_rms"] = round(float(np.sqrt(np.mean(column**2))), 2)
    return row


def onset_rows(each: int, first_seed: int) -> Iterator[Row]:
    """Yield one row per way of starting, noise and onset rule."""
    for shape in ONSET_SHAPES:
        for noise, sway in ONSET_CELLS:
            sims = [
                simulate_jump(
                    named_profile(profile).replace(onset_shape=shape),
                    noise_sd_n=noise, sway_sd_n=sway, settings=HOW, seed=first_seed + seed,
                )
                for profile in PROFILES
                for seed in range(each)
            ]  # fmt: skip
            for name, method in ONSET_METHODS.items():
                head: Row = {"start": shape, "noise_n": noise, "sway_n": sway, "rule": name}
                columns = errors(sims, method)[:, :3]
                yield {**head, **summary(columns, ("time_ms", "height_mm", "depth_mm"))}


def weight_rows(each: int, first_seed: int) -> Iterator[Row]:
    """Yield one row per noise, sway and way of weighing."""
    for noise, sway in WEIGHT_CELLS:
        sims = [
            simulate_jump(
                profile, noise_sd_n=noise, sway_sd_n=sway, settings=HOW, seed=first_seed + seed
            )
            for profile in PROFILES
            for seed in range(each)
        ]
        for name, method in WEIGHT_METHODS.items():
            head: Row = {"noise_n": noise, "sway_n": sway, "rule": name}
            columns = errors(sims, method)[:, 1:]
            yield {**head, **summary(columns, ("height_mm", "depth_mm", "weight_n"))}


def write(path: Path, rows: list[Row]) -> None:
    """Write rows as CSV."""
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """Write both tables."""
    write(HERE / "onset_rules.csv", list(onset_rows(20, 70_000)))
    write(HERE / "body_weight_rules.csv", list(weight_rows(50, 80_000)))


if __name__ == "__main__":
    main()
