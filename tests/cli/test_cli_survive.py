"""cmjlab survive as a person types it, and the section of the report that shows what it found."""

from __future__ import annotations

import shutil

import pandas as pd
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.report.gather import gather
from cmjlab.scrutiny.methods.kept import kept_survival

FEW = [
    word
    for choice in ("weighing=stillest", "rest=onset", "filter=none", "takeoff=larger",
                   "body_weight=window", "onset=fit,newton_20", "summary=mean,best")
    for word in ("--choice", choice)
]  # fmt: skip


def _run(*words):
    return CliRunner().invoke(app, [str(w) for w in words])


def test_survive_tells_writes_and_comes_into_the_report_until_something_changes(tmp_path, undrawn):
    folder = tmp_path / "block"
    shutil.copytree(cj.demo_study(), folder, ignore=shutil.ignore_patterns("results"))
    assert kept_survival(cj.Study.open(folder)) is None
    done = _run("survive", folder, *FEW, "--deals", 19, "--workers", 1)
    assert done.exit_code == 0, done.output
    assert "defensible ways to analyse it" in done.output
    assert "note: Left out" in done.output
    every = pd.read_csv(folder / "results" / "survive_analyses.csv")
    assert set(every["onset"]) == {"fit", "newton_20"}
    assert set(every["summary"]) == {"mean", "best"}
    assert len(list((folder / "results" / "survive").glob("*.png"))) == 4
    study = cj.Study.open(folder)
    data = gather(study)
    (section,) = [s for s in data.sections if s.key == "survival"]
    assert "2 ways to measure a jump" in section.blocks[0].text
    said = section.blocks[1].items
    assert len(said) == 4
    assert all("defensible ways" in text for text in said)
    assert len(data.tables["specifications"]) == len(every)
    file = str(study.files["file"].iloc[-1])
    study.decide(cj.Decision("reject", file, 1, reason="slipped", who="T1"))
    assert kept_survival(cj.Study.open(folder)) is None


def test_a_choice_that_cannot_be_read_is_refused_with_an_example(tmp_path):
    folder = tmp_path / "mini"
    shutil.copytree(cj.demo_study(mini=True), folder)
    done = _run("survive", folder, "--choice", "onset")
    assert done.exit_code == 2
    assert "write it as onset=fit,sd_5" in done.output
