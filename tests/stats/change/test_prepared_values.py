"""Values of a prepared table: read once, by athlete, never by the order of rows."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import special

from cmjlab.errors import StatsError
from cmjlab.stats.change.pairs import prepare
from cmjlab.stats.common.multiplicity import _chi, _normals


def _table() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "athlete": ["A1", "A2", "A3", "A3", "A2", "A1"],
            "session": ["pre", "pre", "pre", "post", "post", "post"],
            "height": [0.30, np.nan, 0.41, 0.43, 0.37, 0.33],
        }
    )


def test_values_go_by_athlete_and_leave_out_who_has_none():
    prepared = prepare(_table(), None, before="pre", after="post")
    assert dict(prepared.values("height", "pre")) == {"A1": 0.30, "A3": 0.41}
    assert dict(prepared.values("height", "post")) == {"A3": 0.43, "A2": 0.37, "A1": 0.33}
    assert dict(prepared.values("height", "never held")) == {}
    assert prepared.values("height", "pre") is prepared.values("height", "pre")
    with pytest.raises(TypeError):
        prepared.values("height", "pre")["A1"] = 1.0


def test_an_infinite_value_is_named():
    with pytest.raises(StatsError, match="athlete A2, session post is infinite"):
        prepare(_table().replace(0.37, np.inf), None, before="pre", after="post")


@pytest.mark.parametrize("df", [2.0, 7.3, 40.0, 1e4])
def test_the_spline_of_chi_is_its_quantile(df):
    z = _normals(3)[:4000]
    exact = np.sqrt(special.chdtri(df, special.ndtr(z[:, 0])) / df)
    np.testing.assert_allclose(_chi(df, z), exact, rtol=1e-8)
