"""Two groups with equal and unequal spread, against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cmjlab.stats.common.contrasts import two_groups


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(-50, 50), min_size=2, max_size=8),
    st.lists(st.floats(-50, 50), min_size=2, max_size=8),
)
def test_two_groups_equal_scipy(a, b):
    from scipy import stats

    a, b = np.array(a), np.array(b)
    found = two_groups(a[None], b[None])
    free = a.size + b.size - 2
    pooled = ((a.size - 1) * a.var(ddof=1) + (b.size - 1) * b.var(ddof=1)) / free
    assert found.pooled_se[0] == pytest.approx(
        np.sqrt(pooled * (1 / a.size + 1 / b.size)), abs=1e-9
    )
    if min(np.ptp(a), np.ptp(b)) > 1e-3:
        theirs = stats.ttest_ind(a, b, equal_var=False)
        assert found.value[0] / found.separate_se[0] == pytest.approx(theirs.statistic, rel=1e-6)
    if a.size == b.size:
        assert found.separate_df[0] == pytest.approx(free)
