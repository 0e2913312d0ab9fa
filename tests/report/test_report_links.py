"""The section and the command on ratings and court data."""

from __future__ import annotations

import shutil
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from report_kit import text_of
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.report.build.choices import Choices
from cmjlab.report.build.context import Context
from cmjlab.report.build.links import court_measures, study_links
from cmjlab.report.sections.links import links_section
from cmjlab.words.catalog import read_words


@pytest.fixture(scope="module")
def study(kit, tmp_path_factory):
    """The kit with two ratings in every session and a maximum that has its own section."""
    folder = tmp_path_factory.mktemp("links") / "kit"
    shutil.copytree(kit.folder, folder, ignore=shutil.ignore_patterns("results"))
    rng = np.random.default_rng(1)
    table = kit.sessions_table()
    rows = [
        {"athlete": a, "session": s, "measure": m, "value": round(float(v), 2), "unit": u}
        for a, s in zip(table["athlete"], table["session"].astype(str), strict=True)
        for m, v, u in (("coach_rating", rng.normal(6, 1), "points"), ("sprint_20m", rng.normal(3.3, 0.1), "s"),
                        ("squat_1rm", rng.normal(90, 10), "kg"))
    ]  # fmt: skip
    pd.DataFrame(rows).to_csv(folder / "measures.csv", index=False)
    return cj.Study.open(folder)


def _section(study, full=False):
    context = Context(
        study, SimpleNamespace(jumps=study.measure()), read_words(), Choices(full=full)
    )
    return links_section(context), context


def test_strength_is_left_to_its_own_section(study):
    assert court_measures(study) == ["coach_rating_points", "sprint_20m_s"]


def test_the_table_shows_a_readable_number_of_pairs_and_says_where_the_rest_is(study):
    section, context = _section(study)
    links = study_links(study).points["links"]
    pairs = links.drop_duplicates(["measure", "metric"])
    table = next(b for b in section.blocks if b.kind == "table")
    assert len(table.rows) == 8 < len(pairs)
    assert f"{len(pairs) - 8} more pairs stand in links.csv" in table.note
    first = links.iloc[0]
    assert f"{first['estimate']:.2f}".replace("-", "\u2212") in table.rows[0][2]
    assert len(context.tables["links"]) == len(links)
    full, _ = _section(study, full=True)
    assert len(next(b for b in full.blocks if b.kind == "table").rows) == len(pairs)


def test_cautions_stand_beside_it(study):
    text = text_of(_section(study)[0])
    for words in (
        "A correlation is no cause",
        "would by chance alone",
        "chance alone gives a correlation",
    ):
        assert words in text


def test_without_such_measures_there_is_no_section(kit):
    assert _section(kit)[0] is None


def test_the_command_prints_and_writes(study, tmp_path):
    done = CliRunner().invoke(
        app, ["link", str(study.folder), "--metric", "jump_height_m", "--measure", "sprint_20m_s",
              "--results", str(tmp_path / "out")],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "sprint_20m_s" in done.output
    assert "coach_rating" not in done.output
    assert set(pd.read_csv(tmp_path / "out" / "links.csv")["other_metric"]) == {"sprint_20m_s"}


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--measure", "sprint_20m"], "Did you mean 'sprint_20m_s'"),
        (["--metric", "jump_hoight_m"], "Did you mean"),
    ],
)
def test_a_wrong_name_is_told_with_what_there_is(study, arguments, message):
    done = CliRunner().invoke(app, ["link", str(study.folder), *arguments])
    assert done.exit_code != 0
    assert message in done.output


def test_a_study_without_measures_is_told_what_to_write(kit):
    done = CliRunner().invoke(app, ["link", str(kit.folder)])
    assert done.exit_code != 0
    assert "measures.csv" in done.output
