"""Sentences and points that are read late say what the table said when it was made."""

from __future__ import annotations

import pandas as pd
from reliability_kit import squad, table

from cmjlab.stats.reliability.reliability import reliability


def test_a_table_changed_by_its_reader_does_not_change_what_is_read_later():
    frame = table(squad(n=8, seed=3), "a")
    first, second = (reliability(frame, change_that_matters=0.5) for _ in range(2))
    said = tuple(map(str, first.sentences))
    assert said
    second.table.loc[:, ["estimate", "ci_low", "ci_high"]] = 1e9
    second.points["verdict"]["answer"] = "yes"
    frame["a"] = 0.0
    assert tuple(map(str, second.sentences)) == said
    for name in first.points:
        if name != "verdict":
            pd.testing.assert_frame_equal(second.points[name], first.points[name])
