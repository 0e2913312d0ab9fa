"""Weeks of monitoring enter no comparison by themselves, and are named where they are left out."""

from __future__ import annotations

import pandas as pd
import pytest

import cmjlab as cj

METRIC = "jump_height_m"


def sessions(roles: dict[str, str]) -> pd.DataFrame:
    """Return heights of ten athletes, of whom the first five have the weeks of monitoring."""
    rows = [
        {"athlete": f"A{a:02d}", "group": "x" if a % 2 else "y", "session": s, "role": role,
         METRIC: 0.30 + 0.01 * a + 0.004 * ((7 * a + 3 * i) % 5), "rating": float((a * 3 + i) % 7)}
        for a in range(10)
        for i, (s, role) in enumerate(roles.items())
        if role != "monitoring" or a < 5
    ]  # fmt: skip
    table = pd.DataFrame(rows)
    table["session"] = pd.Categorical(table["session"], list(roles), ordered=True)
    return table


ROLES = {"one": "baseline", "two": "baseline", "week": "monitoring", "end": "post"}
CALLS = {
    "mixed": lambda t: cj.change_mixed(t, METRIC),
    "association": lambda t: cj.association(t, "rating", METRIC),
}


@pytest.mark.parametrize("name", CALLS)
def test_a_week_changes_nothing_and_is_named(name: str) -> None:
    table = sessions(ROLES)
    without = table[table["role"] != "monitoring"].copy()
    without["session"] = without["session"].cat.remove_unused_categories()
    with_week, plain = CALLS[name](table), CALLS[name](without)
    pd.testing.assert_frame_equal(with_week.table, plain.table)
    (note,) = [n for n in with_week.notes if n.code == "monitoring_not_used"]
    assert note.values["sessions"] == ["week"]
    assert not [n for n in plain.notes if n.code == "monitoring_not_used"]
    assert "week" in str(note)


def test_reliability_takes_baselines_and_says_nothing_more() -> None:
    result = cj.reliability(sessions(ROLES), METRIC)
    assert result.settings["use"] == ["one", "two"]
    assert "training_between" not in [n.code for n in result.notes]


def test_reliability_without_baselines_says_what_it_took() -> None:
    roles = {"one": "mid", "two": "mid", "week": "monitoring", "end": "post"}
    result = cj.reliability(sessions(roles), METRIC)
    assert result.settings["use"] == ["one", "two", "end"]
    (note,) = [n for n in result.notes if n.code == "training_between"]
    text = str(note)
    assert "one, two and end" in text
    assert "Training lies between them" in text


def test_weeks_alone_are_used_and_told() -> None:
    table = sessions({"a": "monitoring", "b": "monitoring"})
    result = cj.reliability(table, METRIC)
    assert result.settings["use"] == ["a", "b"]
    assert [n.code for n in result.notes].count("training_between") == 1
