"""The table of agreement with R: made again, within a limit for each family, and as committed."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from places import REFERENCE
from reference.agreement import WHY, table

#: Largest relative difference; iterative fits stop where either program's optimiser does.
LIMITS = {
    "lmer": 1e-6,
    "lmer, Kenward & Roger": 1e-6,
    "pbkrtest": 1e-6,
    "mixed model, Kenward & Roger": 1e-6,
    "share of variance": 1e-7,  # uniroot and pf(ncp) of R
}
EXACT = 1e-9


@pytest.fixture(scope="module")
def made() -> pd.DataFrame:
    return table()


def test_every_number_of_r_has_ours_and_the_other_way_round(made):
    assert made[["r", "ours"]].notna().all(axis=None)
    assert len(made) >= 120
    assert made["family"].nunique() >= 17


def test_ours_is_as_near_as_the_family_allows(made):
    plain = made[made["why"] == ""]
    limit = plain["family"].map(LIMITS).fillna(EXACT)
    far = plain[plain["relative_difference"] > limit]
    assert far.empty, far.to_string()


def test_what_differs_on_purpose_is_what_is_stated(made):
    stated = made[made["why"] != ""].set_index("quantity")
    assert len(stated) == len(WHY)
    assert stated.loc["multiplier", "relative_difference"] < 2.5e-3
    # Bell & McCaffrey 2002 for two means: (1/n + 1/m)² / (1/(n² (n - 1)) + 1/(m² (m - 1)))
    n, m = 17, 26
    df = (1 / n + 1 / m) ** 2 / (1 / (n**2 * (n - 1)) + 1 / (m**2 * (m - 1)))
    assert stated.loc["df", "ours"] == pytest.approx(df, rel=1e-9)
    assert stated.loc["df", "r"] == pytest.approx(36.978863929464, rel=1e-9)


def test_the_committed_table_is_this_one(made):
    kept = pd.read_csv(REFERENCE / "agreement.csv", keep_default_na=False)
    keys = ["family", "data", "quantity", "why"]
    pd.testing.assert_frame_equal(kept[keys], made[keys], check_dtype=False)
    np.testing.assert_allclose(kept["ours"], made["ours"], rtol=1e-6)
    np.testing.assert_allclose(kept["r"], made["r"], rtol=1e-9)
