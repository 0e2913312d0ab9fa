"""Every target in every defensible way: the same numbers as the study's own analyses, one reading."""

from __future__ import annotations

import shutil

import numpy as np
import pandas as pd
import pytest
from joblib import Parallel, delayed
from study_kit import make

import cmjlab as cj
from cmjlab.files.write import write_recording
from cmjlab.method import Method
from cmjlab.results import Note
from cmjlab.scrutiny.methods import measured, sensitivity
from cmjlab.scrutiny.methods.choices import (
    CHOICES,
)
from cmjlab.scrutiny.methods.kept import kept_survival
from cmjlab.simulate.jump import simulate_jump
from cmjlab.simulate.spoil import start_late

#: Two onsets, two summaries, two rules for jumps, two estimators.
FEW = {
    "onset": ["fit", "newton_20"], "weighing": [], "rest": [], "body_weight": [], "takeoff": [],
    "filter": [], "height": ["takeoff_velocity", "flight_time"], "summary": ["mean", "best"],
    "exclusion": ["rules", "strict"],
}  # fmt: skip
HOW = {
    "height": "takeoff_velocity", "summary": "mean", "exclusion": "rules", "baseline": "base2",
    "estimator": "change_difference",
}  # fmt: skip


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    opened = cj.Study.open(cj.demo_study(), results=tmp_path_factory.mktemp("results"))
    opened.measure()
    return opened


@pytest.fixture(scope="module")
def survived(study):
    return cj.method_sensitivity(study, FEW, deals=99, keep=True, workers=1)


def _row(survived, subgroup, metric, **levels):
    rows = survived.points["specifications"]
    wanted = {**HOW, "onset": "fit", "subgroup": subgroup, "metric": metric, **levels}
    for column, value in wanted.items():
        rows = rows[rows[column] == value]
    assert len(rows) == 1
    return rows.iloc[0]


# ---- the numbers are those of the study's own analyses ---------------------------------------


def test_the_studys_own_way_is_page_one_to_the_last_bit(study, survived):
    answers = study.change_targets().points["targets"]
    own = survived.points["specifications"]
    own = own[own["own"].astype(bool)]
    for ours, theirs in (("estimate", "change"), ("low", "change_low"), ("high", "change_high")):
        assert own[ours].tolist() == answers[theirs].tolist()
    assert own["verdict"].tolist() == answers["verdict"].tolist()
    assert own["level"].tolist() == answers["level_of_each"].tolist()


@pytest.mark.parametrize(
    ("levels", "method", "summary"),
    [
        ({"onset": "newton_20"}, {"onset_rule": "newton", "onset_newton": 20.0}, "mean"),
        ({"summary": "best"}, {}, "best"),
    ],
)
def test_another_way_is_the_study_done_that_way(study, survived, levels, method, summary):
    other = study.with_choices(
        method=study.method.replace(**method), plan=study.plan.replace(summary=summary)
    )
    answers = other.change_targets().points["targets"]
    for answer in answers.to_dict("records"):
        row = _row(survived, answer["subgroup"], answer["metric"], **levels)
        assert row["estimate"] == answer["change"]
        assert row["n"] == len(other.change_between(answer["metric"]).points["pairs"].query(
            "group in @names", local_dict={"names": (answer["subgroup"], "usual")}
        ))  # fmt: skip


def test_equal_baseline_and_flight_time_are_those_of_the_study(study, survived):
    adjusted = study.change_between("time_to_takeoff_s", details=True)
    theirs = adjusted.rows("adjusted_difference", first="fast_braking", second="usual")
    ours = _row(survived, "fast_braking", "time_to_takeoff_s", estimator="adjusted_difference")
    assert ours["estimate"] == pytest.approx(theirs["estimate"].iloc[0], rel=1e-12)
    flight = study.change_between("jump_height_flight_m")
    theirs = flight.rows("change_difference", first="strength", second="usual").iloc[0]
    ours = _row(survived, "strength", "jump_height_m", height="flight_time")
    assert ours["estimate"] == pytest.approx(theirs["estimate"], rel=1e-12)


def test_strict_leaves_out_jumps_with_warnings(study, survived):
    jumps = study.measure()
    jumps["accepted"] = jumps["accepted"] & ~jumps["flags"].str.contains(":warn", regex=False)
    assert jumps["accepted"].sum() < study.measure()["accepted"].sum()
    own = [c for c in study.athletes if c not in ("athlete", "group")]
    table = cj.summarise_sessions(jumps.drop(columns=own), load_kg=0.0)
    table = table[table["athlete"].isin(study.athletes["athlete"])]
    between = cj.change_between(
        table.dropna(subset=["group"]), "time_to_takeoff_s", before="base2", after="post",
        assignment=study.plan.assignment, control="usual",
    )  # fmt: skip
    theirs = between.rows("change_difference", first="fast_braking", second="usual").iloc[0]
    ours = _row(survived, "fast_braking", "time_to_takeoff_s", exclusion="strict")
    assert ours["estimate"] == pytest.approx(theirs["estimate"], rel=1e-12)


def test_weights_of_the_session_are_those_of_the_study(tmp_path):
    folder = tmp_path / "study"
    make(folder, athletes="A01", sessions="base1", trials=3)
    with (folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write('[method]\nbody_weight = "session"\n')
    late = start_late(simulate_jump(noise_sd_n=1.5, seed=9)).recording
    write_recording(late, folder / "recordings" / "sub-A01_ses-base1_run-03.csv")
    study = cj.Study.open(folder)
    jumps = study.measure()
    assert jumps["accepted"].all()
    (table,) = measured.tables_by_method(study, [study.method], ["jump_height_m"], workers=1)
    assert table["weight_borrowed"].sum() == 1
    for column in ("accepted", "flags", "body_weight_n", "jump_height_m"):
        assert table[column].tolist() == jumps[column].tolist()


def test_every_recording_is_read_once(study, monkeypatch):
    read = []
    whole = measured.read_task
    monkeypatch.setattr(measured, "read_task", lambda task: read.append(task.file) or whole(task))
    methods = [study.method, study.method.replace(onset_rule="sd")]
    tables = list(measured.tables_by_method(study, methods, ["time_to_takeoff_s"], workers=1))
    assert sorted(read) == sorted(set(study.files["file"]))
    jumps = study.measure()
    for column in ("file", "jump", "accepted", "flags", "verdict"):
        assert tables[0][column].tolist() == jumps[column].tolist()
    assert np.array_equal(
        tables[0]["time_to_takeoff_s"], jumps["time_to_takeoff_s"], equal_nan=True
    )


# ---- rows, shares, what counts once ----------------------------------------------------------


def test_rows_follow_from_the_specifications(survived):
    every = survived.points["specifications"]
    mine = every[(every["metric"] == "time_to_takeoff_s") & every["counts"].astype(bool)]
    same = (mine["verdict"] == mine["verdict"].iloc[0]).mean()
    assert survived.value("same_verdict_share", metric="time_to_takeoff_s") == same
    median = survived.row("specification_median", metric="time_to_takeoff_s")
    assert median["estimate"] == np.median(mine["estimate"])
    assert (median["ci_low"], median["ci_high"]) == (mine["estimate"].min(), mine["estimate"].max())
    shares = survived.rows("choice_share", metric="time_to_takeoff_s")
    assert 0.5 < shares["estimate"].sum() <= 1.0 + 1e-9
    assert "choice_onset" in set(shares["case"])
    assert 0.0 < survived.value("joint_p", metric="time_to_takeoff_s") < 0.1


def test_the_very_same_numbers_count_once(survived):
    every = survived.points["specifications"]
    numbers = ["subgroup", "metric", "n", "estimate", "se", "df"]
    counted = every[every["counts"].astype(bool)]
    assert len(counted) < len(every)
    assert not counted.duplicated(numbers).any()
    flight = every[every["height"] == "flight_time"]
    assert flight["counts"].astype(bool).sum() < len(flight), "the onset does not touch flight time"
    assert "specifications_seen_twice" in {n.code for n in survived.notes}


def test_what_nobody_would_defend_is_named_with_its_reason(survived):
    text = " ".join(map(str, survived.notes))
    assert "groups were formed on values of base1" in text
    assert "Left out for strength, because the groups do not overlap in" in text
    assert not (
        (survived.points["specifications"]["baseline"] == "base1")
        & (survived.points["specifications"]["estimator"] == "change_difference")
    ).any()


# ---- choices that do not exist -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("choices", "told"),
    [
        ({"onsets": ["fit"]}, "choices: found 'onsets'"),
        ({"onset": ["fits"]}, "choices['onset']: found 'fits'"),
        ({"summary": ["mode"]}, "choices['summary']: found 'mode'"),
        ({"baseline": ["base9"]}, "choices['baseline']: found 'base9'"),
        ({"onset": {"sd_3": "sd"}}, "give each level its settings of the Method"),
        ({"onset": {"x": {"onset_sds": 3}}}, "onset_sds"),
        (["onset"], "a mapping of choice to levels is needed"),
    ],
)
def test_choices_that_do_not_exist_are_refused(study, choices, told):
    with pytest.raises(cj.ArgumentError) as refused:
        cj.method_sensitivity(study, choices, deals=0, workers=1)
    assert told in str(refused.value)


# ---- targets that there are or are not -------------------------------------------------------

ONE = {c: [] for c in CHOICES}


def _changed(tmp_path, **files):
    folder = tmp_path / "study"
    shutil.copytree(cj.demo_study(), folder, ignore=shutil.ignore_patterns("results"))
    for name, change in files.items():
        path = folder / f"{name}.csv"
        text = change(path.read_text(encoding="utf-8")) if path.exists() else change("")
        path.unlink() if text is None else path.write_text(text, encoding="utf-8")
    return cj.Study.open(folder)


def test_without_targets_the_primary_measure_is_asked(tmp_path):
    study = _changed(tmp_path, targets=lambda _: None)
    found = cj.method_sensitivity(study, ONE, deals=0, workers=1)
    assert found.points["targets"]["subgroup"].tolist() == ["strength", "fast_braking"]
    assert set(found.points["targets"]["metric"]) == {"jump_height_m"}
    assert len(found.points["specifications"]) == 2


def test_a_measure_that_is_not_from_force_is_named_and_moved_events_stay(tmp_path, survived):
    study = _changed(
        tmp_path, targets=lambda text: f"{text.rstrip()}\nstrength,squat_1rm_kg,more,5,stronger\n"
    )
    file = str(study.files["file"].iloc[0])
    onset = study.jump(file).events["onset"] - 0.02
    study = study.decide(
        cj.Decision("move", file, 1, reason="late", who="T1", event="onset", time_s=onset)
    )
    found = cj.method_sensitivity(study, ONE, deals=0, workers=1)
    assert Note("specifications_moved") in found.notes
    assert Note("specifications_moved") not in survived.notes
    said = [str(s) for s in found.sentences if s.key == "survive.not_asked"]
    assert len(said) == 1
    assert "its values do not come from the recordings" in said[0]


# ---- what is kept ----------------------------------------------------------------------------


def test_what_was_found_is_kept_for_this_state_of_the_study_only(study, survived, monkeypatch):
    kept = kept_survival(study)
    pd.testing.assert_frame_equal(kept.table, survived.table)
    assert list(map(str, kept.sentences)) == list(map(str, survived.sentences))
    assert list(map(str, kept.notes)) == list(map(str, survived.notes))
    assert kept_survival(study.with_choices(plan=study.plan.replace(level=0.9))) is None
    assert kept_survival(study.with_choices(method=study.method.replace(onset_rule="sd"))) is None
    monkeypatch.setattr(sensitivity, "tables_by_method", None)  # nothing is measured again
    again = cj.method_sensitivity(study, FEW, deals=99)
    pd.testing.assert_frame_equal(again.points["specifications"], survived.points["specifications"])


def test_nothing_is_kept_that_nobody_asked_to_keep(tmp_path):
    study = cj.Study.open(cj.demo_study(), results=tmp_path)
    found = cj.method_sensitivity(study, ONE, deals=0, workers=1)
    assert len(found.points["specifications"]) == 4
    assert kept_survival(study) is None


@pytest.mark.parametrize("spoil", [b"", b"PAR1 not a table", None])
def test_a_kept_file_that_cannot_be_read_is_none(study, survived, spoil):
    path = study.results / "store" / "survival.parquet"
    whole = path.read_bytes()
    try:
        path.write_bytes(whole[: len(whole) // 2] if spoil is None else spoil)
        assert kept_survival(study) is None
    finally:
        path.write_bytes(whole)
    assert kept_survival(study) is not None


def test_processes_that_stand_in_another_folder_find_a_relative_study(tmp_path, monkeypatch):
    """Processes of an earlier run are used again: they stand where that one stood."""
    make(tmp_path / "two" / "study", athletes="A01", sessions="base1", trials=13)
    methods = [Method(), Method(onset_rule="sd")]
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir(exist_ok=True)
        monkeypatch.chdir(tmp_path / folder)
        if folder == "one":
            Parallel(n_jobs=2)(delayed(str)(i) for i in range(4))
    study = cj.Study.open("study")
    for table in measured.tables_by_method(study, methods, ["jump_height_m"], workers=2):
        assert table["error"].tolist() == [""] * 13
    assert (study.measure(workers=2)["error"].fillna("") == "").all()


def test_several_processes_give_the_same(study):
    jumps = measured.tables_by_method(
        study, [study.method, Method(onset_rule="sd")], ["jump_height_m"], workers=2
    )
    alone = measured.tables_by_method(
        study, [study.method, Method(onset_rule="sd")], ["jump_height_m"], workers=1
    )
    for one, two in zip(jumps, alone, strict=True):
        pd.testing.assert_frame_equal(one, two)
