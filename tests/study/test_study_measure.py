"""Jumps table, decisions, checks against other jumps, sessions table, flow, curves."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from study_kit import RATE_HZ, jump_bytes, make, recording

import cmjlab as cj
from cmjlab.catalog import METRICS
from cmjlab.study.decide.decisions import Decision
from cmjlab.study.decide.other_jumps import checks_against_other_jumps
from cmjlab.study.study import Study
from cmjlab.tables import CHECK_ROWS, JUMPS, SESSIONS

FIRST = "sub-A01_ses-base1_run-01.csv"


@pytest.fixture
def folder(tmp_path):
    return make(tmp_path / "study", athletes="A01,A02", sessions="base1,post", trials=3)


def test_numbers_are_those_of_measure(folder):
    study = Study.open(folder)
    table = study.measure()
    file = folder / "recordings" / FIRST
    jump = cj.measure(cj.read_recording(file), study.method)
    row = table[table["file"] == FIRST].iloc[0]
    for key in METRICS:
        assert row[key] == jump.metrics[key] or (np.isnan(row[key]) and np.isnan(jump.metrics[key]))
    assert row["accepted_by_rules"] == jump.accepted
    again = study.jump(FIRST)
    assert dict(again.events) == pytest.approx(dict(jump.events), nan_ok=True)
    assert (again.recording.athlete, again.recording.session) == ("A01", "base1")


def test_form_of_the_tables(folder):
    study = Study.open(folder)
    table, checks, sessions = study.measure(), study.checks, study.sessions_table()
    assert [c for c in table.columns if c in JUMPS.names] == JUMPS.names
    assert list(table.columns[8:10]) == ["group", "role"]
    assert table["session"].cat.ordered
    assert list(table["session"].cat.categories) == ["base1", "base2", "post"]
    assert not table.duplicated(list(JUMPS.key)).any()
    assert list(checks.columns) == CHECK_ROWS.names
    assert not checks.duplicated(list(CHECK_ROWS.key)).any()
    assert [c for c in sessions.columns if c in SESSIONS.names][:8] == SESSIONS.names[:8]
    assert list(sessions["session"].astype(str)) == ["base1", "base1", "post", "post"]
    assert list(sessions["role"]) == ["baseline", "baseline", "post", "post"]
    assert list(sessions["date"]) == ["2026-08-31"] * 2 + ["2026-10-26"] * 2
    assert (sessions["n_jumps"] + sessions["n_excluded"] == 3).all()
    used = table[table["accepted"].astype(bool)]
    means = used.groupby(["session", "athlete"], observed=True)["jump_height_m"].mean()
    assert sessions["jump_height_m"].to_numpy() == pytest.approx(means.to_numpy())


def test_groups_have_one_order_roster_first_then_rules_control_last(folder):
    (folder / "athletes.csv").write_text("athlete,group\nA01,usual\nA02,strength - heavy\n")
    (folder / "subgroups.csv").write_text(
        "subgroup,rule\nfast,jump_height_m < 0.3\nusual,else\n", encoding="utf-8"
    )
    text = (folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text(text + '[plan]\ncontrol_group = "usual"\n')
    study = Study.open(folder)
    assert study.groups == ("strength - heavy", "fast", "usual")
    group = study.sessions_table()["group"]
    assert group.cat.ordered
    assert tuple(group.cat.categories) == study.groups
    assert set(group) == {"strength - heavy", "usual"}


def test_rows_follow_the_roster_not_the_ids(folder):
    (folder / "athletes.csv").write_text("athlete,group\nA02,x\nA01,x\n")
    table = Study.open(folder).measure()
    assert list(dict.fromkeys(table["athlete"])) == ["A02", "A01"]


def test_layout_by_match(folder):
    """Files without time need the rate; the first layout whose pattern fits gives it."""
    path = folder / "recordings" / "sub-A02_ses-base2_run-01.csv"
    force = recording(3).force_n[:, 0]
    path.write_text("force\n" + "\n".join(f"{v:.1f}" for v in force))
    row = Study.open(folder).measure().set_index("file").loc[path.name]
    assert "rate" in row["error"]
    with open(folder / "study.toml", "a") as file:
        file.write(f'[[layout]]\nmatch = "*ses-base2*"\nrate_hz = {RATE_HZ}\n')
    row = Study.open(folder).measure().set_index("file").loc[path.name]
    assert row["error"] == ""
    assert row["rate_hz"] == RATE_HZ


def test_another_method_or_plan_leaves_the_study_as_it_is(folder):
    study = Study.open(folder)
    usual = study.measure()["time_to_takeoff_s"]
    other = study.with_choices(
        method=study.method.replace(onset_rule="percent"), plan=study.plan.replace(jumps_wanted=5)
    )
    assert (other.measure()["time_to_takeoff_s"] != usual).any()
    assert set(other.sessions_table()["n_expected"]) == {5}
    assert set(study.sessions_table()["n_expected"]) == {3}
    pd.testing.assert_series_equal(Study.open(folder).measure()["time_to_takeoff_s"], usual)


def test_assumptions_of_reading_are_told_file_by_file(folder):
    text = (folder / "recordings" / FIRST).read_text()
    header, _, rest = text.partition("\n")
    (folder / "recordings" / FIRST).write_text(f"{header.replace('_n', '')}\n{rest}")
    notes = Study.open(folder).reading_notes
    assert list(notes.columns) == ["file", "jump", "code", "text"]
    assert set(notes["file"]) == {FIRST}
    assert notes["text"].str.contains("newtons").any()


def test_decisions_and_both_verdicts_stay_visible(folder):
    study = Study.open(folder)
    study.measure()
    assert study.measure().set_index("file").loc[FIRST, "accepted"]
    study = study.decide(Decision("reject", FIRST, reason="swung the arms", who="T1"))
    row = study.measure().set_index("file").loc[FIRST]
    assert (row["accepted"], row["accepted_by_rules"], row["verdict"]) == (False, True, "reject")
    study = study.decide(Decision("accept", FIRST, reason="looked again", who="T2"))
    assert study.measure().set_index("file").loc[FIRST, "verdict"] == "accept"
    study = study.decide(Decision("undo", FIRST, reason="all as before", who="T2"))
    row = study.measure().set_index("file").loc[FIRST]
    assert (row["accepted"], row["verdict"]) == (True, "")
    assert list(study.decisions["action"]) == ["reject", "accept", "undo"]
    assert list(study.decisions["who"]) == ["T1", "T2", "T2"]


def test_moved_event_goes_into_the_numbers_and_back(folder):
    study = Study.open(folder)
    before = study.jump(FIRST)
    place = before.events["onset"] - 0.05
    study = study.decide(
        Decision("move", FIRST, event="onset", time_s=place, reason="early", who="T1")
    )
    after = study.jump(FIRST)
    assert after.events["onset"] == pytest.approx(place)
    assert after.detected["onset"] == pytest.approx(before.events["onset"])
    row = study.measure().set_index("file").loc[FIRST]
    assert row["moved_events"] == "onset"
    assert row["time_to_takeoff_s"] == pytest.approx(before.metrics["time_to_takeoff_s"] + 0.05)
    study = study.decide(Decision("undo", FIRST, event="onset", reason="no", who="T1"))
    row = study.measure().set_index("file").loc[FIRST]
    assert row["moved_events"] == ""
    assert row["time_to_takeoff_s"] == before.metrics["time_to_takeoff_s"]


@pytest.mark.parametrize(
    "old",
    [
        b"",
        b"file;jump;action;event;time_s;reason;who;when\r\n",
        b"\xef\xbb\xbfwho,when,reason,file,jump,action,event,time_s\nT0,x,y," + FIRST.encode() + b",2,reject,,",
        "file\tjump\taction\tevent\ttime_s\treason\twho\twhen\n".encode("utf-16"),
    ],
    ids=["new", "semicolon", "other order, no last newline", "utf16 tabs"],
)  # fmt: skip
def test_decisions_are_added_in_the_dialect_of_the_log(folder, old):
    if old:
        (folder / "decisions.csv").write_bytes(old)
    study = Study.open(folder).decide(
        Decision("move", FIRST, event="onset", time_s=1.25, reason="=1;2, a\tb", who="T")
    )
    assert (folder / "decisions.csv").read_bytes().startswith(old)
    last = study.decisions.iloc[-1]
    assert (last["file"], last["jump"], last["time_s"]) == (FIRST, 1, 1.25)
    assert last["reason"] == "=1;2, a b"
    assert study.decided.moved[FIRST] == {1: {"onset": 1.25}}


def test_decisions_need_a_reason_a_person_and_a_file(folder):
    study = Study.open(folder)
    with pytest.raises(cj.ArgumentError, match="reason"):
        study.decide(Decision("reject", FIRST, reason=" ", who="T"))
    with pytest.raises(cj.ArgumentError, match="no recording of this study"):
        study.decide(Decision("reject", "x.csv", reason="r", who="T"))
    with pytest.raises(cj.ArgumentError, match="onset"):
        study.decide(
            Decision("move", FIRST, event="zero_velocity", time_s=1.0, reason="r", who="T")
        )
    assert not (folder / "decisions.csv").exists()


def _jumps(weights, heights, session="s"):
    n = len(weights)
    return pd.DataFrame(
        {
            "file": [f"f{i}" for i in range(n)],
            "jump": 1,
            "athlete": "A",
            "session": session,
            "body_weight_n": weights,
            "jump_height_m": heights,
        }
    )


@pytest.mark.parametrize(
    ("weights", "statuses"),
    [
        ([700, 700, 700], ["pass", "pass", "pass"]),
        ([700, 700, 706.9], ["pass", "pass", "pass"]),
        ([700, 700, 707.1], ["pass", "pass", "warn"]),
        ([700, 700, 720.9], ["pass", "pass", "warn"]),
        ([700, 700, 721.1], ["pass", "pass", "fail"]),
        ([700, 800], ["warn", "warn"]),
        ([700], ["not_assessed"]),
        ([700, np.nan, 700], ["pass", "not_assessed", "pass"]),
    ],
)
def test_weight_against_the_session(weights, statuses):
    jumps = _jumps(weights, [0.3] * len(weights))
    checks = checks_against_other_jumps(jumps, pd.Series(True, index=jumps.index))
    assert list(checks.loc[checks["code"] == "weight_vs_session", "status"]) == statuses


def test_effort_is_a_warning_and_rejected_jumps_are_no_reference():
    jumps = _jumps([700] * 4, [0.30, 0.271, 0.269, 0.50])
    checks = checks_against_other_jumps(jumps, pd.Series([True, True, True, False]))
    by_code = checks.pivot(index="file", columns="code", values="status")
    assert list(by_code["outlier_within_session"]) == ["pass", "pass", "warn", "pass"]
    assert list(by_code["far_below_own_best"]) == ["pass"] * 4
    other = _jumps([700], [0.39], session="later").assign(file="g")
    both = pd.concat([jumps, other], ignore_index=True)
    checks = checks_against_other_jumps(both, pd.Series([True, True, True, False, True]))
    by_code = checks.pivot(index="file", columns="code", values="status")
    assert list(by_code["far_below_own_best"]) == ["warn"] * 3 + ["pass"] * 2


def test_wrong_person_on_the_plate_is_found(folder):
    """A file of a heavier person under an athlete's id fails, and a person may overrule it."""
    heavy = recording(40)
    heavy = cj.Recording(heavy.force_n * 1.1, heavy.rate_hz)
    wrong = "sub-A01_ses-post_run-09.csv"
    cj.write_recording(heavy, folder / "recordings" / wrong)
    study = Study.open(folder)
    row = study.measure().set_index("file").loc[wrong]
    assert not row["accepted"]
    assert "weight_vs_session:fail" in row["flags"]
    check = study.checks.query("file == @wrong and code == 'weight_vs_session'").iloc[0]
    assert "10.0 % above the median" in check["reason"]
    study = study.decide(Decision("accept", wrong, reason="wore a vest", who="T1"))
    row = study.measure().set_index("file").loc[wrong]
    assert (row["accepted"], row["accepted_by_rules"]) == (True, False)
    assert study.flow()["jumps"]["accepted_against_rules"].sum() == 1


def test_measures_become_columns(folder):
    (folder / "measures.csv").write_text(
        "athlete;session;measure;value;unit\n"
        "A01;base1;Squat 1RM;105,5;kg\nA02;base1;squat_1rm;90;kg\nA01;base2;rating;7;points\n"
    )
    study = Study.open(folder)
    table = study.sessions_table().set_index(["athlete", "session"])
    first = table.loc[("A01", "base1")]
    assert first["squat_1rm_kg"] == 105.5
    assert first["relative_strength"] == pytest.approx(105.5 / first["body_mass_kg"])
    only_rated = table.loc[("A01", "base2")]
    assert (only_rated["n_jumps"], only_rated["rating_points"]) == (0, 7)
    assert (only_rated["group"], only_rated["role"]) == ("jump", "baseline")
    assert np.isnan(table.loc[("A01", "post"), "squat_1rm_kg"])


def test_flow_counts_everybody_and_everything(folder):
    bad = "sub-A02_ses-post_run-03.csv"
    (folder / "recordings" / bad).write_bytes(b"no numbers\n")
    (folder / "recordings" / "lost.csv").write_bytes(jump_bytes(0))
    text = (folder / "athletes.csv").read_text()
    (folder / "athletes.csv").write_text(text + "A03,jump\nA04,usual\n")
    (folder / "participation.csv").write_text(
        "athlete,session,from,to,status,reason\nA03,base1,,,left,moved away\n"
        "A04,,2026-10-01,,pain,knee\n"
    )
    study = Study.open(folder)
    study = study.decide(Decision("reject", FIRST, reason="swung the arms", who="T1"))
    flow = study.flow()
    sessions = flow["sessions"].set_index("session")
    assert list(sessions["planned"]) == [4, 4, 4]
    assert list(sessions["tested"]) == [2, 0, 2]
    assert list(sessions["missing"]) == [2, 4, 2]
    assert list(sessions["explained"]) == [1, 1, 2]
    gone = flow["missing"].set_index(["athlete", "session"])
    assert list(gone.loc["A03", "status"]) == ["left"] * 3
    assert list(gone.loc["A04", "status"]) == ["", "", "pain"]
    counts = flow["jumps"]
    assert counts["recorded"].sum() == len(study.measure())
    columns = ["accepted", "excluded_by_rules", "excluded_by_person", "not_readable"]
    assert (counts[columns].sum(axis=1) == counts["recorded"]).all()
    reasons = flow["excluded"].set_index("file")
    assert reasons.loc[FIRST, ["by", "reason"]].tolist() == ["person", "swung the arms"]
    assert reasons.loc[bad, "by"] == "file"
    assert flow["reasons"]["n"].sum() == len(reasons)
    assert list(flow["files_not_used"]["file"]) == ["lost.csv"]


def test_curves_start_and_end_with_the_phases(folder):
    study = Study.open(folder)
    curves = study.curves("velocity", phases=("braking", "propulsion"), points=51)
    assert (curves.groupby(["file", "jump"]).size() == 51).all()
    assert curves["file"].nunique() == study.measure()["accepted"].sum()
    one = curves[curves["file"] == FIRST]
    jump = study.jump(FIRST)
    peak = jump.metrics["peak_downward_velocity_m_per_s"]
    assert one["value"].iloc[0] == pytest.approx(-abs(peak), abs=0.01)
    assert one["value"].iloc[-1] == pytest.approx(
        jump.metrics["takeoff_velocity_m_per_s"], abs=0.02
    )
    total = jump.events["takeoff"] - jump.events["peak_downward_velocity"]
    assert one["time_s"].iloc[-1] == pytest.approx(total)
    with pytest.raises(cj.ArgumentError, match="neighbouring"):
        study.curves("force", phases=("unweighting", "propulsion"))
    with pytest.raises(cj.ArgumentError, match="Did you mean 'force'"):
        study.curves("forces")


def test_provenance_names_files_choices_and_no_person(folder):
    (folder / "names.csv").write_text("athlete,name\nA01,Secret Person\n")
    found = Study.open(folder).provenance()
    assert "names.csv" not in found["tables"]
    assert "Secret" not in str(found)
    assert len(found["recordings"]) == 12
    assert found["method_key"] == cj.Method().key
    assert {"athletes.csv", "study.toml"} <= set(found["tables"])


def test_names_are_never_in_results(folder):
    (folder / "names.csv").write_text("athlete,name\nA01,Secret Person\n")
    study = Study.open(folder)
    study.measure()
    from cmjlab.study.export import write_results

    write_results(study)
    for path in (folder / "results").rglob("*"):
        if path.is_file():
            assert b"Secret" not in path.read_bytes()


def test_workers_are_checked(folder):
    for wrong in (0, -1, 1.5, "many", True):
        with pytest.raises(cj.ArgumentError, match="workers"):
            Study.open(folder).measure(workers=wrong)
