"""An audit finds what was changed after the report, and finds nothing where nothing was."""

from __future__ import annotations

import json
import shutil

import pytest
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.audit.findings import Finding
from cmjlab.audit.origins import origins, pages_compared
from cmjlab.cli.app import app
from cmjlab.keys import file_sha256
from cmjlab.study.frozen_plan import freeze


@pytest.fixture(scope="module")
def reported(tmp_path_factory):
    """Return a study folder with a frozen plan and a report."""
    folder = tmp_path_factory.mktemp("audit") / "s"
    shutil.copytree(cj.demo_study(mini=True), folder, ignore=shutil.ignore_patterns("results"))
    freeze(cj.Study.open(folder))
    cj.write_report(cj.Study.open(folder), folder / "results" / "r.html", draft=True)
    return folder


@pytest.fixture
def study(reported, tmp_path):
    return shutil.copytree(reported, tmp_path / "s")


@pytest.fixture
def without_tables(monkeypatch):
    """Leave out what takes long: computing the tables again has its own tests."""
    monkeypatch.setattr("cmjlab.audit.audit.computed_again", lambda *_: [])


def test_nothing_is_found_where_nothing_was_changed(study):
    found = cj.audit_study(study, seed=1)
    keys = {f.key for f in found.findings if f.verdict == "follows"}
    assert keys == {
        "page_same", "recordings_same", "tables_same", "choices_same", "jumps_same",
        "tables_computed", "plan",
    }  # fmt: skip
    assert found.sentences("unchecked") == []
    assert found.follows
    assert "tables of the report" in found.page()
    assert "Nothing was found that does not follow" in found.page()


def test_what_was_changed_after_the_report_is_named_with_its_place(study):
    path = study / "results" / "r_files" / "sessions.csv"
    lines = path.read_text().splitlines()
    column = lines[0].split(",").index("jump_height_m")
    cells = lines[2].split(",")
    cells[column] = "0.4321"
    path.write_text("\n".join([*lines[:2], ",".join(cells), *lines[3:]]) + "\n")
    jumps = study / "results" / "r_files" / "jumps.csv"
    jumps.write_text("\n".join(jumps.read_text().splitlines()[:-1]) + "\n")
    (study / "results" / "r_files" / "checks.csv").write_bytes(b"\xff\xfe\x00damaged")
    table = study / "results" / "r_files" / "reliability.csv"
    table.write_text("metric,typical_error\njump_height_m,0.01\n")
    found = cj.audit_study(study, seed=1)
    told = " ".join(found.sentences("differs"))
    assert "checks.csv has other text" in told
    assert "reliability.csv has other columns" in told
    assert "sessions.csv, row 3, column jump_height_m: 0.4321 was written, 0." in told
    assert "jumps.csv has other rows" in told
    assert told.count("was written") == 1


@pytest.mark.usefixtures("without_tables")
def test_recordings_and_choices_that_changed_are_named(study):
    files = sorted((study / "recordings").rglob("*.*"))
    files[0].write_bytes(files[-1].read_bytes())
    files[1].rename(files[1].with_name(files[1].name.replace("run-02", "run-09")))
    toml = study / "study.toml"
    toml.write_text(toml.read_text().replace("level = 0.95", "level = 0.90"))
    told = " ".join(cj.audit_study(study, seed=1).sentences("differs"))
    assert f"1 recording(s) changed since the report: {files[0].name}" in told
    assert f"not there any more: {files[1].name}" in told
    assert "1 recording(s) came after the report" in told
    assert "study.toml" in told
    assert "Other than in the report: plan" in told


@pytest.mark.usefixtures("without_tables")
def test_kept_results_that_were_forged_with_their_checksum_are_measured_again(study, monkeypatch):
    opened = cj.Study.open(study)
    forged = opened.measure().copy()
    forged["jump_height_m"] = forged["jump_height_m"] + 0.001
    monkeypatch.setattr(cj.Study, "measure", lambda *_a, **_k: forged)
    keys = {f.key for f in cj.audit_study(opened, share=1.0, seed=1).findings}
    assert "jumps_differ" in keys


def test_a_damaged_list_of_origins_is_no_list(study):
    opened = cj.Study.open(study)
    for text in ("{", "[]", '{"recordings": 3}', "[" * 100_000):
        (study / "results" / "r_files" / "provenance.json").write_text(text)
        found = origins(opened, study / "results" / "r_files", opened.measure())
        damaged = Finding("differs", "provenance_damaged", {"file": "provenance.json"})
        assert damaged in found


def test_tables_of_other_commands_are_no_tables_of_the_report(study):
    for command in (["measure"], ["squad"], ["check"]):
        ran = CliRunner().invoke(app, [*command, str(study)])
        assert ran.exit_code in (0, 1), ran.output
    assert (study / "results" / "jumps.csv").is_file()
    found = cj.audit_study(study, seed=1)
    assert found.follows
    assert found.sentences("unchecked") == []


@pytest.mark.usefixtures("without_tables")
def test_an_edited_page_and_a_removed_table_are_named(study):
    page = study / "results" / "r.html"
    page.write_text(page.read_text().replace("cm", "mm", 1))
    (study / "results" / "r_files" / "sessions.csv").unlink()
    told = " ".join(cj.audit_study(study, seed=1).sentences("differs"))
    assert "The page r.html is not as it was written" in told
    assert (
        "1 table(s) that were written with the report are not there any more: sessions.csv" in told
    )
    page.unlink()
    assert "r.html is not beside" in " ".join(cj.audit_study(study).sentences("unchecked"))


def test_every_page_that_was_written_together_is_compared(tmp_path):
    (tmp_path / "r_files").mkdir()
    pages = {}
    for name in ("r.html", "r.pdf"):
        (tmp_path / name).write_text(name)
        pages[name] = file_sha256(tmp_path / name)
    (tmp_path / "r.html").write_text("edited")
    keys = [f.key for f in pages_compared(tmp_path / "r_files", pages)]
    assert keys == ["page_changed", "page_same"]


@pytest.mark.usefixtures("without_tables")
def test_the_report_that_is_looked_at_is_the_newest_or_the_named_one(study, tmp_path):
    for name in ("r.html", "other.html"):
        page = study / "results" / name
        page.write_text("<p>")
        files = page.with_name(f"{page.stem}_files")
        if name == "other.html":
            shutil.copytree(study / "results" / "r_files", files)
            told = json.loads((files / "provenance.json").read_text())
            told["pages"] = {name: told["pages"]["r.html"]}
            (files / "provenance.json").write_text(json.dumps(told))
    assert "The page other.html" in cj.audit_study(study).page()
    assert "The page r.html" in cj.audit_study(study, report=study / "results" / "r.html").page()
    ran = CliRunner().invoke(app, ["audit", str(study), "--report", str(tmp_path / "none.html")])
    assert ran.exit_code == 2
    assert "no folder none_files beside it" in " ".join(ran.output.split())


def test_a_table_that_the_report_has_no_more_goes_with_the_next_one(reported, tmp_path):
    folder = shutil.copytree(reported, tmp_path / "s") / "results" / "r_files"
    told = json.loads((folder / "provenance.json").read_text())
    told["written"] += ["former", "../r_files/jumps", "../../athletes"]
    (folder / "provenance.json").write_text(json.dumps(told))
    (folder / "former.csv").write_text("a\n1\n")
    (folder / "mine.csv").write_text("a\n1\n")  # of a person: stays
    cj.write_report(cj.Study.open(tmp_path / "s"), folder.parent / "r.html", draft=True)
    assert not (folder / "former.csv").exists()
    assert (folder / "mine.csv").exists()
    assert (folder / "jumps.csv").exists()
    assert list((tmp_path / "s").glob("athletes.*"))


def test_without_a_report_that_is_told_and_nothing_is_called_wrong(study):
    shutil.rmtree(study / "results")
    (study / "analysis_plan.json").unlink()
    found = cj.audit_study(study, seed=1)
    assert found.follows
    assert "Not everything could be checked" in found.page()
    assert {f.key for f in found.findings if f.verdict == "unchecked"} == {
        "no_provenance", "no_tables", "no_plan",
    }  # fmt: skip


@pytest.mark.usefixtures("without_tables")
def test_the_command_ends_with_one_when_something_does_not_follow(study):
    ran = CliRunner().invoke(app, ["audit", str(study), "--seed", "4"])
    assert ran.exit_code == 0, ran.output
    assert (study / "results" / "audit.txt").read_text() == ran.output
    data = json.loads((study / "results" / "r_files" / "provenance.json").read_text())
    data["engine"] = "0"
    (study / "results" / "r_files" / "provenance.json").write_text(json.dumps(data))
    ran = CliRunner().invoke(app, ["audit", str(study)])
    assert ran.exit_code == 1
    assert "Other than in the report: engine" in ran.output


def test_odd_arguments_are_refused(study):
    for wrong in ({"share": 2}, {"share": "half"}, {"seed": -1}):
        with pytest.raises(cj.ArgumentError):
            cj.audit_study(study, **wrong)
