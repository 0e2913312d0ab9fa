"""Figures of results: every mark and interval comes from the Result, in the shown unit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.errors import ArgumentError
from cmjlab.plots.change import (
    difference_figure,
    individual_figure,
    paired_figure,
)
from cmjlab.plots.drift import drift_figure
from cmjlab.plots.lineup import lineup_figure
from cmjlab.plots.planning import designs, planning_figure
from cmjlab.plots.reliability import (
    agreement_figure,
    jumps_needed_figure,
    sessions_figure,
    typical_error_figure,
)

HEIGHT = "jump_height_m"
MATTERS = {HEIGHT: 0.015}
NASTY = "$_{bad$ <b>Zoë</b>"


def _sessions(groups=("strength", NASTY, "usual"), n=8, seed=4) -> pd.DataFrame:
    """Sessions table of invented athletes: two baselines and a test after the block."""
    rng = np.random.default_rng(seed)
    rows = []
    for g, group in enumerate(groups):
        for i in range(n):
            true = rng.normal(0.33, 0.04)
            for session, shift in (("base1", 0.0), ("base2", 0.0), ("post", 0.01 * g)):
                rows.append(
                    {"athlete": f"A{g}{i}", "group": group, "session": session,
                     "role": "post" if session == "post" else "baseline",
                     HEIGHT: true + shift + rng.normal(0, 0.01),
                     "time_to_takeoff_s": rng.normal(0.8, 0.05)}
                )  # fmt: skip
    table = pd.DataFrame(rows)
    order = ["base1", "base2", "post"]
    return table.assign(session=pd.Categorical(table["session"], order, ordered=True))


@pytest.fixture(scope="module")
def sessions() -> pd.DataFrame:
    return _sessions()


@pytest.fixture(scope="module")
def trust(sessions):
    return cj.reliability(sessions, [HEIGHT, "time_to_takeoff_s"])


@pytest.fixture(scope="module")
def within(sessions):
    return cj.change_within(sessions, [HEIGHT], before="base2", after="post", group="group")


@pytest.fixture(scope="module")
def between(sessions):
    return cj.change_between(sessions, [HEIGHT], before="base2", after="post", control="usual")


@pytest.fixture(scope="module")
def individual(sessions, trust):
    return cj.change_individual(
        sessions, [HEIGHT], before="base2", after="post", reliability=trust, control="usual"
    )


def _intervals(axes) -> set[tuple[float, float]]:
    """Return the end points of all two-point vertical or horizontal lines."""
    out = set()
    for line in axes.lines:
        x, y = np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)
        if len(x) == 2 and x[0] == x[1]:
            out.add((round(float(y[0]), 6), round(float(y[1]), 6)))
        elif len(x) == 2 and y[0] == y[1]:
            out.add((round(float(x[0]), 6), round(float(x[1]), 6)))
    return out


def _expected(rows: pd.DataFrame, factor: float = 100.0) -> set[tuple[float, float]]:
    pairs = zip(rows["ci_low"].astype(float), rows["ci_high"].astype(float), strict=True)
    return {(round(factor * a, 6), round(factor * b, 6)) for a, b in pairs if np.isfinite(a)}


def _has_unit_and_n(figure, unit: str) -> None:
    words = " ".join(
        t
        for a in figure.axes
        for t in (a.get_xlabel(), a.get_ylabel(), a.get_title(loc="left"))
        + tuple(label.get_text() for label in a.get_xticklabels())
    )
    assert f"({unit})" in words
    assert "n = " in words


def test_paired_figure_draws_each_group_and_its_interval(within):
    figure = paired_figure(within, change_that_matters=MATTERS)
    drawn = set().union(*(_intervals(a) for a in figure.axes[3:]))
    assert _expected(within.rows("mean_change", metric=HEIGHT)) <= drawn
    _has_unit_and_n(figure, "cm")
    assert len(figure.axes) == 6
    assert figure.axes[0].lines[0].get_ydata()[0] == pytest.approx(
        100 * within.points["pairs"]["before"].iloc[0]
    )
    figure.svg()  # a group named like a broken formula is drawn


def test_difference_figure_draws_default_rows_once(between):
    figure = difference_figure(between, change_that_matters=MATTERS)
    kinds = ["adjusted_difference", "change_difference"]
    rows = between.table[between.table["statistic"].isin(kinds)]
    rows = rows.drop_duplicates(["contrast", "statistic"])
    assert _expected(rows) <= _intervals(figure.axes[0])
    assert len(figure.axes[0].get_yticks()) == len(rows) == 4
    _has_unit_and_n(figure, "cm")


def test_individual_figure_has_a_line_per_athlete_largest_first(individual):
    figure = individual_figure(individual, change_that_matters=MATTERS)
    rows = individual.rows("individual_change", metric=HEIGHT)
    axes = figure.axes[0]
    assert _expected(rows) <= _intervals(axes)
    names = [t.get_text() for t in axes.get_yticklabels()][::-1]
    assert names == list(rows.sort_values("estimate", ascending=False)["athlete"])
    _has_unit_and_n(figure, "cm")
    assert f"of {len(rows)} athletes" in figure.alt_text


def test_drift_figure_draws_group_means(sessions):
    wide = sessions.pivot(index=["athlete", "group"], columns="session", values=HEIGHT)
    frame = wide.reset_index().rename(columns={"base1": "first", "base2": "second"})
    figure = drift_figure(frame, HEIGHT)
    means = 100 * frame.groupby("group", sort=False)[["first", "second"]].mean()
    marks = {
        (round(float(x[0]), 6), round(float(y[0]), 6))
        for line in figure.axes[0].lines
        for x, y in [(line.get_xdata(), line.get_ydata())]
        if len(x) == 1
    }
    assert {(round(a, 6), round(b, 6)) for a, b in means.to_numpy()} <= marks
    figure.svg()


def test_sessions_figure(trust):
    figure = sessions_figure(trust)
    assert _expected(trust.rows("session_change", metric=HEIGHT)) <= _intervals(figure.axes[1])
    _has_unit_and_n(figure, "cm")


def test_agreement_figure_shows_bias_limits_and_their_intervals(trust):
    figure = agreement_figure(trust)
    axes = figure.axes[0]
    levels = [
        round(float(line.get_ydata()[0]), 6) for line in axes.lines if len(line.get_ydata()) == 2
    ]
    for key in ("session_change", "limit_lower", "limit_upper"):
        default = trust.rows(key, metric=HEIGHT)["estimate"].iloc[0]
        assert round(100 * float(default), 6) in levels
    spans = [p for p in axes.patches if p.get_height() > 0]
    assert len(spans) == 3
    _has_unit_and_n(figure, "cm")


def test_typical_error_figure_divides_by_the_declared_change(trust):
    figure = typical_error_figure(trust, change_that_matters=MATTERS)
    row = trust.rows("typical_error", metric=HEIGHT)
    assert _expected(row, 1 / 0.015) <= _intervals(figure.axes[0])
    assert "declared by the study" in [t.get_text() for t in figure.legends[0].get_texts()]
    assert "n = 24" in figure.axes[0].get_xlabel()


def test_jumps_needed_figure():
    rng = np.random.default_rng(2)
    rows = [
        {"athlete": f"A{a}", "session": s, "trial": str(t), HEIGHT: 0.3 + 0.01 * a + e}
        for a in range(10)
        for s in ("base1", "base2")
        for t, e in enumerate(rng.normal(0, 0.01, 3))
    ]
    needed = cj.jumps_needed(pd.DataFrame(rows), [HEIGHT])
    figure = jumps_needed_figure(needed, change_that_matters=MATTERS)
    curve = needed.points["curve"]
    line = figure.axes[0].lines[0]
    first = curve[curve["n_sessions"] == curve["n_sessions"].min()].sort_values("n_jumps")
    assert np.allclose(line.get_ydata(), 100 * first["estimate"].to_numpy(dtype=float))
    assert figure.axes[0].collections  # the intervals
    _has_unit_and_n(figure, "cm")


def test_planning_figure(trust):
    plan = cj.plan_study(HEIGHT, reliability=trust, matters=0.015)
    figure = planning_figure(plan)
    assert list(designs(plan).values())[-1].split(",")[0] in figure.alt_text
    assert "Power" in figure.axes[0].get_ylabel()
    assert "(cm)" in figure.axes[1].get_ylabel()
    with pytest.raises(ArgumentError, match="design: found 'nothing'"):
        planning_figure(plan, design="nothing")


def test_lineup_figure_keeps_the_secret(sessions):
    from cmjlab.stats.change.lineup import lineup

    result = lineup(sessions, HEIGHT, before="base2", after="post", group="group", panels=7)
    figure = lineup_figure(result)
    titles = [a.get_title() or a.get_title(loc="left") for a in figure.axes]
    assert [t for t in titles if t] == [str(i) for i in range(1, 8)]
    text = " ".join([figure.alt_text, *(t.get_text() for a in figure.axes for t in a.texts)])
    assert "real" not in text.replace("One panel is real", "").replace("the real one", "")


def test_unknown_metric_and_missing_data_are_said(within):
    with pytest.raises(ArgumentError, match="metric: 'nothing' is not in this result"):
        paired_figure(within, "nothing")
    with pytest.raises(ArgumentError, match="without the data 'values'"):
        sessions_figure(within)


def test_three_athletes_and_sixty_make_figures():
    for n in (3, 20):
        table = _sessions(n=n)
        result = cj.change_within(table, [HEIGHT], before="base2", after="post", group="group")
        paired_figure(result).svg()
        trust = cj.reliability(table, [HEIGHT])
        typical_error_figure(trust).svg()


def test_six_groups_share_the_width_of_a_page_and_no_title_touches_the_next():
    names = [f"group with a long name {i}" for i in range(6)]
    result = cj.change_within(
        _sessions(names), [HEIGHT], before="base2", after="post", group="group"
    )
    figure = paired_figure(result, HEIGHT)
    assert figure.get_size_inches()[0] * 2.54 < 18
    figure.svg()
    boxes = [a.title.get_window_extent() for a in figure.axes[:6]]
    left = [a._left_title.get_window_extent() for a in figure.axes[:6]]
    shown = [b if b.width > 1 else c for b, c in zip(boxes, left, strict=True)]
    assert all(a.x1 <= b.x0 + 1 for a, b in zip(shown, shown[1:], strict=False))
