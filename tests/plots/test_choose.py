"""Figures found by the kind of a result, and drawn in a person's own Axes."""

from __future__ import annotations

import inspect
from importlib import import_module

import pytest
from matplotlib.figure import Figure

import cmjlab as cj
from cmjlab.plots.choose import FIGURES

METRIC = "jump_height_m"


@pytest.mark.parametrize("kind", sorted(FIGURES))
def test_every_figure_of_the_table_is_public_and_takes_a_result(kind):
    for where in FIGURES[kind].values():
        module, name = where.split(":")
        draw = getattr(import_module(f"cmjlab.plots.{module}"), name)
        assert getattr(cj.plots, name) is draw
        assert next(iter(inspect.signature(draw).parameters)) == "result"


def test_every_kind_is_one_that_a_statistic_makes():
    """A renamed kind would leave its figure behind."""
    from places import PACKAGE

    rooms = ("stats", "scrutiny")
    files = [p for room in rooms for p in (PACKAGE / room).rglob("*.py")]
    source = "\n".join(p.read_text(encoding="utf-8") for p in files)
    assert [k for k in FIGURES if f'"{k}"' not in source] == []


@pytest.mark.parametrize(
    "drawn",
    [
        lambda kit, ax: kit.change_between(METRIC).plot(ax=ax),
        lambda kit, ax: kit.reliability(METRIC).plot("noise", ax=ax),
        lambda kit, ax: kit.reliability(METRIC).plot("agreement", ax=ax),
        lambda kit, ax: kit.jumps_needed(METRIC).plot(ax=ax),
        lambda kit, ax: kit.jump(kit.files["file"].iloc[0]).recording.plot(ax=ax),
    ],
    ids=["between", "noise", "agreement", "jumps_needed", "recording"],
)
def test_a_figure_of_one_panel_is_drawn_in_a_persons_own_axes(kit, drawn):
    mine = Figure(layout="constrained")
    left, right = mine.subplots(1, 2)
    assert drawn(kit, right) is mine
    assert len(mine.axes) == 2
    assert not left.lines
    own = drawn(kit, None)
    assert len(right.lines) == len(own.axes[0].lines)
    assert mine.alt_text == own.alt_text


def test_texts_of_two_panels_stand_one_after_the_other(kit):
    mine = Figure()
    left, right = mine.subplots(1, 2)
    noise = kit.reliability(METRIC)
    noise.plot("agreement", ax=left)
    first = mine.alt_text
    noise.plot("noise", ax=right)
    assert mine.alt_text.startswith(first + " ")
    assert len(mine.alt_text) > len(first) + 40


def test_an_axes_in_a_part_of_a_figure_gives_the_whole_figure(kit):
    mine = Figure()
    part = mine.subfigures(1, 2)[1]
    assert kit.reliability(METRIC).plot("agreement", ax=part.subplots()) is mine


def test_a_figure_of_several_panels_refuses_an_axes(kit):
    with pytest.raises(cj.ArgumentError, match=r"ax: the figure 'within' does not use it"):
        kit.change_within(METRIC).plot(ax=Figure().subplots())
