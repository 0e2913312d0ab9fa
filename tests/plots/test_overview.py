"""The overview of a squad: everybody is a dot, medians and numbers are the table's own."""

from __future__ import annotations

import re
import sys

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.errors import ArgumentError, MissingExtraError
from cmjlab.plots.overview import squad_overview
from cmjlab.plots.style import group_looks

METRICS = ["jump_height_m", "time_to_takeoff_s"]


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return cj.simulate_sessions(seed=1, metrics=METRICS).sessions


def dots(axes) -> dict[tuple[float, ...], np.ndarray]:
    """Heights of the dots of a panel, by their colour."""
    found: dict[tuple[float, ...], np.ndarray] = {}
    for drawn in axes.collections:
        offsets = np.asarray(drawn.get_offsets())
        if type(drawn).__name__ == "PathCollection" and len(offsets):
            found[tuple(np.round(drawn.get_facecolor()[0], 3))] = np.sort(offsets[:, 1])
    return found


def medians(axes) -> list[float]:
    lines = [c for c in axes.collections if type(c).__name__ == "LineCollection"]
    return [float(line.get_segments()[0][0][1]) for line in lines]


def test_every_athlete_is_a_dot_in_the_unit_of_the_title(table):
    figure = squad_overview(table, METRICS, session="base2")
    figure.draw_without_rendering()
    part = table[table["session"].astype(str) == "base2"]
    from matplotlib.colors import to_rgba

    for axes, metric, factor, unit in zip(
        figure.axes, METRICS, (100, 1000), ("cm", "ms"), strict=True
    ):
        assert axes.get_title(loc="left").endswith(f"({unit})")
        found = dots(axes)
        for (group, look), middle in zip(
            group_looks(part["group"]).items(), medians(axes), strict=True
        ):
            mine = factor * part.loc[part["group"] == group, metric].to_numpy()
            colour = tuple(np.round(to_rgba(look["color"]), 3))
            assert found[colour] == pytest.approx(np.sort(mine))
            assert middle == pytest.approx(np.median(mine))


def test_alt_text_and_labels_name_median_and_number(table):
    short = table[~((table["session"] == "base1") & (table["athlete"] == table["athlete"].iloc[0]))]
    figure = squad_overview(short, ["jump_height_m"], session="base1")
    part = short[short["session"] == "base1"].groupby("group", observed=True)["jump_height_m"]
    for group, values in part:
        median = f"{100 * values.median():.1f} cm"
        words = str(group).replace("_", " ")
        assert f"{words} median {median} (n = {len(values)})" in figure.alt_text
    labels = [t.get_text() for t in figure.axes[0].get_xticklabels()]
    assert [int(re.search(r"n = (\d+)", label).group(1)) for label in labels] == list(part.count())
    assert sorted(part.count()) == [9, 10, 10]


def test_nobody_is_left_out(table):
    lost = table.assign(group=table["group"].astype(str).replace("usual", None))
    lost.loc[lost.index[:3], "jump_height_m"] = np.nan
    figure = squad_overview(lost, ["jump_height_m"], session="base1")
    assert "no group median" in figure.alt_text
    numbers = [int(n) for n in re.findall(r"n = (\d+)", figure.alt_text)]
    part = lost[lost["session"] == "base1"]
    assert sum(numbers) == part["jump_height_m"].notna().sum()
    together = squad_overview(table.drop(columns="group"), ["jump_height_m"], session="base1")
    assert "all median" in together.alt_text
    assert "(n = 30)" in together.alt_text


@pytest.mark.parametrize("n", [1, 2, 7, 60])
def test_any_number_of_athletes_and_awkward_names(n):
    rng = np.random.default_rng(n)
    frame = pd.DataFrame(
        {
            "athlete": [f"A{i}" for i in range(2 * n)],
            "session": "s$1",
            "group": ["_{a$"] * n + ["the group with a very long name indeed"] * n,
            "jump_height_m": rng.normal(0.3, 0.03, 2 * n),
            "own_measure": np.nan,
        }
    )
    figure = squad_overview(frame, ["jump_height_m", "own_measure"], session="s$1")
    assert (
        figure.svg() == squad_overview(frame, ["jump_height_m", "own_measure"], session="s$1").svg()
    )
    assert "no value" in [t.get_text() for t in figure.axes[1].texts]
    assert sum(len(y) for y in dots(figure.axes[0]).values()) == 2 * n


def test_what_cannot_be_drawn_is_said(table):
    with pytest.raises(ArgumentError, match="1 to 9 can be shown at once, found 0"):
        squad_overview(table, [], session="base1")
    with pytest.raises(ArgumentError, match="'jump_hight_m'.*Did you mean 'jump_height_m'"):
        squad_overview(table, ["jump_hight_m"], session="base1")
    with pytest.raises(ArgumentError, match="session: found 'base3'"):
        squad_overview(table, METRICS, session="base3")


def test_without_seaborn_one_sentence_says_what_to_install(table, monkeypatch):
    monkeypatch.setitem(sys.modules, "seaborn", None)
    with pytest.raises(MissingExtraError, match=r"seaborn is missing.*pip install .cmjlab\[lab\]"):
        squad_overview(table, METRICS, session="base1")
