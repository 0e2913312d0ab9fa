"""The calibration harness: counts, streams, bars."""

import numpy as np
import pandas as pd
import pytest
from harness import (
    COLUMNS,
    calibrate,
    count,
    covers,
    judge,
    proportion_limits,
    rejects,
    stream,
)
from scipy import stats


def study(rng, cell, size):
    x = rng.normal(size=(size, cell["n"]))
    se = x.std(axis=1, ddof=1) / np.sqrt(cell["n"])
    t = stats.t.ppf(0.975, cell["n"] - 1)
    mean = x.mean(axis=1)
    return {
        "t": covers(mean - t * se, mean + t * se, 0.0),
        "z": covers(mean - 1.96 * se, mean + 1.96 * se, 0.0),
        "test": rejects(2 * stats.t.sf(np.abs(mean / se), cell["n"] - 1)),
    }


def test_a_right_interval_passes_and_a_wrong_one_fails():
    def bar(cell, quantity):
        return (0.045, 0.055) if quantity == "test" else (0.94, 0.96)

    table = calibrate([{"n": 5}, {"n": 8}], study, studies=8000, seed=1, bar=bar)
    assert list(table.columns) == ["n", *COLUMNS]
    verdict = table.set_index(["n", "quantity"])["verdict"]
    assert (verdict.xs("t", level="quantity") == "pass").all()
    assert (verdict.xs("test", level="quantity") == "pass").all()
    assert (verdict.xs("z", level="quantity") == "fail").all()


def test_theory_can_ask_to_show_and_not_judge():
    table = calibrate(
        [{"n": 5}],
        study,
        studies=2000,
        seed=1,
        shown=lambda c, q: "normal quantile" if q == "z" else "",
    )
    assert table.set_index("quantity").loc["z", "verdict"] == "shown"


def test_a_cell_alone_gives_the_same_numbers():
    whole = calibrate([{"n": 5}, {"n": 8}], study, studies=3000, seed=2, batch=1000)
    alone = count({"n": 8}, study, studies=1000, seed=2, batch=1000)
    part = whole[whole["n"] == 8].set_index("quantity")
    for row in alone:
        assert row["hits"] == part.loc[row["quantity"], "first_batch_hits"]


def test_streams_differ_by_seed_cell_and_batch():
    first = stream(1, {"n": 5}, 0).random()
    assert first == stream(1, {"n": np.int64(5)}, 0).random()
    others = {
        stream(2, {"n": 5}, 0).random(),
        stream(1, {"n": 6}, 0).random(),
        stream(1, {"n": 5}, 1).random(),
    }
    assert len(others | {first}) == 4


def test_nan_is_not_estimable_and_not_a_miss():
    def half(rng, cell, size):
        hit = np.ones(size)
        hit[: size // 4] = np.nan
        return {"x": hit}

    row = calibrate([{"n": 1}], half, studies=400, seed=1).iloc[0]
    assert (row["studies"], row["not_estimable"], row["proportion"]) == (300, 100, 1.0)
    np.testing.assert_array_equal(covers([0, 2, np.nan], [1, 3, 1], 0.5), [1, 0, np.nan])
    np.testing.assert_array_equal(rejects([0.01, 0.2, np.nan]), [1, 0, np.nan])


def test_a_study_function_must_answer_for_every_study():
    with pytest.raises(ValueError, match=r"x: shape \(3,\) instead of \(10,\)"):
        count({"n": 1}, lambda rng, cell, size: {"x": np.ones(3)}, studies=10, seed=1)


def test_clopper_pearson_and_bonferroni():
    low, high = proportion_limits([0, 5, 10], [10, 10, 10], 0.95)
    expected = [stats.binomtest(h, 10).proportion_ci(0.95, "exact") for h in (0, 5, 10)]
    np.testing.assert_allclose(low, [e.low for e in expected], atol=1e-12)
    np.testing.assert_allclose(high, [e.high for e in expected], atol=1e-12)
    rows = pd.DataFrame({"quantity": list("ab"), "studies": 100, "not_estimable": 0, "hits": 95,
                         "first_batch_studies": 1, "first_batch_hits": 1})  # fmt: skip
    two = judge(rows)
    one = judge(rows.iloc[:1])
    assert two["mc_low"].iloc[0] < one["mc_low"].iloc[0]
