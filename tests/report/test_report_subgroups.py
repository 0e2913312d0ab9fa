"""The section on subgroups: rules, strength and height, certainty; nobody said twice."""

from __future__ import annotations

import shutil
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from report_kit import kit_study, text_of

import cmjlab as cj
from cmjlab.report.build.choices import Choices
from cmjlab.report.build.context import Context
from cmjlab.report.build.subgroups import study_subgroups
from cmjlab.report.sections.subgroups import subgroups_section
from cmjlab.words.catalog import read_words

RULES = (
    "subgroup,rule,athlete,reason\nlow,relative_strength < median,,strength first\nusual,else,,\n"
)


def _context(study, *, full=False):
    return Context(study, SimpleNamespace(jumps=study.measure()), read_words(), Choices(full=full))


def _with_strength(folder, rules=RULES):
    """A study of twelve with a 1RM in both baselines; strength goes with height by design."""
    study = kit_study(folder, ("base1", "base2"), 12)
    rng = np.random.default_rng(3)
    height = study.sessions_table().query("session == 'base1'").set_index("athlete")
    rows = [
        {
            "athlete": a, "session": s, "measure": "squat_1rm", "unit": "kg",
            "value": round(float(height.loc[a, "body_mass_kg"])
                           * (1.0 + 4 * (float(height.loc[a, "jump_height_m"]) - 0.3))
                           + rng.normal(0, 2), 1),
        }
        for a in height.index for s in ("base1", "base2")
    ]  # fmt: skip
    pd.DataFrame(rows).to_csv(study.folder / "measures.csv", index=False)
    if rules:
        (study.folder / "subgroups.csv").write_text(rules, encoding="utf-8")
    return cj.Study.open(study.folder)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return _with_strength(tmp_path_factory.mktemp("split"))


def test_it_says_rules_cut_and_certainty_from_the_result(study):
    context = _context(study, full=True)
    section = subgroups_section(context)
    text = text_of(section)
    result = study_subgroups(study).results["placement"]
    cut = result.points["cuts"]["cut"].iloc[0]
    assert "relative strength below median" in text
    assert f"relative strength {cut:.4g}" in text
    people = result.points["placements"]
    table = next(b for b in section.blocks if b.kind == "table")
    for row in table.rows:
        mine = people[people["by_rules"] == row[0]]
        assert row[-2] == str(len(mine))
        assert row[-1] == f"{(mine['call'] == 'clear').sum()} of {len(mine)}"
    assert context.tables["subgroups"] is not None
    assert "strength_and_height" in context.figures


def test_who_is_too_close_is_said_once(study):
    section = subgroups_section(_context(study))
    people = study_subgroups(study).results["placement"].points["placements"]
    close = list(people.loc[people["call"] == "close", "athlete"])
    assert close  # the cut is the median: somebody stands beside it
    items = [i for b in section.blocks if b.kind == "items" for i in b.items]
    assert [sum(a in item for item in items) for a in close] == [1] * len(close)


def test_strength_and_height_come_with_interval_and_caution(study):
    result = study_subgroups(study).results["strength"]
    row = result.rows("correlation").iloc[0]
    text = text_of(subgroups_section(_context(study)))
    assert (
        f"{row['estimate']:.2f} (95 % interval {row['ci_low']:.2f} to {row['ci_high']:.2f}" in text
    )
    assert "does not say that a stronger squat makes a higher jump" in text


def test_without_rules_the_strength_question_is_still_answered(tmp_path):
    section = subgroups_section(_context(_with_strength(tmp_path, rules="")))
    assert [b.kind for b in section.blocks] == ["heading", "items", "figure", "paragraph"]


def test_without_rules_and_strength_there_is_no_section(kit):
    assert subgroups_section(_context(kit)) is None


def test_rules_that_cannot_be_used_are_named(tmp_path):
    bad = RULES.replace("relative_strength", "realtive_strength")
    text = text_of(subgroups_section(_context(_with_strength(tmp_path, rules=bad))))
    assert "cannot be shown" in text
    assert "realtive" in text


def test_athletes_whom_the_roster_has_elsewhere_are_named(study):
    text = text_of(subgroups_section(_context(study)))
    assert "athletes.csv has another group for A00 (jump there," in text


def test_a_maximum_tested_once_takes_the_error_of_the_plan(tmp_path):
    study = _with_strength(tmp_path)
    measures = pd.read_csv(study.folder / "measures.csv")
    measures[measures["session"] == "base1"].to_csv(study.folder / "measures.csv", index=False)
    settings = study.folder / "study.toml"
    before = settings.read_text(encoding="utf-8")
    text = text_of(subgroups_section(_context(cj.Study.open(study.folder))))
    assert "cannot be estimated" in text
    assert "can state a typical error" in text
    stated = (
        '\n[plan.typical_error]\nsquat_1rm_kg = { value = 3.0, source = "own tests, spring" }\n'
    )
    settings.write_text(before + stated, encoding="utf-8")
    again = cj.Study.open(study.folder)
    found = study_subgroups(again).results["placement"]
    mass = again.sessions_table()["body_mass_kg"].median()
    error = found.settings["typical_errors"]["relative_strength"]["error"]
    assert error == pytest.approx(3.0 / mass)
    text = text_of(subgroups_section(_context(again)))
    assert "own tests, spring" in text
    assert "cannot be estimated" not in text
    assert again.plan.key != study.plan.key  # a frozen plan tells the difference


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("squat_1rm_kg = -1", "typical_error.squat_1rm_kg: a number above 0 is needed, found -1"),
        ("squat_1rm_kg = { source = 'x' }", "'value' is missing"),
        ("squat_1rm_kg = { value = 2, from = 'x' }", "found 'from'"),
    ],
)
def test_a_wrong_typical_error_is_named(kit, tmp_path, line, message):
    shutil.copytree(kit.folder, tmp_path / "kit", ignore=shutil.ignore_patterns("results"))
    with (tmp_path / "kit" / "study.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n[plan.typical_error]\n{line}\n")
    found = cj.check_study(tmp_path / "kit")
    assert found["found"].str.contains(message, regex=False).any()


def test_a_typical_error_of_an_unknown_measure_is_named(kit, tmp_path):
    shutil.copytree(kit.folder, tmp_path / "kit", ignore=shutil.ignore_patterns("results"))
    with (tmp_path / "kit" / "study.toml").open("a", encoding="utf-8") as file:
        file.write("\n[plan.typical_error]\njump_hight_m = 0.01\n")
    found = cj.check_study(tmp_path / "kit")
    row = found[found["code"] == "unknown_measure"].iloc[0]
    assert row["found"] == "jump_hight_m"
    assert "jump_height_m" in row["remedy"]


def test_a_divided_subgroup_is_told_in_words(tmp_path):
    rules = (
        "subgroup,rule,athlete,reason\nlow,relative_strength < median,,strength first\n"
        "strong,else,,\ndeep,countermovement_depth_m > median within strong,,\n"
    )
    study = _with_strength(tmp_path, rules)
    text = text_of(subgroups_section(_context(study)))
    assert "of strong: countermovement depth above the median of strong" in text
    cut = study_subgroups(study).results["placement"].points["cuts"].iloc[1]
    assert f"countermovement depth {100 * cut['cut']:.1f} cm" in text
