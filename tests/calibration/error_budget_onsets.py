"""Make error_budget_onsets.csv: methods judged on onsets of several kinds.

    python tests/calibration/error_budget_onsets.py        # about one minute on one core

The six profiles and four more onsets (ramp, abrupt, creeping, a rise before the drop), noise
2 N, sway 0 and 3 N, 1000 Hz. A rule that wins on one shape only was fitted to it.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from cmjlab.method import Method
from cmjlab.simulate.profile import ONSET_PROFILES, PROFILES
from cmjlab.truth.budget import Design, known_truth

TABLE = Path(__file__).with_suffix(".csv")
METHODS = {
    "recommended": Method(),
    "onset fit": Method(onset_rule="fit"),
    "onset 2.5 % of weight": Method(onset_rule="percent", onset_shift_s=0.0),
    "weight rest to rest": Method(body_weight="rest_to_rest"),
    "integration from weighing": Method(integration_start="weighing_end"),
    "rest to rest, from weighing": Method(
        body_weight="rest_to_rest", integration_start="weighing_end"
    ),
}
METRICS = (
    "jump_height_m", "countermovement_depth_m", "time_to_takeoff_s", "rsi_modified_m_per_s",
    "body_weight_n", "event_onset_s",
)  # fmt: skip
REPEATS = 60
SEED = 20261125


def judged(name: str, repeats: int) -> pd.DataFrame:
    """Return the errors of one method on every profile; fewer repeats are the first of many."""
    design = Design(
        profiles=(*PROFILES, *ONSET_PROFILES), noise_sd_n=(2.0,), sway_sd_n=(0.0, 3.0),
        repeats=repeats,
    )  # fmt: skip
    table = known_truth(METHODS[name], design=design, metrics=METRICS, seed=SEED).table
    table.insert(0, "method", name)
    return table[
        ["method", "profile", "sway_sd_n", "metric", "unit", "n", "n_missing", "bias", "sd",
         "p99_abs", "max_abs"]
    ]  # fmt: skip


def main() -> None:
    """Write the table."""
    table = pd.concat([judged(name, REPEATS) for name in METHODS], ignore_index=True)
    table.to_csv(TABLE, index=False, float_format="%.4g", lineterminator="\n")


if __name__ == "__main__":
    main()
