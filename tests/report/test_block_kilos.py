"""Kilos on the bar: hand-made sums, never above the range, and what is said without a maximum."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from cmjlab.report.sheets.kilos import bar_load, bar_loads, percents
from cmjlab.study.folder.block_rows import maximum_of, percent_range, weeks_range

USUAL = (25.0, 20.0, 15.0, 10.0, 5.0, 2.5, 1.25)


def test_loads_of_a_bar_are_all_sums_of_pairs():
    plates = (15.0, 10.0, 1.25)
    by_hand = {
        20 + 2 * (15 * a + 10 * b + 1.25 * c)
        for a, b, c in itertools.product(range(4), range(6), range(40))
    }
    assert bar_loads(20.0, plates, 100.0) == tuple(sorted(x for x in by_hand if x <= 100))
    assert bar_loads(15.0, (20.0, 15.0), 120.0) == (
        15.0,
        45.0,
        55.0,
        75.0,
        85.0,
        95.0,
        105.0,
        115.0,
    )
    assert bar_loads(20.0, USUAL, 10.0) == ()


@pytest.mark.parametrize(
    ("maximum", "percent", "limits", "kg", "inside"),
    [  # worked by hand with steps of 2.5 kg
        (77.5, 80.0, (80.0, 90.0), 62.5, True),  # 62.0: 60 lies below the range
        (77.5, 90.0, (80.0, 90.0), 67.5, True),  # 69.75: 70 would be above the range
        (100.0, 70.0, (70.0, 70.0), 70.0, True),
        (77.5, 70.0, (70.0, 70.0), 52.5, False),  # 54.25: a single percentage is rounded down
        (60.0, 30.0, (30.0, 30.0), None, False),  # 18 kg: the bar is heavier
    ],
)
def test_kilos_by_hand(maximum, percent, limits, kg, inside):
    found = bar_load(maximum, percent, limits, bar_loads(20.0, USUAL, 200.0))
    assert found.kg == kg
    assert found.inside is inside
    assert found.target_kg == pytest.approx(maximum * percent / 100)


def test_never_above_the_range_and_as_near_as_the_plates_allow():
    rng = np.random.default_rng(5)
    for _ in range(400):
        plates = tuple(rng.choice([25, 20, 15, 10, 5, 2.5, 1.25, 0.5], size=4, replace=False))
        loads = bar_loads(float(rng.choice([10, 15, 20])), plates, 250.0)
        low = float(rng.uniform(30, 85))
        high, maximum = low + float(rng.uniform(0, 12)), float(rng.uniform(30, 200))
        percent = float(rng.uniform(low, high))
        found = bar_load(maximum, percent, (low, high), loads)
        allowed = [x for x in loads if x <= maximum * high / 100 + 1e-6]
        if found.kg is None:
            assert not allowed
            continue
        assert found.kg <= maximum * high / 100 + 1e-6
        within = [x for x in allowed if x >= maximum * low / 100 - 1e-6]
        assert found.inside == bool(within)
        nearest = min(abs(x - found.target_kg) for x in within or allowed[-1:])
        assert abs(found.kg - found.target_kg) == pytest.approx(nearest)


def test_percentages_rise_to_the_upper_end_and_no_further():
    assert percents((80.0, 90.0), 6, 0.0) == [80.0, 82.0, 84.0, 86.0, 88.0, 90.0]
    assert percents((80.0, 90.0), 5, 3.0) == [80.0, 83.0, 86.0, 89.0, 90.0]
    assert percents((70.0, 70.0), 3, 2.5) == [70.0, 70.0, 70.0]
    assert percents((60.0, 70.0), 1, 0.0) == [60.0]


@pytest.mark.parametrize(
    ("load", "of", "expected"),
    [
        ("80-90 % 1RM", "", (80.0, 90.0)),
        ("80%–90% of 1RM", "", (80.0, 90.0)),
        ("72,5 % 1RM", "", (72.5, 72.5)),
        ("60 to 70 % 1-RM", "", (60.0, 70.0)),
        ("90 % of the own best", "", None),
        ("90 % of the own best", "pull_1rm", (90.0, 90.0)),
        ("20 kg", "squat_1rm", None),
        ("body weight", "", None),
    ],
)
def test_percentages_as_people_write_them(load, of, expected):
    assert percent_range(load, of) == expected


@pytest.mark.parametrize(
    ("exercise", "of", "expected"),
    [
        ("back squat", "", "squat_1rm"),
        ("Barbell squat", "", "squat_1rm"),
        ("bench press", "", "bench_press_1rm"),
        ("front squat", "", None),  # another exercise: its load is not the back squat's
        ("jump squat", "", None),
        ("jump squat", "squat_1rm", "squat_1rm"),
        ("jump squat", "Squat 1RM kg", "squat_1rm"),
        ("back squat", "pull_1rm", None),
        ("squat", "", "squat_1rm"),
    ],
)
def test_another_exercises_maximum_is_never_taken_silently(exercise, of, expected):
    assert maximum_of(exercise, of, ["coach_rating", "squat_1rm", "bench_press_1rm"]) == expected


def test_weeks_as_people_write_them():
    assert [weeks_range(t) for t in ("1-4", "5", " 5 – 8 ", "4-1", "soon", "0", "")] == [
        (1, 4), (5, 5), (5, 8), None, None, None, None,
    ]  # fmt: skip
