"""Result, Recording, units: what every room carries."""

from __future__ import annotations

import numpy as np
import pytest

from cmjlab.errors import ArgumentError
from cmjlab.recording import Recording
from cmjlab.results import Note, Result, Sentence
from cmjlab.tables import STATISTICS_TABLE
from cmjlab.units import FORCE_UNITS, show


def _result() -> Result:
    rows = [
        {"metric": "a_m", "statistic": "typical_error", "estimate": 1.0, "method": "one"},
        {"metric": "a_m", "statistic": "typical_error", "estimate": 2.0, "method": "two"},
        {"metric": "a_m", "statistic": "session_change", "estimate": 3.0},
        {"metric": "b<b>", "statistic": "session_change", "estimate": 4.0},
    ]
    notes = (Note("text_column", {"columns": ["A1 <script>"]}),)
    return Result(
        "test",
        STATISTICS_TABLE.frame(rows),
        notes=notes,
        sentences=(Sentence("table.not_estimable", values={"why": "a < b"}),),
    )


def test_wide_keeps_rows_of_different_methods_apart():
    wide = _result().wide().set_index("metric")
    assert wide.loc["a_m", "typical_error [one]"] == 1.0
    assert wide.loc["a_m", "typical_error [two]"] == 2.0
    assert wide.loc["b<b>", "session_change"] == 4.0


def test_value_needs_exactly_one_row():
    result = _result()
    assert result.value("session_change", metric="a_m") == 3.0
    with pytest.raises(KeyError, match="2 rows match"):
        result.value("typical_error", metric="a_m")


def test_html_escapes_everything():
    page = _result()._repr_html_()
    assert "<script>" not in page
    assert "b<b>" not in page
    assert "a &lt; b" in page


def test_recording_is_read_only_and_two_dimensional():
    force = np.arange(10.0)
    recording = Recording(force, 1000)
    force[0] = 99.0
    assert recording.force_n.shape == (10, 1)
    assert recording.total_n[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        recording.force_n[0, 0] = 1.0
    assert recording.duration_s == pytest.approx(0.01)


def test_total_is_the_named_plate_or_the_sum():
    two = np.column_stack([np.full(5, 300.0), np.full(5, 400.0)])
    assert Recording(two, 1000, ("left", "right")).total_n[0] == 700.0
    assert Recording(two, 1000, ("total", "right")).total_n[0] == 300.0


@pytest.mark.parametrize(
    ("plates", "shape"), [(("left",), (5, 2)), (("left", "left"), (5, 2)), (("heel",), (5, 1))]
)
def test_plate_names_are_checked(plates, shape):
    with pytest.raises(ArgumentError, match="plates: found"):
        Recording(np.zeros(shape), 1000, plates)


@pytest.mark.parametrize("rate", [0, -1, float("nan"), "1000", None])
def test_rate_is_checked(rate):
    with pytest.raises(ArgumentError, match="rate_hz"):
        Recording(np.zeros(5), rate)


def test_replace_keeps_the_rest():
    recording = Recording(np.zeros(5), 500, athlete="07", start_s=2.0)
    moved = recording.replace(trial="3")
    assert (moved.athlete, moved.trial, moved.start_s) == ("07", "3", 2.0)
    assert moved.time_s[0] == 2.0


def test_show_rounds_for_people():
    assert show(0.3447, "m") == "34.5 cm"
    assert show(-0.0001, "m") == "0.0 cm"
    assert show(float("nan"), "m") == "–"


def test_pound_force_is_exact():
    """1 lbf = 0.45359237 kg × 9.80665 m/s² by definition (international pound, 1959)."""
    assert FORCE_UNITS["lbf"] == pytest.approx(0.45359237 * 9.80665, rel=1e-15)
