"""targets.csv: read with its siblings, checked row by row, frozen with the plan."""

from __future__ import annotations

import datetime as dt

import pytest
from study_kit import make

from cmjlab.study.folder.problems import Problems
from cmjlab.study.frozen_plan import FILE_NAME, freeze, plan_state
from cmjlab.study.study import Study

HEADER = "subgroup,metric,wanted,amount,why\n"
ROSTER = "athlete,group\nA01,strength\nA02,strength\nA03,quick\nA04,quick\n"
GOOD = "strength,jump_height_m,more,0.02,weak\nquick,time_to_takeoff_s,less,0.04,slow\n"


@pytest.fixture
def folder(tmp_path):
    place = make(tmp_path / "study", athletes="A01,A02,A03,A04", sessions="base1")
    (place / "athletes.csv").write_text(ROSTER)
    return place


def problems(folder, rows: str, header: str = HEADER) -> dict[str, dict[str, str]]:
    """Return the problems of targets.csv with these rows, by code."""
    (folder / "targets.csv").write_text(header + rows, encoding="utf-8")
    found = Problems()
    Study.read(folder, None, found)
    table = found.frame()
    mine = table[table["file"].str.startswith("targets")]
    return {row["code"]: row for row in mine.to_dict("records")}


def test_good_rows_are_read_and_nothing_is_said(folder):
    assert problems(folder, GOOD) == {}
    targets = Study.open(folder).targets
    assert targets["wanted"].tolist() == ["more", "less"]
    assert targets["amount"].tolist() == [0.02, 0.04]


def test_a_study_without_the_table_has_no_targets(folder):
    (folder / "targets.csv").unlink(missing_ok=True)
    assert Study.open(folder).targets.empty


@pytest.mark.parametrize(
    ("rows", "code", "severity", "row", "said"),
    [
        ("# a remark\nstrenght,jump_height_m,more,0.02,\n", "unknown_subgroup", "fail", "3", "strength"),
        ("strength,jump_hight_m,more,0.02,\n", "unknown_metric", "fail", "2", "jump_height_m"),
        ("strength,jump_height_m,moer,0.02,\n", "bad_value", "fail", "2", "more"),
        ("strength,jump_height_m,more,two,\n", "bad_value", "fail", "2", ""),
        ("strength,jump_height_m,less,-0.02,\n", "amount_not_positive", "fail", "2", "size only"),
        ("strength,jump_height_m,more,0,\n", "amount_not_positive", "fail", "2", ""),
        ("strength,jump_height_m,,0.02,\n", "empty_cell", "fail", "2", ""),
        ("quick,braking_duration_s,unchanged,,\n", "no_amount", "warn", "2", "direction"),
        (GOOD + "strength,jump_height_m,more,0.03,\n", "row_twice", "fail", "2, 4", ""),
        (GOOD + "strength,jump_height_m,less,0.03,\n", "targets_contradict", "fail", "2, 4", ""),
        (GOOD + "strength,takeoff_velocity_m_per_s,more,0.1,\n", "same_quantity", "warn", "2, 4", ""),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_with_its_row(folder, rows, code, severity, row, said):
    found = problems(folder, rows)
    assert set(found) == {code}
    assert (found[code]["severity"], found[code]["row"]) == (severity, row)
    assert said in found[code]["remedy"]


def test_a_declared_change_that_matters_is_the_amount_of_a_target_without_one(folder):
    with (folder / "study.toml").open("a") as file:
        file.write("\n[plan.change_that_matters]\nbraking_duration_s = 0.02\n")
    assert problems(folder, "quick,braking_duration_s,unchanged,,\n") == {}


def test_a_measure_of_the_study_can_be_a_target(folder):
    (folder / "measures.csv").write_text(
        "athlete,session,date,measure,value,unit\nA01,base1,,squat_1rm,100,kg\n"
    )
    rows = "strength,squat_1rm_kg,more,5,\nstrength,relative_strength,more,0.1,\n"
    assert problems(folder, rows) == {}
    assert set(problems(folder, "strength,squat_1rm,more,5,\n")) == {"unknown_metric"}


def test_targets_are_frozen_with_the_plan(folder):
    (folder / "targets.csv").write_text(HEADER + GOOD)
    freeze(Study.read(folder), today=dt.date(2026, 9, 1))
    assert plan_state(Study.read(folder)).changes == ()
    (folder / "targets.csv").write_text(
        HEADER + "strength,jump_height_m,more,0.03,weak\nquick,countermovement_depth_m,less,,\n"
    )
    said = list(map(str, plan_state(Study.read(folder)).changes))
    assert said == [
        "targets, strength, Jump height (take-off velocity), amount (declared 0.02, now 0.03)",
        "targets, quick, Time to take-off, wanted (declared “less”, now nothing)",
        "targets, quick, Time to take-off, amount (declared 0.04, now nothing)",
        "targets, quick, Countermovement depth, wanted (declared nothing, now “less”)",
    ]


def test_a_plan_frozen_before_there_were_targets_still_compares(folder):
    """Targets that were written down later are named; none at all is no change."""
    import json

    from cmjlab.keys import key_of

    path = freeze(Study.read(folder), today=dt.date(2026, 9, 1))
    whole = json.loads(path.read_text(encoding="utf-8"))
    del whole["declared"]["targets"]
    whole["key"] = key_of({"declared": whole["declared"], "sizes": whole["sizes"]})
    (folder / FILE_NAME).write_text(json.dumps(whole), encoding="utf-8")
    assert plan_state(Study.read(folder)).changes == ()
    (folder / "targets.csv").write_text(HEADER + "strength,jump_height_m,more,0.03,\n")
    assert "targets, strength" in str(plan_state(Study.read(folder)).changes[0])
