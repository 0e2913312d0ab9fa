"""The second opinion of a notebook: both programs side by side, or the one reason."""

from __future__ import annotations

import pandas as pd

import cmjlab as cj
from cmjlab.report.notebooks.second_opinion import second_opinion


def test_both_programs_stand_side_by_side_in_words():
    table = cj.simulate_sessions(seed=2, metrics=["jump_height_m"]).sessions
    shown = second_opinion(table, "jump_height_m", ["base1", "base2"])
    assert shown["form"].str.startswith("ICC").all()
    assert (shown["cmjlab"] == shown["pingouin"]).all()
    assert shown["cmjlab"].str.fullmatch(r"0\.\d{4} \(0\.\d{4} to 0\.\d{4}\)").all()
    assert (shown["largest difference"] == "below 0.0001").all()
    assert (shown["athletes"] == "30").all()


def test_too_few_athletes_give_the_reason():
    one = pd.DataFrame({"athlete": ["A1", "A1"], "session": ["s1", "s2"], "x": [1.0, 2.0]})
    [reason] = second_opinion(one, "x", ["s1", "s2"])["no second opinion"]
    assert len(reason) > 20
