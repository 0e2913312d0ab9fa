"""Published and reference-program numbers for reliability and agreement, typed in with their source.

Values marked (R) were printed by R 4.2.2 with psych 2.2.9 (``ICC(lmer = FALSE)``), lme4 or base R
from the same data; they agree with the rounded figures of the papers.
"""

import numpy as np
import pandas as pd
import pytest
from reference.agreement_data import (
    CARDIAC_IC,
    CARDIAC_RV,
    PEFR_CHILDREN,
    PEFR_MINI,
    PEFR_WRIGHT,
    SBP_J,
    SBP_R,
    SBP_S,
)

from cmjlab.stats.common.mean_squares import two_way
from cmjlab.stats.reliability.agreement import (
    approximate_limit_se,
    limits_from_changing_truth,
    limits_from_replicates,
    limits_of_agreement,
)
from cmjlab.stats.reliability.reliability import reliability


def long(values, sessions=None):
    """Return a table of athletes × sessions in long form."""
    values = np.asarray(values, float)
    n, k = values.shape
    sessions = sessions or [f"S{j + 1}" for j in range(k)]
    return pd.DataFrame(
        {
            "athlete": np.repeat([f"A{i + 1:02d}" for i in range(n)], k),
            "session": np.tile(sessions, n),
            "score": values.ravel(),
        }
    )


# Shrout & Fleiss 1979, Psychol Bull 86:420, Table 2: six targets, four judges.
SHROUT_FLEISS = [
    [9, 2, 5, 8],
    [6, 1, 3, 2],
    [8, 4, 6, 8],
    [7, 1, 2, 6],
    [10, 5, 6, 9],
    [6, 2, 4, 7],
]
# (R) estimate and 95 % limits. The paper prints .17 .29 .71 .44 .62 .91 (from memory).
SHROUT_FLEISS_ICC = {
    "icc_1": (0.165741768405, -0.1329323248748, 0.722560062328),
    "icc_a1": (0.289763779528, 0.0187865133747, 0.761084369649),
    "icc_c1": (0.714840714841, 0.3424647650339, 0.945858259955),
    "icc_1k": (0.442797133679, -0.8844421552381, 0.912415420341),
    "icc_ak": (0.620050547599, 0.0711368153025, 0.927232040168),
    "icc_ck": (0.909315542377, 0.6756747138163, 0.985891678169),
}
# Eight wines, four judges: data set "icc" of pingouin 0.7.0 (from real-statistics.com).
WINE = [[1, 2, 0, 1], [1, 3, 3, 2], [3, 8, 1, 4], [6, 4, 3, 3], [6, 5, 5, 6], [7, 5, 6, 2], [8, 7, 7, 9], [9, 9, 9, 8]]  # fmt: skip
WINE_ICC = {  # (R)
    "icc_1": (0.727520915896, 0.433772833271, 0.926696029257),
    "icc_a1": (0.727688787185, 0.434489657891, 0.926708606316),
    "icc_c1": (0.729486500794, 0.426146030129, 0.927895261473),
    "icc_1k": (0.914383751176, 0.753955323101, 0.980607867055),
    "icc_ak": (0.914450035945, 0.754496219149, 0.980611387770),
    "icc_ck": (0.915158558858, 0.748137124159, 0.980943254108),
}


@pytest.mark.parametrize(
    ("data", "expected"), [(SHROUT_FLEISS, SHROUT_FLEISS_ICC), (WINE, WINE_ICC)]
)
@pytest.mark.parametrize("form", list(SHROUT_FLEISS_ICC))
def test_icc_forms_and_published_intervals(data, expected, form):
    result = reliability(long(data))
    row = result.rows(form, interval_kind="mcgraw_wong").iloc[0]
    found = (row["estimate"], row["ci_low"], row["ci_high"])
    np.testing.assert_allclose(found, expected[form], rtol=0, atol=1e-9)


# -- Bland & Altman 1986: two readings by each of two meters ------------------------------------


def one(result, statistic, **where):
    row = result.rows(statistic, **where)
    assert len(row) == 1, (statistic, where, len(row))
    return row.iloc[0]


def close(found, expected, atol=1e-9):
    np.testing.assert_allclose(np.asarray(found, float), expected, rtol=0, atol=atol)


def test_bland_altman_1986_wright_retest():
    result = reliability(long(PEFR_WRIGHT))
    te = one(result, "typical_error")
    # (R) SD of differences / √2 and its chi-square interval with 16 df.
    close([te.estimate, te.ci_low, te.ci_high], [15.361214527657, 11.440569237748, 23.378677079473])
    assert te.df == 16
    close(result.value("typical_error_percent"), 3.51176687416017)
    close(result.value("cv_rms_percent"), 3.49955869733311)
    published = one(result, "cv_mean_percent", estimator="mean_of_cvs")
    close(published.estimate, 2.42328362688735)
    for form, value in (
        ("icc_1", 0.983165020077526),
        ("icc_a1", 0.983164008259485),
        ("icc_c1", 0.983045841974452),
    ):
        close(one(result, form, interval_kind="mcgraw_wong").estimate, value)
    close(result.value("session_change"), -4.94117647058824)


def test_bland_altman_1986_mini_retest():
    result = reliability(long(PEFR_MINI))
    close(result.value("typical_error"), 20.4158063044011)
    close(result.value("typical_error_percent"), 5.35845748986246)
    close(result.value("cv_rms_percent"), 5.06563444255664)
    for form, value in (
        ("icc_1", 0.968496276549824),
        ("icc_a1", 0.96847076545936),
        ("icc_c1", 0.966904804789113),
    ):
        close(one(result, form, interval_kind="mcgraw_wong").estimate, value)


def test_bland_altman_1986_two_meters():
    difference = PEFR_WRIGHT[:, 0] - PEFR_MINI[:, 0]
    paper = limits_of_agreement(difference, z=2.0)
    close([paper.bias, paper.sd], [-2.11764705882353, 38.7651298736074])
    # (R) with 2 SD as in the paper, which prints -2.1, 38.8, -79.7, 75.5 (from memory).
    close([paper.lower, paper.upper], [-79.6479068060383, 75.4126126883912])
    close([paper.bias_low, paper.bias_high], [-22.0488376966452, 17.8135435789981])
    close(approximate_limit_se(paper.sd, 17), 16.2846117950315)
    usual = limits_of_agreement(difference)
    close([usual.lower, usual.upper], [-78.097301611094, 73.8620074934469])
    close(approximate_limit_se(usual.sd, 17, z=1.96), 16.3951079847145)
    # (R) exact intervals by noncentral t, for limits at the normal quantile .975.
    exact = limits_of_agreement(difference, z=1.959963984540054)
    close([exact.upper_low, exact.upper_high], [48.8596372990951, 119.925504177193], atol=1e-8)
    close([exact.lower_low, exact.lower_high], [-124.16079829484, -53.0949314167422], atol=1e-8)


def test_bland_altman_1986_means_of_two_readings():
    # The 1986 correction with the SD of repeated differences is the 1999 formula for two replicates.
    limits = limits_from_replicates(list(PEFR_WRIGHT), list(PEFR_MINI), z=2.0)
    close(limits.bias, -6.02941176470588)
    close(limits.sd, 37.6547786202651)
    close([limits.lower, limits.upper], [-81.3389690052362, 69.2801454758244])
    for data, expected in ((PEFR_WRIGHT, 43.2937979527838), (PEFR_MINI, 56.3163334367988)):
        close(2 * np.sqrt(np.mean((data[:, 0] - data[:, 1]) ** 2)), expected)


# -- Bland & Altman 1999: replicates ------------------------------------------------------------


def test_bland_altman_1999_blood_pressure():
    # (R) within-subject mean squares; the paper prints 37.408, 37.980 and 83.141 (from memory).
    for data, square in (
        (SBP_J, 37.4078431372548),
        (SBP_R, 37.9803921568626),
        (SBP_S, 83.1411764705883),
    ):
        close(two_way(data).msw, square)
    single = limits_of_agreement(SBP_J[:, 0] - SBP_S[:, 0])
    close([single.bias, single.sd], [-16.2941176470588, 19.6109927442383])
    close([single.lower, single.upper], [-54.7316634257658, 22.1434281316482])
    means = limits_from_replicates(list(SBP_J), list(SBP_S))
    close([means.bias, means.sd], [-15.6196078431373, 20.9489494049283])
    close([means.lower, means.upper], [-56.6795486767967, 25.4403329905222])


def test_bland_altman_1999_cardiac_unequal_replicates():
    constant = limits_from_replicates(CARDIAC_RV, CARDIAC_IC)
    close([constant.bias, constant.sd], [0.709236111111111, 1.05185060321984])
    close([constant.lower, constant.upper], [-1.35239107119977, 2.77086329342199])
    pairs = [np.array(a) - np.array(b) for a, b in zip(CARDIAC_RV, CARDIAC_IC, strict=True)]
    moving = limits_from_changing_truth(pairs)
    close([moving.bias, moving.sd], [0.602166666666667, 0.990624108026493])
    close([moving.lower, moving.upper], [-1.33945658506526, 2.54378991839859])


# -- Bland & Altman 1996: four readings (rows 17 to 20 from memory, see the data) ----------------


def test_bland_altman_1996_four_readings():
    ms = two_way(PEFR_CHILDREN)
    # (R) one-way 15016.76 and 460.52 as in the paper (from memory: 460.52 and F = 32.6).
    close([ms.msr, ms.msw], [15016.7598684211, 460.520833333333], atol=1e-8)
    close([ms.msc, ms.mse], [1986.14583333333, 380.224780701754], atol=1e-8)
    result = reliability(long(PEFR_CHILDREN))
    close(result.value("typical_error"), 19.4993533406048)
    close(np.sqrt(ms.msw), 21.4597491442312)
    expected = {
        "icc_1": (0.887666354402, 0.795981625899, 0.948056022959),
        "icc_a1": (0.888213727252, 0.786424145048, 0.949627924915),
        "icc_c1": (0.905870009867, 0.825961323594, 0.956944505067),
        "icc_1k": (0.969332876242, 0.939781082200, 0.986487589483),
        "icc_ak": (0.969495984135, 0.936421990453, 0.986912549707),
        "icc_ck": (0.974679971976, 0.949958458112, 0.988876944781),
    }
    for form, numbers in expected.items():
        row = one(result, form, interval_kind="mcgraw_wong")
        close([row.estimate, row.ci_low, row.ci_high], numbers)
    pairs = result.rows("typical_error_pair")
    close(pairs["estimate"], [21.3646289090415, 17.7704663327728, 13.4885428966099])
    changes = result.rows("session_change")
    close(changes["estimate"], [5.5, 10.0, 6.75, 22.25])
    close(result.value("cv_rms_percent"), 7.12404037054481)
    published = one(result, "cv_mean_percent", estimator="mean_of_cvs")
    close(published.estimate, 5.87258535040537)
    f = one(result, "session_f")
    close([f.estimate, f.df, f.df2], [5.22361, 3, 57], atol=5e-6)
    close(f.p, 0.0029563, atol=5e-8)
    # (R, lme4 with its default optimiser, good to 1e-8) athletes 3659.133794, remainder 380.224780.
    reml = result.points["components"].query("estimator == 'reml'").set_index("component")
    found = reml.loc[["athletes", "remainder"], "variance"]
    np.testing.assert_allclose(found, [3659.133794, 380.224780], rtol=1e-7)


def test_log_typical_error_of_consecutive_pairs_1996():
    # (R) SD of differences of logs / √2, as CV%: 8.00, 6.51, 4.50.
    expected = (8.00153605611868, 6.50942874647018, 4.4986859335497)
    for j, value in enumerate(expected):
        result = reliability(long(PEFR_CHILDREN[:, j : j + 2]))
        close(result.value("typical_error_percent"), value)


# -- A lost trial: list-wise numbers by R (psych), all values by REML (lme4) ----------------------

LOST = [[31.2, 32.0, 31.6], [28.4, 29.1, 28.8], [35.0, 35.9, 34.7], [40.1, 39.8, np.nan], [26.9, 28.0, 27.2], [33.3, 34.6, 33.9]]  # fmt: skip


def test_one_lost_trial_keeps_the_athlete():
    result = reliability(long(LOST))
    row = one(result, "icc_a1", interval_kind="mcgraw_wong")
    close([row.estimate, row.ci_low, row.ci_high], [0.97485, 0.67094, 0.99746], atol=5e-6)
    assert row.n == 5
    row = one(result, "icc_c1", interval_kind="mcgraw_wong")
    close([row.estimate, row.ci_low, row.ci_high], [0.99545, 0.97728, 0.99949], atol=5e-6)
    row = one(result, "icc_c1", interval_kind="exact_f_all_values")
    assert row.n == 6
    reml = (
        result.points["components"].query("estimator == 'reml'").set_index("component")["variance"]
    )
    close(reml[["athletes", "sessions", "remainder"]], [20.8595, 0.13609, 0.11791], atol=2e-4)
    total = reml.sum()
    close(
        [reml["athletes"] / total, reml["athletes"] / (total - reml["sessions"])],
        [0.98797, 0.99438],
        atol=5e-6,
    )
    assert one(result, "typical_error").df == 9
    assert result.has_note("missing_value")
    assert any("A04 (S3)" in n.text for n in result.notes)
