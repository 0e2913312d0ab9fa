"""New study folders, and the results written for other programs."""

from __future__ import annotations

import pandas as pd
import pytest
from study_kit import make, recording

import cmjlab as cj
from cmjlab.study.export import write_results
from cmjlab.study.folder.create import create_study, entity_name, sessions_from_text, template_toml
from cmjlab.study.study import Study
from cmjlab.tables import USER_TABLES


def test_new_folder_is_whole_and_without_problems(tmp_path):
    folder = create_study(tmp_path / "block")
    table = cj.check_study(folder)
    assert list(table["code"]) == ["no_recordings"]
    study = Study.open(folder)
    assert len(study.athletes) == 0
    assert study.plan == cj.Plan(
        before="base2", after="post", change_that_matters={"jump_height_m": 0.015}
    )
    for stem, declared in USER_TABLES.items():
        if stem == "recordings":
            continue
        text = (folder / f"{stem}.csv").read_text(encoding="utf-8-sig").splitlines()
        assert text[0] == ",".join(declared.names)
        assert text[1].startswith("# ")
        assert len(text) == 2


def test_example_lines_are_valid_once_the_mark_is_gone(tmp_path):
    folder = create_study(tmp_path / "block")
    for path in folder.glob("*.csv"):
        path.write_bytes(path.read_bytes().replace(b"# ", b""))
    table = cj.check_study(folder)
    assert set(table["severity"]) <= {"warn", "note"}


def test_title_and_sessions_go_into_the_commented_form(tmp_path):
    sessions = sessions_from_text("one:baseline:2026-01-05, two:post")
    folder = create_study(tmp_path / "b", settings=template_toml('A "quoted" title', sessions))
    study = Study.open(folder)
    assert study.title == 'A "quoted" title'
    assert study.sessions[["session", "role", "date"]].fillna("").values.tolist() == [
        ["one", "baseline", "2026-01-05"],
        ["two", "post", ""],
    ]
    assert (study.before, study.after) == ("one", "two")
    assert (folder / "study.toml").read_text().count("#") > 10


@pytest.mark.parametrize("text", ["base1", "base1:start", ":post", "a:post:1.2.2026", "a:post:x:y"])
def test_sessions_as_text_are_checked(text):
    with pytest.raises(cj.ArgumentError, match="sessions"):
        sessions_from_text(text)


def test_given_settings_recordings_and_tables(tmp_path):
    recs = [recording(i).replace(athlete="A07", session="pre", trial=str(i + 1)) for i in range(2)]
    folder = create_study(
        tmp_path / "b",
        pd.DataFrame({"athlete": ["A07"], "group": ["x"]}),
        recs,
        {
            "study": {"title": "T"},
            "sessions": [{"session": "pre", "role": "baseline"}],
            "plan": cj.Plan(jumps_wanted=2),
            "method": cj.Method(onset_sd=4.0),
            "layout": [cj.Layout(match="*.txt", rate_hz=500.0)],
        },
        tables={"names": pd.DataFrame({"athlete": ["A07"], "name": ["=1+1"]})},
    )
    study = Study.open(folder)
    assert (study.title, study.plan.jumps_wanted, study.method.onset_sd) == ("T", 2, 4.0)
    assert study.layouts[0].rate_hz == 500.0
    table = study.measure()
    assert list(table["file"]) == ["sub-A07_ses-pre_run-01.csv", "sub-A07_ses-pre_run-02.csv"]
    direct = cj.measure(recs[0], study.method).metrics["jump_height_m"]
    assert table["jump_height_m"][0] == pytest.approx(direct, abs=0.002)


def test_what_is_refused(tmp_path):
    folder = create_study(tmp_path / "b")
    with pytest.raises(cj.StudyError, match="stands there already"):
        create_study(folder)
    with pytest.raises(cj.ArgumentError, match="Did you mean 'sessions'"):
        create_study(tmp_path / "c", settings={"session": []})
    with pytest.raises(cj.ArgumentError, match="Did you mean 'athletes'"):
        create_study(tmp_path / "c", tables={"athlete": pd.DataFrame()})
    assert not (tmp_path / "c").exists()
    for wrong in ("../x", "A 1", "", None):
        with pytest.raises(cj.ArgumentError, match="file name"):
            entity_name(recording(0).replace(athlete=wrong, session="a"))


def _without_errors(report) -> None:
    assert report.valid, report.flatten(["rowNumber", "fieldName", "type", "message"])[:5]


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_results_validate_by_the_open_standard(tmp_path):
    """Another program (frictionless) validates every table that is written."""
    from frictionless import Package

    folder = make(tmp_path / "study", sessions="base1,post")
    (folder / "recordings" / "sub-A01_ses-post_run-09.csv").write_bytes(b"no numbers\n")
    text = "athlete,session,measure,value,unit\nA01,base1,squat_1rm,100,kg\n"
    (folder / "measures.csv").write_text(text)
    study = Study.open(folder)
    written = write_results(study)
    assert {p.name for p in written} == {
        "jumps.csv", "sessions.csv", "checks.csv", "problems.csv", "jumps.parquet",
        "datapackage.json", "provenance.json",
    }  # fmt: skip
    _without_errors(Package(str(study.results / "datapackage.json")).validate())
    kept = pd.read_parquet(study.results / "jumps.parquet")
    pd.testing.assert_series_equal(kept["jump_height_m"], study.measure()["jump_height_m"])
    text = (study.results / "jumps.csv").read_text(encoding="utf-8-sig")
    (study.results / "jumps.csv").write_text(text.replace("base1", ""), encoding="utf-8-sig")
    assert not Package(str(study.results / "datapackage.json")).validate().valid


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_tables_of_the_user_validate_by_the_open_standard():
    from frictionless import Resource, Schema, system

    from cmjlab.study.folder.create import EXAMPLES

    for stem, table in USER_TABLES.items():
        schema = Schema.from_descriptor(table.frictionless())
        row = EXAMPLES[stem]
        with system.use_context(trusted=True):
            good = Resource(data=[list(row), list(row.values())], schema=schema)
            _without_errors(good.validate())
            broken = {**row, next(c.name for c in USER_TABLES[stem].columns if c.required): ""}
            bad = Resource(data=[list(row), list(broken.values())], schema=schema)
            assert not bad.validate().valid
