"""What a person types from a paper: units, statistics, metrics, printed decimals."""

from __future__ import annotations

import pytest

from cmjlab.catalog import METRICS
from cmjlab.scrutiny.paper.read_words import defined_otherwise, metric_of, statistic_of
from cmjlab.scrutiny.paper.table import printed
from cmjlab.scrutiny.paper.written_units import factor
from cmjlab.units import shown_unit, to_shown


@pytest.mark.parametrize(
    ("written", "unit", "by"),
    [
        ("cm", "m", 0.01), ("mm", "m", 0.001), ("ms", "s", 0.001), ("kN", "N", 1000.0), ("g", "kg", 0.001),
        ("W·kg−1", "W/kg", 1.0), ("W kg^-1", "W/kg", 1.0), ("W.kg⁻¹", "W/kg", 1.0),
        ("N·s·kg-1", "N·s/kg", 1.0), ("kN·s⁻¹", "N/s", 1000.0), ("m·s-1", "m/s", 1.0), ("cm/s", "m/s", 0.01),
        ("N·s", "kg·m/s", 1.0), ("%", "%", 1.0), ("", "", 1.0), ("m/s", "m/s", 1.0),
        ("ms", "m", None), ("BW", "N", None), ("N", "N/kg", None), ("", "m", None), ("furlong", "m", None),
    ],
)  # fmt: skip
def test_units_as_papers_print_them(written, unit, by):
    assert factor(written, unit) == (by if by is None else pytest.approx(by, rel=1e-12))


def test_every_unit_of_the_catalog_is_read_as_it_is_and_as_it_is_shown():
    for unit in {m.unit for m in METRICS.values()}:
        assert factor(unit, unit) == 1.0
        assert factor(shown_unit(unit), unit) == pytest.approx(1 / to_shown(1.0, unit), rel=1e-9)


@pytest.mark.parametrize(
    ("text", "value", "half"),
    [("0.35", 0.35, 0.005), ("0.350", 0.35, 0.0005), ("34", 34, 0.5), ("-1,5", -1.5, 0.05), ("−1.5", -1.5, 0.05),
     ("1.2e3", 1200, 50), ("0", 0, 0.5)],
)  # fmt: skip
def test_decimals_are_read_from_the_text(text, value, half):
    number = printed(text)
    assert (number.value, number.half) == (pytest.approx(value), pytest.approx(half))


@pytest.mark.parametrize("text", ["1,234", "12 cm", "about 3", "inf"])
def test_what_is_no_single_number_is_refused(text):
    with pytest.raises(ValueError):
        printed(text)


@pytest.mark.parametrize(
    ("words", "how", "unit", "key", "assumed"),
    [
        ("mean", "", "cm", "mean", ""), ("SD", "", "cm", "sd", ""), ("standard deviation", "", "", "sd", ""),
        ("ICC(3,1)", "", "", "icc_c1", ""), ("ICC", "two-way, ICC 2,1", "", "icc_a1", ""),
        ("ICC", "absolute agreement", "", "icc_a1", ""), ("intraclass correlation", "", "", "icc_c1", "icc"),
        ("CV", "", "%", "typical_error_percent", "cv"), ("CV%", "root mean square", "%", "cv_rms_percent", ""),
        ("cv", "mean of athletes", "%", "cv_mean_percent", ""), ("CV", "log-transformed", "%", "typical_error_percent", ""),
        ("typical error", "", "cm", "typical_error", ""), ("typical error", "", "%", "typical_error_percent", ""),
        ("SEM", "", "cm", "typical_error", ""), ("change", "", "cm", "mean_change", ""),
        ("change", "", "%", "percent_change", ""), ("difference", "", "cm", "change_difference", ""),
        ("difference", "ANCOVA", "cm", "adjusted_difference", ""), ("typical_error", "", "cm", "typical_error", ""),
        ("kurtosis", "", "", "", ""),
    ],
)  # fmt: skip
def test_statistics_by_words_of_the_trade(words, how, unit, key, assumed):
    read = statistic_of(words, how, unit)
    assert (read.key, read.assumed) == (key, assumed)


def test_an_icc_of_an_average_is_seen():
    assert statistic_of("ICC(2,k)", "", "").average
    assert statistic_of("ICC(3,3)", "", "").average
    assert not statistic_of("ICC(2,1)", "", "").average


def test_metrics_by_words_and_heights_by_how_they_were_measured():
    assert metric_of("contraction time", "", METRICS) == "time_to_takeoff_s"
    assert metric_of("jump height", "", METRICS) == "jump_height_m"
    assert metric_of("jump height", "from flight time", METRICS) == "jump_height_flight_m"
    assert metric_of("jump_height_m", "from flight time", METRICS) == "jump_height_m"
    assert metric_of("happiness", "", METRICS) == ""
    assert defined_otherwise("jump_height_m", "from flight time") == "jump_height_flight_m"
    assert defined_otherwise("jump_height_m", "impulse-momentum") == ""
    assert defined_otherwise("peak_force_n", "flight time") == ""
