"""The shared way from a table to arrays."""

import numpy as np
import pandas as pd
import pytest

from cmjlab.errors import StatsError
from cmjlab.stats.common.tables import (
    check_table,
    grid,
    is_ratio_scale,
    left_out_notes,
    metric_names,
    session_order,
    sessions_to_use,
)


def frame():
    return pd.DataFrame(
        {
            "athlete": ["A", "A", "B", "B"],
            "session": ["pre", "post", "pre", "post"],
            "x": [1.0, 2.0, 3.0, 4.0],
        }
    )


def test_grid_puts_values_where_they_belong():
    table = frame().iloc[[3, 0, 2]]
    g = grid(check_table(table), "x", ["pre", "post"])
    assert g.athletes == ("B", "A")
    np.testing.assert_array_equal(g.values, [[3, 4], [1, np.nan]])
    np.testing.assert_array_equal(g.complete, [True, False])


def test_grid_names_who_has_no_value():
    table = frame()
    table.loc[table["athlete"] == "B", "x"] = np.nan
    g = grid(check_table(table), "x", ["pre", "post"])
    assert g.athletes == ("A",)
    assert "B" in g.notes[0].text
    table.loc[0, "x"] = np.inf
    with pytest.raises(StatsError, match="athlete A, session pre is infinite"):
        grid(check_table(table), "x", ["pre", "post"])


def test_ids_become_trimmed_text_and_categories_keep_their_order():
    table = frame().assign(athlete=[" 07", "07 ", 8, 8])
    table["session"] = pd.Categorical(
        ["pre ", "post", "pre ", "post"], ["pre ", "mid", "post"], ordered=True
    )
    out = check_table(table)
    assert out["athlete"].tolist() == ["07", "07", "8", "8"]
    assert session_order(out) == ["pre", "post"]


@pytest.mark.parametrize("value", [None, "", "  ", np.nan])
def test_empty_ids_are_refused_with_their_row(value):
    table = frame().astype({"athlete": object})
    table.loc[2, "athlete"] = value
    with pytest.raises(StatsError, match=r"'athlete' is empty in row\(s\) 2"):
        check_table(table)


def test_duplicates():
    table = pd.concat([frame(), frame().iloc[[1]]], ignore_index=True)
    assert len(check_table(table)) == 4
    table.loc[4, "x"] = 9.0
    with pytest.raises(StatsError, match=r"A/post \(x: 2 and 9\)"):
        check_table(table)
    assert len(check_table(table, one_row_each=False)) == 5


def test_not_a_table_and_missing_columns():
    with pytest.raises(StatsError, match="a pandas DataFrame is needed, found list"):
        check_table([1])
    with pytest.raises(StatsError, match="no column 'session'"):
        check_table(frame().drop(columns="session"))


def test_metric_names():
    table = frame().assign(word="a", flag=True, sex="f", n_jumps=3, y=1)
    assert metric_names(table) == ["x", "y"]
    assert metric_names(table, "y") == ["y"]
    with pytest.raises(StatsError, match="not numeric"):
        metric_names(table, ["word"])
    with pytest.raises(StatsError, match="no metric 'z'"):
        metric_names(table, ["z"])
    with pytest.raises(StatsError, match="no numeric metric"):
        metric_names(table[["athlete", "session", "word"]])


def test_sessions_to_use():
    table = check_table(frame())
    assert sessions_to_use(table) == ["pre", "post"]
    assert sessions_to_use(table, ("post", "pre")) == ["post", "pre"]
    ordered = table.assign(session=pd.Categorical(table["session"], ["pre", "post"], ordered=True))
    assert sessions_to_use(ordered, ("post", "pre")) == ["pre", "post"]
    assert sessions_to_use(table.assign(role=["baseline", "post"] * 2)) == ["pre"]
    with pytest.raises(StatsError, match="no session 'mid'"):
        sessions_to_use(table, "mid")
    with pytest.raises(StatsError, match="twice"):
        sessions_to_use(table, ("pre", "pre"))


def test_ratio_scale():
    assert is_ratio_scale("own_column", np.array([1.0, np.nan, 2.0]))
    assert not is_ratio_scale("own_column", np.array([1.0, -2.0]))
    assert not is_ratio_scale("minimum_power_w", np.array([1.0, 2.0]))
    assert not is_ratio_scale("own_column", np.array([np.nan]))


def test_left_out_notes():
    given = pd.concat([frame(), frame().iloc[[0]]]).assign(word="a")
    notes = {n.code: n.text for n in left_out_notes(given, check_table(given), ["x"], ["pre"])}
    assert set(notes) == {"repeated_rows", "text_column", "session_not_used"}
    assert "post" in notes["session_not_used"]
