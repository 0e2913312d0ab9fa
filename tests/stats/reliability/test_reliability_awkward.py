"""Awkward tables: the right number or "not estimable" with the reason, and never a warning."""

import numpy as np
import pandas as pd
import pytest
from reliability_kit import squad, table

from cmjlab.catalog import STATISTICS
from cmjlab.errors import ArgumentError, StatsError
from cmjlab.stats.reliability.reliability import reliability


@pytest.fixture(autouse=True)
def _numpy_raises():
    """Every floating-point accident is an error (underflow to zero is not an accident)."""
    with np.errstate(all="raise", under="ignore"):
        yield


def sane(result):
    """Assert what must hold for every result; return it."""
    t = result.table
    assert set(t["statistic"]) <= set(STATISTICS)
    none = t[~np.isfinite(t["estimate"])]
    assert none["text"].fillna("").str.startswith("not estimable: ").all(), none
    assert (none["text"].str.len() > len("not estimable: ") + 5).all()
    assert none["reason_code"].notna().all()
    by_nature = ~t["statistic"].map(lambda s: STATISTICS[s].has_interval)
    bare = t[np.isfinite(t["estimate"]) & ~np.isfinite(t["ci_low"]) & ~by_nature]
    assert bare["text"].fillna("").str.startswith("no interval: ").all(), bare
    assert bare["reason_code"].notna().all()
    assert not [x for x in (*map(str, result.sentences), *(n.text for n in result.notes)) if not x]
    questions = t["statistic"].map(lambda s: STATISTICS[s].question or s)
    places = [t[c].fillna("") for c in ("metric", "group", "first", "second")]
    assert (t["leads"].groupby([questions, *places]).sum() == 1).all()
    assert (t["ci_low"].isna() == t["ci_high"].isna()).all()
    for c in ("estimate", "ci_low", "ci_high", "df", "df2", "se", "test_value", "p"):
        assert not np.isinf(t[c]).any(), (c, t[np.isinf(t[c])])
    assert (t["ci_low"].isna() | (t["ci_low"] <= t["ci_high"])).all()
    iccs = t[t["statistic"].str.startswith("icc_")]
    for c in ("estimate", "ci_low", "ci_high"):
        assert (iccs[c].isna() | iccs[c].between(-1, 1)).all()
    sds = t[t["statistic"].str.startswith(("typical_error", "sd_", "cv_", "smallest_"))]
    assert (sds["estimate"].isna() | (sds["estimate"] >= 0)).all()
    return result


def test_one_session():
    result = sane(reliability(table(squad(k=1))))
    assert "only one session (s1)" in result.rows("typical_error")["text"].iloc[0]
    assert result.has_note("one_session")


def test_one_session_with_jumps_shows_noise_within_the_day():
    rng = np.random.default_rng(1)
    jumps = pd.DataFrame(
        [
            (f"A{i}", "s1", r, 40 + 4 * a + rng.normal())
            for i, a in enumerate(rng.normal(size=9))
            for r in range(4)
        ],
        columns=["athlete", "session", "trial", "score"],
    )
    sessions = jumps.groupby(["athlete", "session"], as_index=False)["score"].mean()
    result = sane(reliability(sessions, jumps=jumps))
    row = result.rows("sd_between_jumps").iloc[0]
    wide = jumps.pivot(index="athlete", columns="trial", values="score").to_numpy()
    x = np.arange(4) - 1.5
    y = wide - wide.mean(axis=1, keepdims=True)
    slope = (y * x).sum() / (9 * (x**2).sum())
    assert row["estimate"] == pytest.approx(np.sqrt(((y - slope * x) ** 2).sum() / (9 * 3 - 1)))
    assert row["df"] == 26
    assert result.has_note("one_session")
    assert any("between days the noise is usually larger" in str(s) for s in result.sentences)


def test_one_athlete():
    result = sane(reliability(table([[40.0, 41.0]])))
    assert "1 athlete with two sessions" in result.rows("typical_error")["text"].iloc[0]


def test_two_athletes():
    result = sane(reliability(table([[40.0, 41.0], [30.0, 33.0]])))
    assert result.value("typical_error") == pytest.approx(1.0)
    assert result.value("session_change") == pytest.approx(2.0)
    assert result.has_note("few_athletes")


def test_two_athletes_whose_agreement_has_no_meaning():
    # MSR < MSE and MSC < MSE: the formula of ICC(A,1) leaves [-1, 1].
    result = sane(reliability(table([[1.0, 2.0], [2.0, 1.0], [1.5, 1.5001]])))
    row = result.rows("icc_ak", interval_kind="mcgraw_wong").iloc[0]
    assert "not separable" in row["text"]


def test_constant_metric():
    result = sane(reliability(table(np.full((5, 2), 30.1))))
    assert (result.table["statistic"] == "icc_c1").any()
    assert (
        result.rows("typical_error")["text"].iloc[0]
        == "not estimable: all 10 values are equal (30.1)"
    )


def test_identical_sessions_are_called_out():
    one = squad(k=1)
    result = sane(reliability(table(np.hstack([one, one]))))
    assert result.has_note("identical_sessions")
    assert "duplicated file" in [n for n in result.notes if n.code == "identical_sessions"][0].text
    assert result.value("typical_error") == 0
    assert (result.rows("icc_c1", interval_kind="mcgraw_wong")["estimate"] == 1).all()
    assert "noise is exactly zero" in result.rows("typical_error")["text"].iloc[0]


def test_second_and_third_of_three_sessions_identical():
    values = squad(k=3)
    values[:, 2] = values[:, 1]
    result = sane(reliability(table(values)))
    note = [n for n in result.notes if n.code == "identical_sessions"][0]
    assert "s2 and s3" in note.text
    assert "s1" not in note.text


def test_constant_shift_without_noise():
    one = squad(k=1)
    result = sane(reliability(table(np.hstack([one, one + 2.0]))))
    assert result.value("typical_error") == pytest.approx(0, abs=1e-6)
    assert result.value("session_change") == pytest.approx(2.0)


def test_no_difference_between_athletes():
    rng = np.random.default_rng(4)
    result = sane(reliability(table(40 + rng.normal(size=(12, 2)) * [1, 1])))
    values = rng.normal(size=(10, 1))
    negative = sane(
        reliability(table(np.hstack([40 + values, 40 - values]) + 0.01 * rng.normal(size=(10, 2))))
    )
    row = negative.rows("icc_c1", interval_kind="mcgraw_wong").iloc[0]
    assert row["estimate"] < 0
    assert "not separable" in row["text"]
    assert negative.has_note("not_separable")
    assert negative.rows("sd_between_athletes")["estimate"].iloc[0] == 0
    assert np.isfinite(result.value("typical_error"))


def test_one_athlete_far_out_is_named_and_kept():
    values = squad(n=12, seed=2)
    values[4, 1] += 12
    result = sane(reliability(table(values)))
    note = [n for n in result.notes if n.code == "one_athlete_noise"][0]
    assert "A5" in note.text
    assert result.rows("typical_error")["n"].iloc[0] == 12
    calm = sane(reliability(table(squad(n=12, seed=2))))
    assert not calm.has_note("one_athlete_noise")


def test_heavy_tails_point_to_the_robust_interval():
    rng = np.random.default_rng(3)
    values = 40 + 5 * rng.normal(size=(60, 1)) + rng.standard_t(2.2, size=(60, 2))
    result = sane(reliability(table(values)))
    assert result.has_note("uneven_noise")
    robust, plain = (result.rows(s).iloc[0] for s in ("typical_error_robust", "typical_error"))
    assert robust["ci_high"] / robust["ci_low"] > plain["ci_high"] / plain["ci_low"]
    assert not reliability(table(squad(n=20, seed=0))).has_note("uneven_noise")


def test_missing_values_are_named():
    values = squad(n=8, k=3)
    values[2, 1] = np.nan
    values[5] = np.nan
    result = sane(reliability(table(values)))
    texts = {n.code: n.text for n in result.notes}
    assert "A6" in texts["athlete_without_value"]
    assert "A3 (s2)" in texts["missing_value"]
    assert result.settings["n_athletes"] == 7
    assert result.rows("icc_c1", interval_kind="mcgraw_wong")["n"].iloc[0] == 6
    assert result.rows("icc_c1", interval_kind="exact_f_all_values")["n"].iloc[0] == 7


def test_one_of_two_sessions_missing_adds_nothing():
    values = squad(n=8)
    values[2, 1] = np.nan
    result = sane(reliability(table(values)))
    assert result.has_note("one_of_two")
    rest = sane(reliability(table(np.delete(values, 2, axis=0))))
    assert result.value("typical_error") == pytest.approx(rest.value("typical_error"), rel=1e-12)


def test_no_athlete_with_two_sessions():
    values = np.array([[1.0, np.nan], [2.0, np.nan], [np.nan, 3.0]])
    result = sane(reliability(table(values)))
    assert "0 athletes with two sessions" in result.rows("typical_error")["text"].iloc[0]


def test_a_metric_without_values_beside_a_good_one():
    frame = table(squad(), "a").assign(b=np.nan)
    result = sane(reliability(frame))
    assert result.rows("typical_error", metric="b")["text"].iloc[0] == "not estimable: no values"
    assert result.value("typical_error", metric="a") > 0


def test_infinite_value_is_refused_by_name():
    frame = table(squad())
    frame.loc[3, "score"] = np.inf
    with pytest.raises(StatsError, match=r"1 infinite value\(s\): athlete A2, session s2, score"):
        reliability(frame)


def test_metric_that_changes_sign_has_no_percent():
    values = squad(n=10, mean=0.0)
    assert (values < 0).any()
    assert (values > 0).any()
    result = sane(reliability(table(values)))
    row = result.rows("typical_error_percent").iloc[0]
    assert row["text"] == "not estimable: percent needs values that are all above zero"
    assert result.value("typical_error") > 0
    assert result.has_note("no_percent")


def test_metric_without_true_zero_has_no_percent():
    result = sane(reliability(table(squad(), "minimum_power_w")))
    assert result.rows("cv_rms_percent")["reason_code"].iloc[0] == "no_true_zero"


@pytest.mark.parametrize("scale", [1e-6, 1e6, 1e-12, 1e12])
def test_scale_does_not_matter(scale):
    base = reliability(table(squad())).table
    moved = sane(reliability(table(squad() * scale))).table
    metric_unit = base["unit"].fillna("").eq("") & ~base["statistic"].str.startswith(
        ("icc", "session_f", "typical_error_to", "noise_with")
    )
    factor = np.where(metric_unit, scale, 1.0)
    for c in ("estimate", "ci_low", "ci_high"):
        np.testing.assert_allclose(moved[c], base[c] * factor, rtol=1e-9)


def test_large_offset_keeps_its_digits():
    values = squad(te=0.001, between=0.004, mean=0.0)
    base, moved = reliability(table(values)), sane(reliability(table(values + 1e6)))
    for s in ("typical_error", "session_change", "sd_between_athletes"):
        assert moved.value(s) == pytest.approx(base.value(s), rel=1e-6)


def test_duplicate_keys_are_refused_and_listed():
    frame = table(squad())
    extra = frame.iloc[[0]].assign(score=61.2)
    with pytest.raises(StatsError, match=r"A1/s1 \(score: 39.8796 and 61.2\)"):
        reliability(pd.concat([frame, extra], ignore_index=True))


def test_exact_repeats_are_dropped_with_a_note():
    frame = table(squad())
    result = sane(reliability(pd.concat([frame, frame.iloc[:2]], ignore_index=True)))
    assert result.has_note("repeated_rows")
    assert result.value("typical_error") == reliability(frame).value("typical_error")


def test_ids_with_blanks_and_numbers_are_text():
    frame = table(squad())
    frame["athlete"] = [
        f" {i // 2 + 1:02d} " if i % 2 else f"{i // 2 + 1:02d}" for i in range(len(frame))
    ]
    result = sane(reliability(frame))
    assert result.settings["n_athletes"] == 10
    assert "01" in set(result.points["values"]["athlete"])


def test_text_columns_are_named():
    frame = table(squad()).assign(height=["34,1"] * 20)
    result = sane(reliability(frame))
    assert "height" in [n for n in result.notes if n.code == "text_column"][0].text
    with pytest.raises(StatsError, match="not numeric"):
        reliability(frame, "height")


def test_unknown_names_are_refused_with_a_suggestion():
    frame = table(squad(), "jump_height_m")
    with pytest.raises(StatsError, match="Did you mean 'jump_height_m'"):
        reliability(frame, "jump_height")
    with pytest.raises(StatsError, match="there is no session"):
        reliability(frame, use=("s1", "s9"))
    with pytest.raises(StatsError, match="no column 'sexx'"):
        reliability(frame, by="sexx")
    with pytest.raises(StatsError, match="no column 'session'"):
        reliability(frame.drop(columns="session"))


def test_change_that_matters_is_checked():
    frame = table(squad(), "a").assign(b=1.0 * np.arange(20))
    with pytest.raises(ArgumentError, match="one number for 2 metrics"):
        reliability(frame, change_that_matters=2.0)
    with pytest.raises(ArgumentError, match="change_that_matters"):
        reliability(frame, "a", change_that_matters=-1)
    with pytest.raises(ArgumentError, match="level"):
        reliability(frame, "a", level=95)


def test_baseline_role_and_order_of_sessions():
    values = squad(k=3)
    frame = table(values, sessions=["base1", "base2", "post"])
    frame["role"] = frame["session"].map({"base1": "baseline", "base2": "baseline", "post": "post"})
    result = sane(reliability(frame))
    assert result.settings["use"] == ["base1", "base2"]
    assert result.has_note("session_not_used")
    shuffled = frame.sample(frac=1, random_state=1)
    shuffled["session"] = pd.Categorical(
        shuffled["session"], ["base1", "base2", "post"], ordered=True
    )
    again = reliability(shuffled)
    assert again.rows("session_change")["contrast"].tolist() == ["base2 - base1"]
    assert again.value("session_change") == pytest.approx(result.value("session_change"))


def test_the_order_of_rows_and_columns_does_not_matter():
    frame = table(squad(n=9, k=3), "a").assign(b=lambda t: t["a"] ** 2)
    base = reliability(frame).table
    order = np.random.default_rng(2).permutation(len(frame))
    moved = frame.iloc[order][["b", "session", "a", "athlete"]]
    again = reliability(moved, ["a", "b"], use=["s1", "s2", "s3"]).table
    np.testing.assert_allclose(again["estimate"], base["estimate"], rtol=1e-9)
    np.testing.assert_allclose(again["ci_low"], base["ci_low"], rtol=1e-9)


def test_input_is_not_changed():
    frame = table(squad())
    before = frame.copy(deep=True)
    reliability(frame)
    pd.testing.assert_frame_equal(frame, before)


def test_an_athlete_in_two_strata_is_refused():
    frame = table(squad()).assign(sex="female")
    frame.loc[0, "sex"] = "male"
    with pytest.raises(StatsError, match="athlete A1 has 'male', 'female'"):
        reliability(frame, by="sex")


def test_strata_equal_separate_analyses():
    frame = table(squad(n=14))
    frame["sex"] = np.where(frame["athlete"].str[1:].astype(int) <= 6, "female", "male")
    frame.loc[frame["athlete"] == "A14", "sex"] = None
    result = sane(reliability(frame, by="sex"))
    assert result.has_note("stratum_not_stated")
    women = reliability(frame[frame["sex"] == "female"])
    for s in ("typical_error", "sd_between_athletes", "session_change"):
        assert result.value(s, group="female") == pytest.approx(women.value(s))
    everybody = result.rows("typical_error").query("group.isna()")["estimate"]
    assert everybody.tolist() == [pytest.approx(reliability(frame).value("typical_error"))]
    row = result.rows("smallest_worthwhile_change").query("group.isna()").iloc[0]
    assert row["estimator"] == "fifth_of_spread_within"
    assert "of the same sex" in row["method"]


def test_use_of_one_session_twice_is_refused():
    with pytest.raises(StatsError, match="twice"):
        reliability(table(squad()), use=("s1", "s1"))


def test_empty_tables_and_tables_without_a_value_are_refused():
    frame = table(squad())
    with pytest.raises(StatsError, match="no value of score in a table without rows"):
        reliability(frame.iloc[:0])
    with pytest.raises(StatsError, match="no value of score in s1, s2"):
        reliability(frame.assign(score=np.nan))


def test_number_types_of_pandas_and_arrow():
    frame = table(squad(n=8))
    base = reliability(frame).value("typical_error")
    frame["whole"] = (frame["score"] * 10).round().astype("Int64")
    frame.loc[3, "whole"] = pd.NA
    frame["single"] = frame["score"].astype("float32")
    frame["arrow"] = frame["score"].astype("float64[pyarrow]")
    result = sane(reliability(frame))
    assert result.settings["metrics"] == ["score", "whole", "single", "arrow"]
    assert result.value("typical_error", metric="arrow") == pytest.approx(base)
    assert result.value("typical_error", metric="single") == pytest.approx(base, rel=1e-4)
    assert result.rows("typical_error", metric="whole")["n"].iloc[0] == 7
