"""The picture of a target draws the numbers of its row, and says them."""

from __future__ import annotations

import math

import pytest

from cmjlab.plots.targets import target_picture

LOOK = {"color": "#1b3a68", "marker": "s"}


def _row(wanted="less", amount=0.04, change=(-0.095, -0.154, -0.036)):
    names = ("change", "change_low", "change_high")
    row = {"metric": "time_to_takeoff_s", "wanted": wanted, "amount": amount}
    return {**row, **dict(zip(names, change, strict=True))}


def _drawn(figure):
    """Return interval, mark, and the solid and dashed upright lines, in ms."""
    lines = figure.axes[0].lines
    upright = [line for line in lines if list(line.get_ydata()) == [0, 1]]
    across = [line for line in lines if line not in upright]
    solid = [line.get_xdata()[0] for line in upright if line.get_linestyle() == "-"]
    dashed = [line.get_xdata()[0] for line in upright if line.get_linestyle() != "-"]
    interval = [list(line.get_xdata()) for line in across if len(line.get_xdata()) == 2]
    mark = [line.get_xdata()[0] for line in across if len(line.get_xdata()) == 1]
    return interval, mark, solid, dashed


@pytest.mark.parametrize(
    ("wanted", "dashed"), [("less", [-40.0]), ("more", [40.0]), ("unchanged", [-40.0, 40.0])]
)
def test_interval_mark_zero_and_amount_stand_where_the_numbers_say(wanted, dashed):
    figure = target_picture(_row(wanted), LOOK)
    interval, mark, solid, lines = _drawn(figure)
    assert interval[0] == pytest.approx([-154.0, -36.0])
    assert mark == pytest.approx([-95.0])
    assert solid == [0.0]
    assert lines == pytest.approx(dashed)
    low, high = figure.axes[0].get_xlim()
    assert low == -high
    assert low < -154.0
    assert figure.svg().startswith("<svg")


def test_the_alt_text_says_the_numbers():
    assert target_picture(_row(), LOOK).alt_text == (
        "Change −95 ms, interval −154 ms to −36 ms; solid line: no change;"
        " dashed line: the amount, −40 ms."
    )
    assert "±40 ms" in target_picture(_row("unchanged"), LOOK).alt_text


def test_without_amount_or_interval_nothing_is_invented():
    nothing = (math.nan, math.nan, math.nan)
    interval, mark, solid, dashed = _drawn(target_picture(_row("more", math.nan, nothing), LOOK))
    assert (interval, mark, solid, dashed) == ([], [], [0.0], [])
    assert target_picture(_row("more", math.nan, nothing), LOOK).alt_text == "No interval."
