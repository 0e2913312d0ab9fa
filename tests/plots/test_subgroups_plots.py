"""Figures of subgroups: what they must show, in any squad."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.plots.subgroups import (
    athlete_figure,
    force_distance_figure,
    placement_figure,
    repeat_figure,
    threshold_figure,
)

RULES = pd.DataFrame(
    [("low$_1", "relative_strength < 1.5"), ("usual", "else")], columns=["subgroup", "rule"]
)


def squad(n: int = 14, seed: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    true = 1.5 + 0.2 * rng.standard_normal(n)
    return pd.DataFrame([
        {"athlete": f"A{i:02d}", "session": f"base{k + 1}", "role": "baseline",
         "group": "low$_1" if true[i] < 1.5 else "usual",
         "relative_strength": true[i] + 0.05 * rng.standard_normal(),
         "jump_height_m": 0.3 + 0.1 * (true[i] - 1.5) + 0.02 * rng.standard_normal(),
         "mean_force_over_push_n": 1200 + 60 * rng.standard_normal(), "body_weight_n": 700.0,
         "push_distance_m": 0.4 + 0.02 * rng.standard_normal()}
        for i in range(n) for k in range(2)
    ])  # fmt: skip


def drawn(figure) -> str:
    figure.draw_without_rendering()
    texts = []
    for axes in figure.axes:
        texts += [axes.get_xlabel(), axes.get_ylabel(), axes.get_title(loc="left")]
        texts += [t.get_text() for t in axes.texts]
        texts += [t.get_text() for t in axes.get_yticklabels()]
    assert len(figure.alt_text) > 40
    return " | ".join(texts)


def test_threshold_figure_has_cut_line_means_and_noise():
    result = cj.threshold_evidence(squad(), 1.5)
    figure = threshold_figure(result)
    text = drawn(figure)
    assert "cut 1.5" in text
    assert "Relative strength, n = 14; bars: one typical error" in text
    assert "Jump height (take-off velocity) (cm)" in text
    axes = figure.axes[0]
    means = [
        line.get_ydata()[0]
        for line in axes.lines
        if len(set(line.get_ydata())) == 1 and line.get_linewidth() > 2
    ]
    first = squad().query("session == 'base1'")
    below = first.loc[first["relative_strength"] < 1.5, "jump_height_m"].mean()
    assert any(m == pytest.approx(100 * below) for m in means)


def test_force_distance_figure_names_every_athlete():
    table = cj.add_force_distance(squad())
    figure = force_distance_figure(table, session="base1")
    text = drawn(figure)
    assert all(f"A{i:02d}" in text for i in range(14))
    assert "Push distance (cm), n = 14" in text
    assert "cm" in "".join(t.get_text() for t in figure.axes[0].texts)
    drawn(force_distance_figure(table.drop(columns="group"), session="base1"))


def test_lines_of_equal_height_are_where_the_formula_puts_them():
    figure = force_distance_figure(cj.add_force_distance(squad()), session="base1")
    dotted = [
        x for x in figure.axes[0].lines if x.get_linestyle() == "--" and len(x.get_xdata()) > 10
    ]
    assert dotted
    for line in dotted:
        height = np.asarray(line.get_xdata()) / 100 * np.asarray(line.get_ydata())
        assert np.ptp(height) < 1e-12
        assert round(float(height[0]) / 0.05, 6) == pytest.approx(round(float(height[0]) / 0.05))


def test_repeat_figure():
    result = cj.metric_repeatability(cj.add_force_distance(squad()), "force_distance_balance")
    text = drawn(repeat_figure(result))
    assert "base1, n = 14" in text
    assert "Force–distance balance" in text


def test_placement_figure_has_a_row_for_everybody_and_shows_moves():
    moved = pd.concat(
        [RULES, pd.DataFrame([{"subgroup": "usual", "rule": "", "athlete": "A03", "reason": "x"}])]
    )
    result = cj.subgroup_athletes(squad(), moved)
    figure = placement_figure(result)
    text = drawn(figure)
    assert all(f"A{i:02d}" in text for i in range(14))
    assert "moved to usual" in text
    assert "left of 0.75: too close to call" in text


def test_placement_figure_when_nothing_is_estimable():
    result = cj.subgroup_athletes(squad().query("session == 'base1'"), RULES)
    drawn(placement_figure(result))


def test_athlete_figure_marks_one_athlete_among_the_squad():
    table = squad()
    figure = athlete_figure(
        table,
        "A03",
        ["jump_height_m", "relative_strength"],
        noise={"jump_height_m": 0.01},
        sessions=["base1", "base2"],
    )
    drawn(figure)
    mine = table.query("athlete == 'A03'")["jump_height_m"]
    assert f"base1 {100 * mine.iloc[0]:.3g}" in figure.alt_text
    light = figure.axes[0].lines[0]
    assert len(light.get_xdata()) == 2 * 13


@pytest.mark.parametrize("n", [6, 60])
def test_few_and_many_athletes(n):
    table = cj.add_force_distance(squad(n))
    drawn(force_distance_figure(table, session="base1"))
    drawn(placement_figure(cj.subgroup_athletes(table, RULES)))
    drawn(threshold_figure(cj.threshold_evidence(table, 1.5)))
