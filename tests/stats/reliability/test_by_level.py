"""Whether the noise goes with the level: against R's gamma regression, and what cannot be told."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from places import REFERENCE

from cmjlab.stats.reliability.reliability import reliability

NAN = np.nan
#: The squad of tests/reference/by_level.R.
SQUAD = np.array(
    [31.2, 32.0, 31.5, 35.1, 33.9, 36.2, 28.4, 28.5, NAN, 40.2, 38.1, 41.9, 33.3, 33.0, 33.6,
     29.9, 31.8, 30.1, 36.6, 36.9, 38.8, 34.0, 30.9, 33.1, 44.1, 40.8, 43.0, 26.3, NAN, 26.9]
).reshape(10, 3)  # fmt: skip


def frame(values: np.ndarray, **more: np.ndarray) -> pd.DataFrame:
    n, k = values.shape
    return pd.DataFrame(
        {
            "athlete": np.repeat([f"A{i}" for i in range(n)], k),
            "session": np.tile([f"s{j}" for j in range(k)], n),
            "value": values.ravel(),
            **{name: column.ravel() for name, column in more.items()},
        }
    )


def drawn(power: float, *, n: int, k: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    level = rng.normal(34, 6, (n, 1))
    return level + rng.standard_normal((n, k)) * (level / 34) ** power


def test_against_r() -> None:
    theirs = pd.read_csv(REFERENCE / "by_level.csv").iloc[0]
    result = reliability(frame(SQUAD))
    row = result.rows("noise_with_level").iloc[0]
    assert [row["estimate"], row["ci_low"], row["ci_high"]] == pytest.approx(
        theirs[["b", "low", "high"]].to_numpy(), rel=1e-6
    )
    changes = [result.value(f"detectable_change_{end}") for end in ("low", "high")]
    assert changes == pytest.approx(theirs[["change_low", "change_high"]].to_numpy(), rel=1e-6)
    assert "28.3" in result.rows("detectable_change_low")["contrast"].iloc[0]


@pytest.mark.parametrize(
    ("power", "code"), [(0.0, "noise_same"), (1.0, "noise_in_proportion"), (4.0, "noise_otherwise")]
)
def test_a_large_squad_tells(power: float, code: str) -> None:
    row = reliability(frame(drawn(power, n=200, k=4, seed=2))).rows("noise_with_level").iloc[0]
    assert row["remark_code"] == code
    assert row["ci_low"] < power < row["ci_high"]


def test_a_small_squad_says_that_it_cannot_tell() -> None:
    row = reliability(frame(drawn(0.0, n=12, k=2, seed=5))).rows("noise_with_level").iloc[0]
    assert row["remark_code"] == "noise_unclear"
    assert row["ci_high"] - row["ci_low"] > 2


def test_reasons_where_there_is_no_relation() -> None:
    few = reliability(frame(drawn(0.0, n=5, k=3, seed=1)))
    assert few.rows("noise_with_level")["reason_code"].tolist() == ["few_for_level"]
    values = drawn(0.0, n=9, k=3, seed=1)
    both = reliability(frame(values, below=-values, same=np.full(values.shape, 3.0)))
    codes = both.rows("noise_with_level").set_index("metric")["reason_code"]
    assert codes["below"] == "not_all_positive"
    assert codes["same"] == "all_equal"
    assert pd.isna(codes["value"])


def test_coverage_in_a_squad_of_twelve() -> None:
    inside = {}
    for power in (0.0, 1.0):
        table = pd.DataFrame(
            {"athlete": np.repeat(np.arange(12), 2), "session": np.tile([0, 1], 12)}
        )
        many = {f"m{i}": drawn(power, n=12, k=2, seed=100 + i).ravel() for i in range(600)}
        rows = reliability(pd.concat([table, pd.DataFrame(many)], axis=1)).rows("noise_with_level")
        inside[power] = rows["ci_low"].le(power).mul(rows["ci_high"].ge(power)).mean()
    assert min(inside.values()) > 0.92
    assert max(inside.values()) < 0.98
