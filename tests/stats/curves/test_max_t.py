"""The largest |t| of dealt curves, held against scipy, MNE-Python, a paired table of signs and itself."""

from __future__ import annotations

import json
from itertools import product

import numpy as np
import pytest
from curves_kit import reference_curves
from places import REFERENCE
from scipy import stats

from cmjlab.stats.curves import max_t
from cmjlab.stats.curves.max_t import one_group, two_groups


def curves(seed: int, n: int, m: int = 15) -> np.ndarray:
    """Return n smooth curves of m points."""
    rng = np.random.default_rng(seed)
    at = np.linspace(0, 1, m)
    waves = np.array([np.ones(m), np.sin(3 * at), np.cos(5 * at), at**2])
    return rng.standard_normal((n, 4)) @ waves + 0.3 * rng.standard_normal((n, m))


@pytest.mark.parametrize(("n1", "n2"), [(4, 4), (3, 6), (5, 5)])
def test_two_groups_equal_scipys_exact_permutation_test(n1, n2):
    first, second = curves(1, n1) + 1.2, curves(2, n2)

    # Points are columns of one sample of athletes: deal indices, so that whole curves go together.
    both = np.vstack([first, second])

    def largest(x, y, axis):
        a, b = both[np.moveaxis(x, axis, 0).astype(int)], both[np.moveaxis(y, axis, 0).astype(int)]
        return np.abs(stats.ttest_ind(a, b, axis=0, equal_var=False).statistic).max(axis=-1)

    test = stats.permutation_test(
        (np.arange(n1), np.arange(n1, n1 + n2)), largest, vectorized=True,
        permutation_type="independent", alternative="greater", n_resamples=np.inf,
    )  # fmt: skip
    band = two_groups(first, second, 0.95)
    assert band.complete
    assert band.largest == pytest.approx(test.statistic, rel=1e-10)
    assert band.p_any == pytest.approx(test.pvalue, abs=1e-12)
    assert band.deals == len(test.null_distribution)
    own = np.abs(band.t)
    for j in range(own.size):  # single step: every point against the same largest values
        share = (test.null_distribution >= own[j] * (1 - 1e-9)).mean()
        assert band.p[j] == pytest.approx(share, abs=1e-12)


def test_one_group_equals_scipys_exact_sign_test():
    changes = curves(3, 8) + 0.8

    def by_index(x, axis):
        signs = np.sign(np.moveaxis(x, axis, 0))
        flipped = signs[..., None] * changes.reshape((8,) + (1,) * (signs.ndim - 1) + (-1,))
        return np.abs(stats.ttest_1samp(flipped, 0.0, axis=0).statistic).max(axis=-1)

    test = stats.permutation_test(
        (np.ones(8),), by_index, vectorized=True, permutation_type="samples",
        alternative="greater", n_resamples=np.inf,
    )  # fmt: skip
    band = one_group(changes, 0.95)
    assert band.largest == pytest.approx(test.statistic, rel=1e-10)
    assert band.p_any == pytest.approx(test.pvalue, abs=1e-12)
    assert 2 * band.deals == len(test.null_distribution)


def test_one_group_equals_mne():
    """MNE leaves the identity's mirror and one more deal out, so a count may differ by one."""
    found = json.loads((REFERENCE / "curves_mne.json").read_text())
    band = one_group(reference_curves(), 0.95)
    np.testing.assert_allclose(band.t, found["t"], rtol=1e-9)
    ours = np.rint(band.p * band.deals)
    theirs = np.rint(np.array(found["p"]) * found["deals"])
    assert band.deals == 256
    assert found["deals"] == 255
    assert np.isin(ours - theirs, (0, 1)).all()


def test_every_point_has_welchs_t_and_its_standard_error():
    first, second = curves(4, 9), 2 * curves(5, 6)
    band = two_groups(first, second, 0.9)
    known = stats.ttest_ind(first, second, equal_var=False)
    np.testing.assert_allclose(band.t, known.statistic, rtol=1e-10)
    np.testing.assert_allclose(band.estimate, first.mean(0) - second.mean(0), atol=1e-12)
    np.testing.assert_allclose(band.estimate / band.se, known.statistic, rtol=1e-10)


def test_with_groups_of_equal_size_t_is_the_pooled_one_of_scipy():
    first, second = curves(6, 7), curves(7, 7)
    pooled = stats.ttest_ind(first, second, equal_var=True).statistic
    np.testing.assert_allclose(two_groups(first, second, 0.95).t, pooled, rtol=1e-10)


def test_one_point_is_the_usual_permutation_test():
    first, second = curves(8, 6, 1) + 1.0, curves(9, 5, 1)
    test = stats.permutation_test(
        (first[:, 0], second[:, 0]),
        lambda x, y, axis: np.abs(stats.ttest_ind(x, y, axis=axis, equal_var=False).statistic),
        vectorized=True, alternative="greater", n_resamples=np.inf,
    )  # fmt: skip
    band = two_groups(first, second, 0.95)
    assert band.p_any == pytest.approx(test.pvalue, abs=1e-12)
    assert band.p[0] == band.p_any


def test_signs_of_one_point_can_be_counted_by_hand():
    changes = np.array([[3.0], [1.0], [2.0], [5.0]])
    band = one_group(changes, 0.8)
    sums = [
        abs(sum(s * c for s, c in zip(signs, (3, 1, 2, 5), strict=True)))
        for signs in product((1, -1), repeat=4)
    ]
    assert band.p_any == sum(s >= 11 for s in sums) / 16 == 2 / 16


@pytest.mark.parametrize("shift", [0.0, 0.6, 1.0, 3.0])
@pytest.mark.parametrize("seed", range(4))
def test_the_band_leaves_zero_where_p_says_so(seed, shift):
    band = two_groups(curves(seed, 6) + shift, curves(seed + 50, 7), 0.95)
    low, high = band.limits
    np.testing.assert_array_equal((low > 0) | (high < 0), band.outside)


def test_so_few_athletes_have_no_band_and_never_a_p_below_what_can_come_out():
    band = one_group(curves(1, 4) + 100.0, 0.95)
    assert band.floor == 1 / 8
    assert band.p_any == 1 / 8
    assert np.isinf(band.critical)
    assert np.isnan(band.limits[0]).all()
    assert not band.outside.any()
    pair = two_groups(curves(1, 3) + 100.0, curves(2, 3), 0.95)
    assert (pair.floor, pair.deals) == (2 / 20, 20)
    assert np.isinf(pair.critical)


def test_drawn_deals_come_close_to_all_of_them_and_are_the_same_again(monkeypatch):
    first, second = curves(1, 7) + 0.9, curves(2, 7)
    exact = two_groups(first, second, 0.95)
    monkeypatch.setattr(max_t, "MAXIMUM", 10)
    drawn, again = two_groups(first, second, 0.95), two_groups(first, second, 0.95)
    assert exact.complete
    assert not drawn.complete
    np.testing.assert_array_equal(drawn.p, again.p)
    np.testing.assert_allclose(drawn.p, exact.p, atol=0.025)
    assert drawn.critical == pytest.approx(exact.critical, rel=0.05)
    far = two_groups(first + 1e6, second, 0.95)
    assert far.p_any >= 1 / max_t.DRAWN > 0


def test_points_that_are_fixed_by_definition_have_no_t_and_no_part_in_the_band():
    first, second = curves(1, 6) + 1.0, curves(2, 6)
    free = two_groups(first, second, 0.95)
    fixed = [np.insert(x, 7, 1e-17 * np.arange(6), axis=1) for x in (first, second)]
    band = two_groups(*fixed, 0.95)
    assert np.isnan(band.t[7])
    assert np.isnan(band.p[7])
    assert band.critical == free.critical
    assert not band.outside[7]
    nothing = one_group(np.zeros((6, 5)), 0.95)
    assert np.isnan(nothing.p_any)
    assert not nothing.outside.any()


def pooled_p(first, second, labels):
    """Return the p value of the same deals with the pooled t, up to a factor that all share."""
    both = np.vstack([first, second])
    n1, n2 = len(first), len(second)
    one, two = labels @ both / n1, (1 - labels) @ both / n2
    inside = (both**2).sum(0) - n1 * one**2 - n2 * two**2
    t = np.abs((one - two) / np.sqrt(inside)).max(axis=1)
    return (t >= t[0] * (1 - 1e-9)).mean()


def test_a_spread_that_differs_between_groups_is_why_t_is_welchs():
    """8 athletes who spread twice as much beside 16: no difference, so 5 % should be found."""
    labels = max_t._drawn_labels(24, 8, 600, 1)
    studies = [(2 * curves(2 * i, 8, 6), curves(2 * i + 1, 16, 6)) for i in range(400)]
    welch = np.mean([two_groups(a, b, 0.95, drawn=600).p_any <= 0.05 for a, b in studies])
    pooled = np.mean([pooled_p(a, b, labels) <= 0.05 for a, b in studies])
    assert pooled > 0.15
    assert welch < 0.13
