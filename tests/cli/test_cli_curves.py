"""The command curves prints where, writes its table and its figure, and refuses what is not there."""

from __future__ import annotations

import pandas as pd
import pytest
from curves_kit import curve_study
from typer.testing import CliRunner

from cmjlab.cli.app import app


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("cli") / "block"
    curve_study(place, {"quick": 6, "usual": 6}, change=0.3, jumps=1)
    return place


def run(*words):
    return CliRunner().invoke(app, [str(w) for w in words])


def test_sentences_table_and_figure(folder):
    done = run("curves", folder, "--figure")
    assert done.exit_code == 0, done.output
    assert "quick compared with usual (n = 6 and 6): the changes differ by" in done.output
    assert "% of braking" in done.output
    table = pd.read_csv(folder / "results" / "curves_force_per_kg.csv")
    assert {"curve_largest_t", "curve_stretch"} <= set(table["statistic"])
    assert (folder / "results" / "curves_force_per_kg.png").stat().st_size > 10_000
    assert "braking" in (folder / "results" / "curves_force_per_kg.txt").read_text()


def test_another_quantity_has_its_own_file(folder):
    done = run("curves", folder, "--quantity", "velocity", "--after", "base2", "--before", "base1")
    assert done.exit_code == 0, done.output
    assert "Velocity along the jump, base1 to base2" in done.output
    assert (folder / "results" / "curves_velocity.csv").is_file()


def test_what_is_not_there_is_refused_in_words(folder):
    for words, text in (
        (["--quantity", "forces"], "Did you mean 'force'"),
        (["--after", "late"], "there is no session 'late'"),
    ):
        done = run("curves", folder, *words)
        assert done.exit_code == 2
        assert text in done.output
        assert "Traceback" not in done.output
