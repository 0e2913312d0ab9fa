"""ICC(A,1) by pivotal quantities, Bonett's interval, shared interval kernels, pingouin."""

import numpy as np
import pytest
from reliability_kit import squad, table
from scipy import special, stats

from cmjlab.errors import StatsError
from cmjlab.stats.common.intervals import (
    chi2_quantile,
    f_quantile,
    f_tail,
    mean_limits,
    mls_limits,
    noncentral_t_quantile,
    sd_limits,
    spearman_brown,
    t_quantile,
    t_tail,
)
from cmjlab.stats.common.mean_squares import two_way
from cmjlab.stats.reliability import icc as icc
from cmjlab.stats.reliability import pivotal as pivotal
from cmjlab.stats.reliability.missing import intra_block
from cmjlab.stats.reliability.pivotal import agreement_limits, points
from cmjlab.stats.reliability.published import published_icc
from cmjlab.stats.reliability.reliability import reliability
from cmjlab.stats.reliability.robust import bonett, shares
from cmjlab.stats.reliability.second_opinion import icc_by_pingouin


@pytest.fixture(autouse=True)
def _numpy_raises():
    with np.errstate(all="raise", under="ignore"):
        yield


@pytest.mark.parametrize("form", ["icc_a1", "icc_ak"])
def test_the_interval_for_these_sessions_leads_where_it_exists(form):
    frame = table(squad(), "noisy").assign(sure=table(np.repeat(squad(k=1), 2, axis=1))["score"])
    result = reliability(frame)
    assert result.row(form, metric="noisy")["interval_kind"] == "fiducial_these_sessions"
    assert result.row(form, metric="sure")["interval_kind"] == "mcgraw_wong"
    assert result.value(form, metric="sure") == 1.0
    assert published_icc(frame).row(form, metric="noisy")["interval_kind"] == "mcgraw_wong"


def test_quantiles_are_those_of_scipy_stats():
    p = np.array([0.001, 0.025, 0.3, 0.5, 0.9, 0.975, 0.9999])
    for df in (1.0, 4.5, 60.0):
        np.testing.assert_allclose(t_quantile(p, df), stats.t.ppf(p, df), rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(chi2_quantile(p, df), stats.chi2.ppf(p, df), rtol=1e-9)
        np.testing.assert_allclose(f_quantile(p, df, 7.0), stats.f.ppf(p, df, 7), rtol=1e-9)
        np.testing.assert_allclose(
            noncentral_t_quantile(p, df, 2.0), stats.nct.ppf(p, df, 2.0), rtol=1e-7
        )
    assert t_tail(-2.0, 9) == pytest.approx(2 * stats.t.sf(2, 9))
    assert f_tail(3.0, 2, 9) == pytest.approx(stats.f.sf(3, 2, 9))
    for low, high in (sd_limits(1.0, 0, 0.95), mean_limits(1.0, 1.0, -1, 0.95)):
        assert np.isnan(low)
        assert np.isnan(high)


def test_mls_of_one_variance_is_chi_square():
    low, high = mls_limits([1.0], [4.0], [9], 0.95)
    expected = np.square(sd_limits(2.0, 9, 0.95))
    np.testing.assert_allclose([low, high], expected, rtol=1e-12)


def test_spearman_brown():
    assert spearman_brown(0.8, 2) == pytest.approx(1.6 / 1.8)
    np.testing.assert_allclose(spearman_brown(spearman_brown(0.3, 4), 0.25), 0.3)


def test_points_fill_the_cube_evenly():
    u = points(3, 4096)
    assert u.shape == (3, 4096)
    for row in u:
        assert np.abs(np.sort(row) - (np.arange(4096) + 0.5) / 4096).max() < 2e-3
    assert np.abs(np.corrcoef(u) - np.eye(3)).max() < 0.03


def _draws(ms, fixed, rng, size):
    """Return draws of ICC(A,1) from independent chi-squares, noncentrality inverted by scipy."""
    n, k = int(ms.n), ms.k
    df_e, df_c = (n - 1) * (k - 1), k - 1
    e = float(ms.mse) * df_e / rng.chisquare(df_e, size)
    a = (float(ms.msr) * (n - 1) / rng.chisquare(n - 1, size) - e) / k
    if not fixed:
        c = np.maximum(float(ms.msc) * df_c / rng.chisquare(df_c, size) - e, 0) / n
        return a / (a + c + e)
    x, u = float(ms.msc) * df_c / e, rng.random(size)
    there = special.chdtr(df_c, x) > u
    nc = np.where(
        there, special.chndtrinc(np.where(there, x, 9.0), df_c, np.where(there, u, 0.1)), 0
    )
    return a / (a + e / n * nc / df_c + e)


@pytest.mark.parametrize("fixed", [False, True])
@pytest.mark.parametrize(
    ("n", "k", "shift"), [(12, 2, 0.8), (30, 2, 0.0), (5, 3, 0.5), (3, 2, 0.0)]
)
def test_pivotal_limits_against_many_random_draws(fixed, n, k, shift):
    ms = two_way(squad(n=n, k=k, seed=3, te=1.0) + shift * np.arange(k))
    low, high = agreement_limits(ms, 0.9, fixed=fixed)
    drawn = _draws(ms, fixed, np.random.default_rng(1), 60_000)
    # Shares below the limits: their standard error is .0009.
    assert np.mean(drawn < low[0]) == pytest.approx(0.05, abs=0.004)
    assert np.mean(drawn < high[0]) == pytest.approx(0.95, abs=0.004)


@pytest.mark.parametrize("fixed", [False, True])
@pytest.mark.parametrize(("n", "k", "error"), [(2, 2, 2e-3), (6, 3, 2e-4), (12, 2, 5e-6), (60, 2, 2e-6), (60, 4, 2e-6)])  # fmt: skip
def test_pivotal_limits_are_settled(fixed, n, k, error, monkeypatch):
    values = np.stack([squad(n=n, k=k, seed=s, te=2.0) + s * np.arange(k) / 4 for s in range(6)])
    found = agreement_limits(two_way(values), 0.95, fixed=fixed)
    monkeypatch.setattr(pivotal, "_FINE", 600)
    monkeypatch.setattr(pivotal, "_FINEST", 600)
    monkeypatch.setattr(pivotal, "_SETTLED", 1e-9)
    many_nodes = agreement_limits(two_way(values), 0.95, fixed=fixed)
    np.testing.assert_allclose(found, many_nodes, rtol=0, atol=error)
    assert (found[0] < found[1]).all()


def test_without_sessions_the_interval_is_the_exact_one_of_consistency():
    # Sessions that differ by nothing at all: F alone decides (McGraw & Wong 1996, ICC(C,1)).
    values = squad(n=15, k=2, seed=8, te=2.0)
    values[:, 1] += values[:, 0].mean() - values[:, 1].mean()
    ms = two_way(values)
    exact = icc.consistency(ms, 0.95)
    for fixed in (False, True):
        low, high = agreement_limits(ms, 0.95, fixed=fixed)
        np.testing.assert_allclose([low[0], high[0]], [exact.low, exact.high], atol=1e-6)


@pytest.mark.parametrize("df", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("df2", [2.0, 30.0, 600.0])
def test_large_noncentral_f_is_that_of_scipy(df, df2):
    scale = 1.2 * max(1e4, 100 * df2)
    share, y = np.meshgrid(np.linspace(0.2, 3, 30), np.array([scale, 3 * scale, 3.0, 90.0]) / df)
    found = pivotal._noncentral_f(df, df2, share * df * y, y)
    np.testing.assert_allclose(found, special.ncfdtr(df, df2, share * df * y, y), atol=5e-7)
    assert pivotal._noncentral_f(df, df2, np.array([1e12]), np.array([1.0])) == 0


def test_pivotal_limits_of_extreme_tables_are_numbers():
    rng = np.random.default_rng(5)
    for n, k in ((2, 2), (2, 6), (40, 2), (400, 3)):
        for spread in (0.0, 1e-3, 1e3):
            for shift in (0.0, 1e4):
                values = rng.normal(size=(n, k)) + spread * rng.normal(size=(n, 1))
                ms = two_way(values + shift * np.arange(k))
                for fixed in (False, True):
                    low, high = agreement_limits(ms, 0.95, fixed=fixed)
                    assert -1 / (k - 1) - 1e-9 <= low[0] <= high[0] <= 1


def test_pivotal_limits_do_not_depend_on_the_other_metrics():
    values = np.stack([squad(n=9, seed=s) for s in range(7)])
    many = agreement_limits(two_way(values), 0.9, fixed=True)
    for i in range(7):
        one = agreement_limits(two_way(values[i]), 0.9, fixed=True)
        assert (many[0][i], many[1][i]) == (one[0][0], one[1][0])


def test_bonett_of_two_sessions_is_the_published_formula():
    values = squad(n=15, seed=5)
    block = intra_block(values)
    low, high = bonett(shares(values, block), block, 0.95)
    d = values[:, 1] - values[:, 0]
    n, z = 15, stats.norm.ppf(0.975)
    kurtosis = n * np.sum((d - d.mean()) ** 4) / np.sum((d - d.mean()) ** 2) ** 2
    c = n / (n - z)
    se = c * np.sqrt((kurtosis - (n - 3) / n) / (n - 1))
    expected = np.sqrt(np.exp(np.log(c * d.var(ddof=1)) + np.array([-1, 1]) * z * se) / 2)
    np.testing.assert_allclose([low, high], expected, rtol=1e-12)


def test_noise_without_an_athlete():
    values = squad(n=10, seed=6)
    values[3, 0] += 8
    part = shares(values, intra_block(values))
    rest = intra_block(np.delete(values, 3, axis=0))
    assert part.without[3] == pytest.approx(float(np.sqrt(rest.mse)), rel=1e-9)
    assert part.p[3] < 0.01
    assert (np.delete(part.p, 3) > 0.05).all()


def test_those_who_stand_out_are_those_of_small_p():
    rng = np.random.default_rng(4)
    values = np.stack([squad(n=14, k=3, seed=s) for s in range(12)])
    for i in range(0, 12, 2):
        values[i, i % 14, 0] += 3.0 + i
    values[rng.random(values.shape) < 0.1] = np.nan
    part = shares(values, intra_block(values))
    for limit in (0.001, 0.01, 0.3):
        found = part.stands_out(limit)
        np.testing.assert_array_equal(found, part.p < limit)
        assert 0 < found.sum() < found.size / 4


@pytest.mark.parametrize("k", [2, 3, 4])
def test_pingouin_agrees_on_complete_data(k):
    frame = table(squad(n=11, k=k, seed=k))
    theirs = icc_by_pingouin(frame, "score").set_index("statistic")
    ours = reliability(frame).rows(interval_kind="mcgraw_wong").set_index("statistic")
    quick = published_icc(frame).table.set_index("statistic")
    for form in icc.FORMS:
        for mine in (ours, quick):
            found = mine.loc[form, ["estimate", "ci_low", "ci_high", "test_value", "p"]].astype(
                float
            )
            expected = theirs.loc[form, ["estimate", "ci_low", "ci_high", "f", "p"]].astype(float)
            np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-12)


def test_pingouin_keeps_its_own_option():
    import pingouin

    before = pingouin.options["round.column.CI95"]
    icc_by_pingouin(table(squad()), "score")
    assert pingouin.options["round.column.CI95"] == before
    with pytest.raises(StatsError, match="pingouin refuses"):
        icc_by_pingouin(table(squad(n=1)), "score")


def test_published_icc_says_what_it_left_out():
    values = squad(n=6)
    values[1, 0] = np.nan
    result = published_icc(table(values))
    assert result.has_note("missing_value")
    assert (result.table["n"] == 5).all()


def test_second_opinion_is_from_the_same_table_and_shows_a_difference(monkeypatch):
    from cmjlab.stats.reliability import second_opinion as room

    frame = table(squad(n=12, k=3, seed=4))
    frame.loc[0, "score"] = np.nan
    both = room.icc_second_opinion(frame, "score").set_index("statistic")
    assert list(both.index) == list(icc.FORMS)
    assert (both["n"] == 11).all()
    assert both["largest_gap"].max() < 1e-12
    two = room.icc_second_opinion(frame, "score", use=list(frame["session"].unique())[1:])
    assert (two["n"] == 12).all()
    honest = room.icc_by_pingouin

    def wrong(part, metric):
        found = honest(part, metric)
        return found.assign(ci_high=found["ci_high"] + 0.02)

    monkeypatch.setattr(room, "icc_by_pingouin", wrong)
    changed = room.icc_second_opinion(frame, "score")["largest_gap"]
    np.testing.assert_allclose(changed, 0.02, atol=1e-12)
