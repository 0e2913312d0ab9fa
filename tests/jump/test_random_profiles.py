"""Sixty random athletes against exact truth: what one jump's numbers are worth, cell by cell."""

from __future__ import annotations

import pandas as pd
import pytest
from calibration import random_profiles as PROFILES

KEYS = ["rate_hz", "noise_n", "sway_n"]
FEW = 15


@pytest.fixture(scope="module")
def committed() -> pd.DataFrame:
    return pd.read_csv(PROFILES.TABLE)


def test_the_table_holds_every_cell(committed: pd.DataFrame) -> None:
    cells = len(PROFILES.RATES_HZ) * len(PROFILES.NOISE_N) * len(PROFILES.SWAY_N)
    assert len(committed) == cells * len(PROFILES.METRICS)
    assert (committed["n"] >= PROFILES.ATHLETES - 1).all()


@pytest.mark.parametrize("where", [(1000.0, 1.5, 3.0), (200.0, 5.0, 0.0)])
def test_fresh_athletes_are_the_first_of_the_table(
    where: tuple[float, float, float], committed: pd.DataFrame
) -> None:
    fresh = pd.DataFrame(PROFILES.summary(PROFILES.cell(*where, athletes=FEW))).set_index("metric")
    kept = committed.set_index(KEYS).loc[where].set_index("metric")
    assert (fresh["max_abs"] <= 1.01 * kept["max_abs"]).all()


@pytest.mark.parametrize(
    ("metric", "bar"),
    [("jump_height_m", 0.002), ("countermovement_depth_m", 0.001), ("time_to_takeoff_s", 0.035)],
)
def test_quiet_standing_is_read_well_at_usual_rates(
    metric: str, bar: float, committed: pd.DataFrame
) -> None:
    quiet = committed.query("metric == @metric and sway_n == 0 and rate_hz >= 1000 and noise_n < 3")
    assert (quiet["p95_abs"] < bar).all(), quiet
