"""Where athletes stand in their squad and in a supplied reference."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from result_kit import assert_typed
from scipy import stats
from subgroups_kit import harder, squad

from cmjlab.errors import StatsError
from cmjlab.stats.subgroups.standing import athlete_standing


def test_percentiles_in_squad_and_reference():
    data = squad(9).query("session == 'base1'").assign(relative_strength=np.arange(9) * 0.1 + 1.1)
    reference = pd.DataFrame([
        {"metric": "relative_strength", "sex": "female", "mean": 1.5, "sd": 0.2, "source": "our club 2024, n = 60"},
        {"metric": "relative_strength", "sex": "male", "p10": 1.2, "p50": 1.5, "p90": 1.8, "source": "our club 2024, n = 80"},
    ])  # fmt: skip
    result = athlete_standing(data, "relative_strength", reference=reference, within=None)
    found = result.points["standing"].set_index("athlete")
    assert found.loc["A04", "squad_percentile"] == pytest.approx(50)
    assert found.loc["A00", "squad_percentile"] == pytest.approx(100 * 0.5 / 9)
    assert found.loc["A01", "reference_percentile"] == pytest.approx(
        100 * stats.norm.cdf((1.2 - 1.5) / 0.2)
    )
    assert found.loc["A04", "reference_percentile"] == pytest.approx(50)
    assert found.loc["A00", "reference_percentile"] == 10
    assert found.loc["A00", "remark_code"] == "reference_below"
    assert found.loc["A01", "remark_code"] == "reference_as_normal"
    remark = result.rows("reference_percentile", athlete="A00")["text"].iloc[0]
    assert remark == "our club 2024, n = 80; below percentile 10"
    assert found.loc["A04", "source"] == "our club 2024, n = 80"
    assert result.settings["sources"] == ["our club 2024, n = 60", "our club 2024, n = 80"]
    assert "2024" in str(result.notes[0])


def test_tied_values_share_their_percentile():
    data = (
        squad(6)
        .query("session == 'base1'")
        .assign(relative_strength=[1.0, 1.0, 1.0, 2.0, 2.0, 2.0])
    )
    found = athlete_standing(data, "relative_strength", within=None).points["standing"]
    assert found["squad_percentile"].tolist() == pytest.approx([25.0] * 3 + [75.0] * 3)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"metric": "relative_strength", "mean": 1.5, "sd": 0.2, "source": ""}, "no source"),
        ({"metric": "relative_strength", "mean": 1.5, "sd": 0, "source": "x"}, "positive sd, or at least two quantiles"),
        ({"metric": "relative_strength", "p10": 2.0, "p90": 1.0, "source": "x"}, "do not rise"),
        ({"metric": "height", "mean": 1.5, "sd": 0.2, "source": "x"}, "none of the metrics asked for"),
    ],
)  # fmt: skip
def test_a_reference_must_be_usable_and_name_its_source(row, message):
    with pytest.raises(StatsError, match=message):
        athlete_standing(squad(), "relative_strength", reference=pd.DataFrame([row]))


@pytest.mark.parametrize("change", ["whole", "few", "one", "holes", "equal"])
def test_standing_is_typed_and_can_be_said(change):
    data = harder(squad(), change)
    reference = pd.DataFrame([
        {"metric": "relative_strength", "sex": "female", "mean": 1.5, "sd": 0.2, "source": "club"},
        {"metric": "jump_height_m", "p10": 0.29, "p50": 0.30, "p90": 0.31, "source": "league"},
    ])  # fmt: skip
    for given in (None, reference):
        result = athlete_standing(data, ["relative_strength", "jump_height_m"], reference=given)
        assert_typed(result)
    missing = result.rows("reference_percentile", metric="relative_strength", athlete="A00")
    assert set(missing["reason_code"]) == {"no_row_of_reference"}
