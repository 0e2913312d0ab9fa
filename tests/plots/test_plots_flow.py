"""Flow figure, decimal sign of a figure, and shares of both limbs."""

from __future__ import annotations

import matplotlib.text
import pytest

from cmjlab.errors import ArgumentError
from cmjlab.jump.limbs import asymmetry
from cmjlab.plots.decimal import set_decimal, with_decimal
from cmjlab.plots.flow import FlowStep, flow_figure
from cmjlab.plots.labels import level_words, right_share
from cmjlab.plots.style import Picture, picture, styled

NASTY = "$_{bad$ <b>Zoë</b>"


def _texts(figure) -> list[str]:
    return [t.get_text() for t in figure.findobj(matplotlib.text.Text) if t.get_text()]


def test_flow_shows_every_step_and_reason_and_keeps_odd_texts_literal():
    steps = [FlowStep(("Roster: 4 athletes",)), FlowStep((NASTY,), ("1 left: " + "long " * 20,))]
    figure = flow_figure(steps)
    figure.svg()
    shown = " ".join(_texts(figure))
    assert "Roster: 4 athletes" in shown
    assert shown.count("long") == 20
    assert NASTY in figure.alt_text
    assert figure.get_size_inches()[1] > flow_figure(steps[:1]).get_size_inches()[1]


def test_flow_boxes_do_not_overlap():
    steps = [
        FlowStep((f"step {i}", "more"), tuple(f"reason {j}" for j in range(i))) for i in range(6)
    ]
    axes = flow_figure(steps).axes[0]
    left = sorted((p.get_y(), p.get_y() + p.get_height()) for p in axes.patches if p.get_x() < 5)
    assert len(left) == 6
    assert all(a[1] < b[0] for a, b in zip(left, left[1:], strict=False))


def test_flow_of_nothing_is_refused():
    with pytest.raises(ArgumentError, match="steps"):
        flow_figure([])


@pytest.mark.parametrize(
    ("text", "want"),
    [
        ("+1.9 cm (0.8 to 3.0).", "+1,9 cm (0,8 to 3,0)."),
        ("−0.5", "−0,5"),
        ("cmjlab 0.1.0, engine 1", "cmjlab 0.1.0, engine 1"),
        ("sub-A1_run-1.5.csv and U17.5", "sub-A1_run-1.5.csv and U17.5"),
        ("2026-11-02, n = 12", "2026-11-02, n = 12"),
    ],
)
def test_decimal_comma_changes_numbers_only(text, want):
    assert with_decimal(text, ",") == want
    assert with_decimal(text, ".") == text


def test_texts_of_the_user_stay_as_they_are():
    assert with_decimal("group 1.5: 2.5 cm", ",", literal={"group 1.5"}) == "group 1.5: 2,5 cm"


@styled
def _figure() -> Picture:
    figure = picture(8, 6)
    axes = figure.subplots()
    axes.plot([0.0, 0.5], [1.25, 1.75])
    axes.set_title("mean 1.5 cm")
    figure.alt_text = "From 1.2 to 1.8."
    return figure


def test_figure_takes_the_reader_s_decimal_sign():
    figure = set_decimal(_figure(), ",")
    figure.svg()
    axes = figure.axes[0]
    labels = [t.get_text() for t in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    assert "0,5" in labels
    assert not any("." in t for t in labels)
    assert axes.get_title(loc="left") == "mean 1,5 cm" or axes.get_title() == "mean 1,5 cm"
    assert figure.alt_text == "From 1,2 to 1,8."


@pytest.mark.parametrize("formula", [
    "share_difference", "larger_limb", "symmetry_index", "right_reference", "left_reference",
    "symmetry_angle",
])  # fmt: skip
@pytest.mark.parametrize(("left", "right"), [(474.0, 526.0), (526.0, 474.0), (500.0, 500.0)])
def test_shares_come_back_from_every_formula(formula, left, right):
    """Oracle: the shares themselves; each formula is applied and solved again."""
    percent = asymmetry(left, right, formula)
    assert right_share(percent, formula) == pytest.approx(100 * right / (left + right))


def test_an_asymmetry_reads_as_both_limbs():
    name = "mean_braking_force_asymmetry_percent"
    assert level_words(name, 5.2) == "right 52.6 %, left 47.4 %"
    assert level_words(name, -5.2) == "right 47.4 %, left 52.6 %"
    assert level_words(name, float("nan")) == "–"
    assert level_words("jump_height_m", 0.345) == "34.5 cm"
