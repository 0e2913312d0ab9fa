"""Published and reference-program numbers for reliability and agreement, typed in with their source.

Values marked (R) were printed by R 4.2.2 with psych 2.2.9 (``ICC(lmer = FALSE)``), lme4 or base R
from the same data; they agree with the rounded figures of the papers.
"""

import numpy as np
import pandas as pd
import pytest

from cmjlab.stats.reliability import reliability


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
    row = result.rows(form, method="McGraw & Wong 1996").iloc[0]
    found = (row["estimate"], row["ci_low"], row["ci_high"])
    np.testing.assert_allclose(found, expected[form], rtol=0, atol=1e-9)
