"""A report shows no two metrics that are one: the plan is checked, and the defaults keep to it."""

from __future__ import annotations

import pytest
from study_kit import SETTINGS, make

import cmjlab as cj
from cmjlab.plan import DEFAULT_REPORT_METRICS, Plan
from cmjlab.report.build.subgroups import MEASURES
from cmjlab.report.sheets.athlete import SHOWN
from cmjlab.stats.common.multiplicity import family_of
from cmjlab.study.check.families import check_families
from cmjlab.study.folder.problems import Problems


def told(plan: Plan) -> list[str]:
    problems = Problems()
    check_families(plan, problems)
    assert {row["severity"] for row in problems.rows} <= {"warn"}
    return [row["found"] for row in problems.rows]


@pytest.mark.parametrize(
    ("named", "found"),
    [
        (("takeoff_velocity_m_per_s",), ["jump_height_m and takeoff_velocity_m_per_s"]),
        (("jump_height_m", "jump_height_m", "braking_duration_s"), []),
        (
            ("peak_propulsion_power_w_per_kg", "peak_propulsion_power_w", "an_own_measure_kg"),
            ["peak_propulsion_power_w_per_kg and peak_propulsion_power_w"],
        ),
        (
            ("propulsion_impulse_n_s_per_kg", "flight_time_s", "takeoff_velocity_m_per_s"),
            [
                "jump_height_m and propulsion_impulse_n_s_per_kg",
                "jump_height_m and takeoff_velocity_m_per_s",
            ],
        ),
    ],
)
def test_two_metrics_of_one_family_are_told(named: tuple[str, ...], found: list[str]) -> None:
    assert told(Plan(report_metrics=named)) == found


def test_a_primary_metric_beside_the_default_metrics_is_told() -> None:
    found = told(Plan(primary_metric="takeoff_velocity_m_per_s"))
    assert found == ["takeoff_velocity_m_per_s and jump_height_m"]


@pytest.mark.parametrize("listed", [DEFAULT_REPORT_METRICS, SHOWN, MEASURES])
def test_default_lists_hold_no_two_of_one_family(listed: tuple[str, ...]) -> None:
    assert len({family_of(metric) for metric in listed}) == len(listed)


def test_the_default_plan_has_no_such_problem() -> None:
    assert told(Plan()) == []


def test_the_check_of_a_folder_tells_it(tmp_path) -> None:
    folder = make(tmp_path / "study")
    for line, times in (
        ('report_metrics = ["braking_rfd_n_per_s", "braking_rfd_mean_n_per_s"]', 1),
        ('report_metrics = ["braking_rfd_n_per_s", "braking_duration_s"]', 0),
        ("report_metrics = [[1], 2]", 0),
    ):
        (folder / "study.toml").write_text(f"{SETTINGS}[plan]\n{line}\n")
        table = cj.check_study(folder)
        told = table[table["code"] == "same_information"]
        assert len(told) == times, line
        assert (told["severity"] == "warn").all()
