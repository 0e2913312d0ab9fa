"""The difference along the baseline against R, its region, and what is said."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from change_kit import pre_post
from places import TESTS

from cmjlab.stats.change.along_baseline import Along
from cmjlab.stats.change.change import change_between

#: tests/reference/change_scores.R (R 4.2.2): own line per group, band by √(2 F(2, 66)).
R = json.loads((TESTS / "reference" / "change_scores.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def anorexia(reference_data):
    wide = pd.read_csv(reference_data / "prepost" / "anorexia.csv")
    table = pre_post(wide["Prewt"], wide["Postwt"], wide["Treat"])
    return change_between(table, before="pre", after="post", control="Cont", assignment="random")


def test_the_test_of_slopes_equals_r(anorexia):
    row = anorexia.row("slope_f")
    found = [row[c] for c in ("test_value", "df", "df2", "p")]
    assert found == pytest.approx([R["slopes"][c] for c in ("f", "df", "df2", "p")], rel=1e-9)


@pytest.mark.parametrize("group", ["FT", "CBT"])
def test_difference_and_band_equal_r_at_chosen_baselines(anorexia, group):
    theirs = R[f"{group.lower()}_cont"]
    band = anorexia.points["along_baseline"]
    band = band[band["first"] == group]
    for at, estimate, low, high in zip(
        *(theirs[c] for c in ("at", "estimate", "low", "high")), strict=True
    ):
        if not band["baseline"].min() < at < band["baseline"].max():
            continue
        # the difference is a line, so that it is exact between two points; the band nearly
        assert np.interp(at, band["baseline"], band["estimate"]) == pytest.approx(
            estimate, rel=1e-9
        )
        assert np.interp(at, band["baseline"], band["ci_low"]) == pytest.approx(low, abs=0.02)
        assert np.interp(at, band["baseline"], band["ci_high"]) == pytest.approx(high, abs=0.02)


@pytest.mark.parametrize("group", ["FT", "CBT"])
def test_rows_at_quartiles_and_the_limit_equal_r(anorexia, group):
    theirs = R[f"{group.lower()}_cont"]
    slope, level = np.polyfit(theirs["at"], theirs["estimate"], 1)
    rows = anorexia.rows("difference_along_baseline", first=group)
    assert len(rows) == 3
    for _, row in rows.iterrows():
        at = json.loads(row["word_values"])["at"]
        assert row["estimate"] == pytest.approx(level + slope * at, rel=1e-9)
        half = (row["ci_high"] - row["ci_low"]) / 2 / row["se"]
        assert half == pytest.approx(theirs["multiplier"], rel=1e-9)
        assert (row["df"], row["df2"]) == (2, theirs["df"])
    limit = anorexia.rows("clear_limit", first=group)
    assert limit["case"].tolist() == ["clear_above"]
    assert limit["estimate"].tolist() == pytest.approx(
        [np.atleast_1d(theirs["roots"])[-1]], rel=1e-8
    )


def test_the_sentence_that_people_copy_is_conditional(anorexia):
    sentences = {s.values["first"]: s for s in anorexia.sentences}
    assert {s.key for s in sentences.values()} == {"change.along_baseline"}
    text = sentences["FT"].text
    assert "depends on where an athlete starts" in text
    assert "F(2, 66) = 5.41, p = 0.007" in text
    assert "It is clear from a baseline of 79.7 upwards." in text
    assert text.count("95 % interval") == 3


def test_the_leading_number_stays_what_it_was(anorexia):
    row = anorexia.row("adjusted_difference", first="FT")
    assert row["estimator"] == "ancova"
    assert row["estimate"] == pytest.approx(8.6601279, abs=1e-6)


def line(difference, slope, spread, slope_spread, low=-1.0, high=1.0):
    """Return a difference with independent errors of its middle and its slope."""
    covariance = np.diag([spread**2, slope_spread**2])
    ends = (np.array([difference, slope]), covariance, 2.0, 30, low, high)
    return Along(("a", "b"), *ends, np.linspace(low, high, 9))


@pytest.mark.parametrize(
    ("found", "kind", "limits"),
    [
        (line(5.0, 0.0, 1.0, 1.0), "everywhere", []),
        (line(0.1, 0.0, 1.0, 1.0), "nowhere", []),
        (line(0.0, 8.0, 1.0, 1.0), "outside", [-2 / 60**0.5, 2 / 60**0.5]),
        (line(3.0, 0.0, 1.0, 2.0), "between", [-(5**0.5) / 4, 5**0.5 / 4]),
        (line(4.0, 8.0, 1.0, 0.0), "outside", [-0.75, -0.25]),
        (line(8.0, 8.0, 1.0, 0.0, low=-0.9), "above", [-0.75]),
        (line(-4.0, 4.0, 1.0, 0.0), "below", [0.5]),
    ],
)
def test_every_kind_of_region(found, kind, limits):
    """Closed form: |d + s x| = 2 √(v + w x²)."""
    assert found.region()[0] == kind
    assert found.region()[1] == pytest.approx(limits, abs=1e-9)


def test_parallel_lines_get_no_rows_and_the_plain_sentence():
    rng = np.random.default_rng(1)
    before = rng.normal(33, 3, 30)
    table = pre_post(before, before + rng.normal(1, 1, 30), ["a", "b"] * 15)
    result = change_between(table, before="pre", after="post", assignment="random")
    assert result.rows("difference_along_baseline").empty
    assert result.points["along_baseline"].empty
    assert result.sentences[0].key == "change.adjusted_difference"


def test_a_band_holds_everywhere_at_once_in_95_of_100_studies():
    """No difference at any baseline, 2 × 12 athletes, 1,000 studies: the whole line is covered."""
    from cmjlab.stats.common.intervals import f_quantile

    rng = np.random.default_rng(20261126)
    n, studies, kept = 12, 1000, 0
    grid = np.linspace(-2, 2, 41)
    m = np.sqrt(2 * f_quantile(np.array(0.95), np.array(2.0), np.array(2.0 * n - 4)))
    for _ in range(studies):
        x = rng.standard_normal(2 * n)
        y = x + rng.standard_normal(2 * n)
        group = np.repeat([1.0, 0.0], n)
        design = np.column_stack([group, 1 - group, group * x, (1 - group) * x])
        inverse = np.linalg.inv(design.T @ design)
        beta = inverse @ design.T @ y
        variance = ((y - design @ beta) ** 2).sum() / (2 * n - 4)
        rows = np.array([[1.0, -1.0, 0.0, 0.0], [0.0, 0.0, 1.0, -1.0]])
        found = Along(("a", "b"), rows @ beta, variance * rows @ inverse @ rows.T, float(m),
                      2 * n - 4, -2.0, 2.0, x)  # fmt: skip
        estimate, se = found.at(grid)
        kept += bool((np.abs(estimate) <= found.multiplier * se).all())
    assert 0.935 < kept / studies < 0.975
