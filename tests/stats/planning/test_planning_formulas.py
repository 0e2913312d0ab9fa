"""The formulas that notebook 08 shows give the numbers of athletes that the plan gives.

The noncentral t distribution is scipy's; the formulas are written here once more.
"""

from __future__ import annotations

from itertools import count

import pytest
from scipy import stats

import cmjlab as cj

ERROR, DF, MATTERS, BETWEEN = 0.014, 28, 0.015, 0.033


def power(noncentrality: float, df: float, level: float) -> float:
    limit = stats.t.ppf((1 + level) / 2, df)
    return 1 - stats.nct.cdf(limit, df, noncentrality) + stats.nct.cdf(-limit, df, noncentrality)


def one_group(n: int, v: float, r: float) -> tuple[float, float]:
    """Return standard error and df: σΔ / √n."""
    return ((v + r) / n) ** 0.5, n - 1


def two_groups(n: int, v: float, r: float) -> tuple[float, float]:
    """Return √((σΔ² + σ0²) / n) with Welch's df; nobody in the comparison group responds."""
    a, b = (v + r) / n, v / n
    return (a + b) ** 0.5, (a + b) ** 2 / ((a**2 + b**2) / (n - 1))


def ancova(n: int, v: float, r: float) -> tuple[float, float]:
    """Return the same given the baseline, with the slope estimated."""
    total = 2 * n
    return ((2 * v + r) / n * (total - 3) / (total - 4)) ** 0.5, total - 3


@pytest.mark.parametrize(("level", "wanted"), [(0.95, 0.8), (0.9, 0.9)])
def test_the_formulas_of_notebook_08_give_the_numbers_of_the_plan(level, wanted):
    plan = cj.plan_study(
        "jump_height_m",
        reliability={"jump_height_m": (ERROR, DF)},
        matters=MATTERS,
        scenario=cj.Scenario(sd_between_athletes=BETWEEN, simulations=200),
        power=wanted,
        level=level,
    )
    table = plan.points["needed"]
    assert set(table["baselines"]) == {1, 2}
    assert table["design"].nunique() == 3
    for row in table.itertuples():
        s, b = ERROR**2, row.baselines
        reliability = BETWEEN**2 / (BETWEEN**2 + s / b)
        kernel, v = {
            "one_group": (one_group, s * (1 + 1 / b)),
            "two_groups_change": (two_groups, s * (1 + 1 / b)),
            "two_groups_ancova": (ancova, BETWEEN**2 * (1 - reliability) + s),
        }[row.design]
        for n in count(3):
            error, df = kernel(n, v, s * row.response_sd**2)
            if power(MATTERS / error, df, level) >= wanted:
                break
        assert n == row.n, row
