"""Association: the published example, sessions taken out, coupling named."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from result_kit import assert_typed
from scipy import stats

import cmjlab as cj
from cmjlab.errors import StatsError
from cmjlab.stats.association import rows
from cmjlab.stats.association.association import repeated_correlation
from cmjlab.stats.association.rows import coupling, fisher_limits
from cmjlab.stats.association.sentences import chance_note
from cmjlab.words.catalog import read_words


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # inside pingouin
def test_repeated_correlation_matches_the_published_example():
    """pH and PacO2 of 8 subjects, Bland & Altman 1995.

    Published by pingouin's documentation (tested there against the R package rmcorr):
    r = -0.50677, df = 38, p = 0.000847, 95 % interval -0.71 to -0.23. The data come with pingouin.
    """
    import pingouin

    data = pingouin.read_dataset("rm_corr")
    r, df = repeated_correlation(
        data["pH"].to_numpy(), data["PacO2"].to_numpy(), data["Subject"].to_numpy()
    )
    assert r == pytest.approx(-0.50677, abs=5e-6)
    assert df == 38
    assert fisher_limits(r, df, 0.95) == pytest.approx((-0.71, -0.23), abs=5e-3)
    t = r * np.sqrt(df / (1 - r * r))
    assert 2 * stats.t.sf(abs(t), df) == pytest.approx(0.000847, abs=5e-7)
    found = pingouin.rm_corr(data, x="pH", y="PacO2", subject="Subject")
    assert r == pytest.approx(float(found["r"].iloc[0]), abs=1e-6)


def two_sessions(n: int, rng: np.random.Generator, rise: float = 1.0) -> pd.DataFrame:
    """Two columns that both rise by ``rise`` SDs of change; the changes have no link."""
    start = rng.standard_normal((n, 2)) * 3
    change = rise + rng.standard_normal((n, 2))
    rows = []
    for i in range(n):
        rows.append({"athlete": f"A{i}", "session": "a", "x": start[i, 0], "y": start[i, 1]})
        rows.append(
            {
                "athlete": f"A{i}",
                "session": "b",
                "x": start[i, 0] + change[i, 0],
                "y": start[i, 1] + change[i, 1],
            }
        )
    return pd.DataFrame(rows)


def test_two_things_that_merely_both_rise_are_not_associated():
    """The published form is .5 on average where nothing is linked; with sessions out it is 0."""
    rng = np.random.default_rng(1)
    published, centred = [], []
    for _ in range(400):
        data = two_sessions(12, rng)
        arrays = data["x"].to_numpy(), data["y"].to_numpy(), data["athlete"].to_numpy()
        published.append(repeated_correlation(*arrays)[0])
        centred.append(repeated_correlation(*arrays, data["session"].to_numpy())[0])
    assert np.mean(published) == pytest.approx(0.5, abs=0.05)
    assert np.mean(centred) == pytest.approx(0.0, abs=0.05)


def test_with_two_sessions_the_centred_form_is_the_correlation_of_changes():
    data = two_sessions(15, np.random.default_rng(2))
    result = cj.association(data, "x", "y", before="a", after="b")
    wide = data.pivot(index="athlete", columns="session", values=["x", "y"])
    change = {c: wide[c]["b"] - wide[c]["a"] for c in ("x", "y")}
    r = stats.pearsonr(change["x"], change["y"])
    centred = result.rows("correlation_repeated", estimator="sessions_taken_out").iloc[0]
    direct = result.rows("correlation_change").iloc[0]
    for row in (centred, direct):
        assert row["estimate"] == pytest.approx(r.statistic, rel=1e-10)
        assert row["p"] == pytest.approx(r.pvalue, rel=1e-8)
        assert row["df"] == 13
        limits = r.confidence_interval(0.95)
        assert (row["ci_low"], row["ci_high"]) == pytest.approx((limits.low, limits.high), rel=1e-8)


def test_sizes_of_the_session_centred_test():
    """Without any link it rejects at 5 %: 2,000 studies, exact binomial limits."""
    rng = np.random.default_rng(3)
    hits = 0
    for _ in range(2000):
        data = two_sessions(10, rng)
        r, df = repeated_correlation(
            *(data[c].to_numpy() for c in ("x", "y", "athlete", "session"))
        )
        hits += 2 * stats.t.sf(abs(r) * np.sqrt(df / (1 - r * r)), df) < 0.05
    low, high = stats.binom.interval(0.999, 2000, 0.05)
    assert low <= hits <= high


def test_change_against_start_is_named_and_oldham_stands_beside_it():
    """Two noisy tests of the same thing: change correlates with the start, not with the mean."""
    rng = np.random.default_rng(4)
    n = 400
    true = rng.standard_normal(n)
    data = pd.concat([
        pd.DataFrame({"athlete": [f"A{i}" for i in range(n)], "session": s, "jump_height_m": true + rng.standard_normal(n)})
        for s in ("a", "b")
    ])  # fmt: skip
    result = cj.association(data, "jump_height_m", "jump_height_m", before="a", after="b")
    start = result.rows("correlation_with_change", session="a").iloc[0]
    assert start["estimate"] == pytest.approx(-0.5, abs=0.1)
    assert start["remark_code"] == "change_contains_value"
    assert (start["first"], start["second"]) == ("b", "a")
    assert result.value("correlation_oldham") == pytest.approx(0, abs=0.12)
    assert "Oldham" in next(str(n) for n in result.notes if n.code == "change_contains_start")


@pytest.mark.parametrize(
    ("a", "b", "tied"),
    [
        ("rsi_modified_m_per_s", "jump_height_m", True),
        ("force_share", "jump_height_m", True),
        ("relative_strength", "body_mass_kg", True),
        ("mean_braking_force_n_per_kg", "body_mass_kg", True),
        ("coach_rating_1_to_10", "jump_height_m", False),
    ],
)
def test_known_couplings(a, b, tied):
    assert bool(coupling(a, b)) is tied
    assert coupling(a, b) == coupling(b, a)


def test_every_coupling_has_words():
    assert all(f"reason.{why}" in read_words().keys for _, _, why in rows._COUPLED)


def test_attendance_of_one_session_against_change_is_association_only():
    data = two_sessions(20, np.random.default_rng(5))
    data["attendance_percent"] = np.where(data["session"] == "b", 80 + np.arange(40) % 7, np.nan)
    result = cj.association(data, "attendance_percent", "y", before="a", after="b")
    row = result.rows("correlation_with_change").iloc[0]
    assert (row["other_metric"], row["session"]) == ("attendance_percent", "b")
    assert row["contrast"] == "b - a, with attendance percent"
    assert row["n"] == 20
    missing = result.rows("correlation_change").iloc[0]
    assert missing["reason_code"] == "no_change_of_other"
    assert "attendance percent has no value in both a and b" in missing["text"]
    assert result.has_note("association_only")
    assert "20 athletes" in next(str(n) for n in result.notes if n.code == "chance_correlation")


def test_few_athletes_words_use_the_exact_limit():
    """With 12 athletes |r| must exceed .576 (table of critical values, e.g. Bland 2015)."""
    assert chance_note(12).values["edge"] == pytest.approx(0.576, abs=5e-4)
    assert "−0.58 and 0.58" in str(chance_note(12))
    assert "next to nothing" in str(chance_note(4))


def test_constant_columns_and_too_few_athletes_are_explained():
    data = two_sessions(8, np.random.default_rng(6)).assign(z=1.0)
    result = cj.association(data, "z", "y")
    assert (result.table["reason_code"] == "one_does_not_vary").all()
    assert (result.table["text"] == "not estimable: one of the two does not vary").all()
    small = cj.association(two_sessions(3, np.random.default_rng(7)), "x", "y")
    assert small.rows("correlation")["text"].str.contains("3 athletes with both values").all()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"before": "a"}, "before and after are needed together"),
        ({"before": "a", "after": "a"}, "both 'a'"),
        ({"before": "a", "after": "c"}, "there is no session 'c'"),
        ({"use": ["q"]}, "there is no session 'q'"),
    ],
)
def test_wrong_sessions_are_named(arguments, message):
    with pytest.raises(StatsError, match=message):
        cj.association(two_sessions(6, np.random.default_rng(8)), "x", "y", **arguments)


def test_a_column_with_itself_needs_two_sessions():
    with pytest.raises(StatsError, match="nothing to correlate"):
        cj.association(two_sessions(6, np.random.default_rng(9)), "x", "x")


def test_sessions_are_taken_out_with_gaps_too():
    """Unbalanced: compared with least squares on all indicator columns."""
    rng = np.random.default_rng(10)
    athlete, session = np.repeat(np.arange(9), 4), np.tile(np.arange(4), 9)
    keep = rng.random(36) > 0.25
    athlete, session = athlete[keep], session[keep]
    values = rng.standard_normal((len(athlete), 2)) + session[:, None]
    seen = np.bincount(athlete, minlength=9)[athlete] > 1
    design = np.column_stack([np.eye(9)[athlete], np.eye(4)[session]])[seen]
    solution, _, rank, _ = np.linalg.lstsq(design, values[seen], rcond=None)
    rest = values[seen] - design @ solution
    r, df = repeated_correlation(values[:, 0], values[:, 1], athlete, session)
    assert r == pytest.approx(np.corrcoef(rest.T)[0, 1], rel=1e-9)
    assert df == seen.sum() - rank - 1


def test_infinite_values_are_named():
    data = two_sessions(6, np.random.default_rng(11))
    data.loc[3, "y"] = np.inf
    with pytest.raises(StatsError, match="y: athlete A1, session b is infinite"):
        cj.association(data, "x", "y")


@pytest.mark.parametrize("n", [1, 2, 4, 12])
@pytest.mark.parametrize("change", ["plain", "constant", "holes", "sexes"])
def test_everything_is_typed_and_can_be_said(n, change):
    data = two_sessions(n, np.random.default_rng(n)).rename(columns={"y": "jump_height_m"})
    data = data.assign(coach_rating=np.arange(len(data)) % 5, force_share=data["jump_height_m"] + 1)
    if change == "constant":
        data["x"] = 3.0
    if change == "holes":
        data.loc[data["session"] == "a", "coach_rating"] = np.nan
        data.loc[::3, "x"] = np.nan
    if change == "sexes":
        data = data.assign(
            sex=np.where(np.arange(len(data)) % 4 < 2, "f", "m"), group=data["athlete"]
        )
    columns = ["x", "jump_height_m", "coach_rating", "force_share"]
    result = cj.association(data, columns, columns, before="a", after="b")
    assert_typed(result)
    both = result.rows("correlation_repeated")
    for _, part in both.groupby(["metric", "other_metric"]):
        assert part["leads"].sum() == 1
    said = [s for s in result.sentences if s.key == "association.correlation_repeated"]
    known = both["estimate"].notna() & both["leads"].astype(bool)
    assert len(said) == int(known.sum())
