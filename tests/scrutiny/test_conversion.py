"""What is left after a conversion, and how far new values may be off."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from harness import count, judge
from pooling_calibration import BARS, BATCH, CELLS, PATH, SEED, STUDIES, shown, study
from scipy import stats

from cmjlab.scrutiny.pool.conversion import convert, left_of
from cmjlab.scrutiny.pool.structural_line import structural_line
from cmjlab.stats.reliability.agreement import limits_from_changing_truth


def test_one_jump_each_is_the_prediction_interval_of_a_mean():
    rng = np.random.default_rng(1)
    second = rng.normal(30, 4, 14)
    first = second - 1 + rng.normal(0, 0.7, 14)
    made = convert([[v] for v in first], [[v] for v in second], None)
    d = first - second
    assert made.offset == pytest.approx(d.mean())
    half = stats.t.ppf(0.975, 13) * d.std(ddof=1) * np.sqrt(1 + 1 / 14)
    assert made.half_width(0.95) == pytest.approx(half, rel=1e-9)
    mean = stats.t.ppf(0.975, 13) * d.std(ddof=1) * np.sqrt(1 / 5 + 1 / 14)
    assert made.half_width(0.95, athletes=5) == pytest.approx(mean, rel=1e-9)


def test_components_of_a_balanced_table_are_those_of_the_analysis_of_variance():
    rng = np.random.default_rng(2)
    d = rng.normal(0, 1, (10, 1)) + rng.normal(0, 0.5, (10, 4))
    left = left_of(list(d))
    f = stats.f_oneway(*d).statistic
    assert left.between / left.within == pytest.approx(f)
    assert (left.df_between, left.df_within, left.size) == (9, 30, 4)
    made = convert(list(d), list(np.zeros_like(d)), None)
    athletes = (left.between - left.within) / 4
    expected = athletes + left.within / 2 + left.between / 40
    assert made.variance(jumps=2) == pytest.approx(expected)


def test_the_bias_and_its_error_are_those_of_the_limits_of_agreement():
    rng = np.random.default_rng(3)
    d = [rng.normal(1, 1, 1) + rng.normal(0, 0.5, k) for k in (2, 3, 4, 3, 1, 2)]
    left, limits = left_of(d), limits_from_changing_truth(d)
    assert left.mean == pytest.approx(float(limits.bias))
    half = stats.t.ppf(0.975, 5) * left.mean_variance**0.5
    assert half == pytest.approx(float(limits.bias - limits.bias_low))
    single = sum(w * s for w, s in zip(*left.weights(1)[:2], strict=True))
    assert single == pytest.approx(float(limits.sd) ** 2)


def test_jumps_of_one_athlete_are_no_independent_evidence():
    """Every athlete has an offset of its own: ten jumps each say no more than one would."""
    rng = np.random.default_rng(4)
    own = rng.normal(0, 1, (8, 1))
    few = convert(list(own), list(np.zeros((8, 1))), None)
    many = convert(list(np.repeat(own, 10, axis=1)), list(np.zeros((8, 10))), None)
    assert many.half_width(0.95, jumps=10) == pytest.approx(few.half_width(0.95), rel=0.02)


def test_a_line_pays_for_its_slope():
    rng = np.random.default_rng(5)
    second = rng.normal(30, 4, (12, 2))
    first = 1.3 * second + rng.normal(0, 0.5, (12, 2))
    line = structural_line(list(second), list(first))
    made = convert(list(first), list(second), line)
    assert made.left.df_between == 10
    assert made.slope == line.slope
    assert made.relation_variance() > 0
    assert made.variance() < convert(list(first), list(second), None).variance()


def test_the_table_keeps_its_bars():
    table = pd.read_csv(PATH)
    assert len(table) == 4 * len(CELLS)
    assert table.groupby("quantity").size().to_dict() == dict.fromkeys(BARS, len(CELLS))
    counted = table.assign(hits=(table["proportion"] * table["studies"]).round())
    judged = judge(counted, bar=lambda _, quantity: BARS[quantity], shown=shown)
    assert (judged["verdict"] == table["verdict"]).all()
    assert (table["verdict"] != "fail").all()
    assert (table["studies"] == STUDIES).all()


@pytest.mark.parametrize("number", [0, 21])
def test_first_batch_repeats(number):
    rows = count(CELLS[number], study, studies=BATCH, seed=SEED, batch=BATCH)
    stored = pd.read_csv(PATH)
    for column, value in CELLS[number].items():
        stored = stored[stored[column] == value]
    kept = stored.set_index("quantity")["first_batch_hits"]
    assert {r["quantity"]: r["hits"] for r in rows} == kept.to_dict()
