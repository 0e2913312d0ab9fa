"""What a notebook or console shows: short, escaped, rounded to the uncertainty, text to the left."""

from __future__ import annotations

import html
import os
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

import cmjlab as cj
from cmjlab.screen.card import AT_ONCE, IN_A_FOLD, Card, Grid, as_html, as_text
from cmjlab.screen.rounding import decimals_for, estimate_cell, value_with_error, written
from cmjlab.tables import STATISTICS_TABLE

PAGE = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><title>card</title><meta name="viewport" content="width=device-width">'
    '<body style="margin:8px;font:14px sans-serif">'
)
NASTY = '<img src=x onerror="alert(1)">&<b>x'


@pytest.fixture(scope="module")
def jump() -> cj.Jump:
    return cj.measure(cj.simulate_jump(noise_sd_n=1.0, seed=1).recording)


@pytest.fixture(scope="module")
def things(kit, jump) -> dict[str, object]:
    return {
        "study": kit,
        "recording": jump.recording,
        "jump": jump,
        "method": kit.method,
        "plan": kit.plan,
        "result": kit.reliability(),
        "individuals": kit.individuals(),
    }


def _outside_folds(page: str) -> str:
    return re.sub(r"<details>.*?</details>", "", page, flags=re.DOTALL)


# ---- rounding ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "error", "unit", "text"),
    [
        # JCGM 100:2008, 7.2.2: m = 100.021 47 g with u = 0.35 mg (from memory)
        (100.0214712, 0.000351, "g", "100.02147 ± 0.00035 g"),
        (0.33412, 0.0021, "m", "33.41 ± 0.21 cm"),
        (0.877, 0.0097, "s", "877.0 ± 9.7 ms"),
        (1534.2, 120.0, "N", "1530 ± 120 N"),
        (0.33412, float("nan"), "m", "33.4 cm"),
        (float("nan"), 0.01, "m", "–"),
        (-0.0812, 0.011, "m", "−8.1 ± 1.1 cm"),
    ],
)
def test_a_value_ends_where_its_error_ends(value, error, unit, text):
    assert value_with_error(value, error, unit) == text


def test_the_interval_decides_the_digits_and_nothing_is_a_negative_zero():
    row = {"estimate": 0.02213, "ci_low": 0.00912, "ci_high": 0.03515, "se": 0.006}
    assert estimate_cell(row, "m") == "2.2 (0.9 to 3.5) cm"
    wide = {"estimate": -0.4, "ci_low": -210.0, "ci_high": 190.0}
    assert estimate_cell(wide, "N") == "0 (−210 to 190) N"
    assert estimate_cell({"estimate": 0.95, "ci_low": 0.9, "ci_high": np.inf}, "") == "0.950"
    assert written(-0.04, 1) == "0.0"
    assert decimals_for(float("inf")) is None


# ---- every object ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["study", "recording", "jump", "method", "plan", "result", "individuals"])  # fmt: skip
def test_every_object_is_short_and_stands_to_the_left(things, name):
    page, text = things[name]._repr_html_(), repr(things[name])
    shown = _outside_folds(page)
    assert shown.count("<tr>") <= AT_ONCE + 1
    cells = re.findall(r"<t[hd] [^>]*>", page)
    assert all("text-align:left" in cell for cell in cells)
    assert len(text.splitlines()) <= AT_ONCE + 14
    assert "object at 0x" not in text


def test_all_rows_are_in_the_folded_part(kit):
    result = kit.change_within()
    assert len(result.table) > AT_ONCE
    page = result._repr_html_()
    [fold] = [f for f in re.findall(r"<details>.*?</details>", page, re.DOTALL) if "<tr>" in f]
    assert f"Show all {len(result.table)} rows" in fold
    assert fold.count("<tr>") == len(result.table) + 1


def test_a_fold_says_when_it_does_not_hold_everything():
    rows = tuple((str(i),) for i in range(IN_A_FOLD))
    page = as_html(Card("t", grid=Grid(("n",), rows, IN_A_FOLD + 7)))
    assert f"Show the first {IN_A_FOLD} of {IN_A_FOLD + 7} rows; the others stand in .table" in page
    assert f"… and {IN_A_FOLD + 7 - AT_ONCE} more rows" in as_text(
        Card("t", grid=Grid(("n",), rows, IN_A_FOLD + 7))
    )


def test_the_rows_that_answer_come_first(kit):
    result = kit.change_mixed()
    assert result.leading
    assert result.table["statistic"].iloc[-1] != result.leading
    first = repr(result).split("estimate (interval)")[1].splitlines()[1]
    from cmjlab.catalog import STATISTICS

    assert STATISTICS[result.leading].label in first


def test_a_jump_shows_verdict_heights_with_error_and_flags(jump):
    page = jump._repr_html_()
    height, error = (100 * jump.metrics[f"jump_height{e}_m"] for e in ("", "_se"))
    decimals = decimals_for(error)
    assert f"{height:.{decimals}f} ± {error:.{decimals}f} cm" in page
    assert "Accepted" in page
    assert "<svg" in page


def test_a_jump_that_does_not_count_says_why():
    still = cj.measure(cj.Recording(np.full(3000, 700.0), 1000))
    text = repr(still)
    assert "Not accepted:" in text
    failed = next(c for c in still.checks if c.status == "fail" and c.scope == "jump")
    assert failed.reason in text
    assert "cm" not in text.split("value")[1].splitlines()[1]


def test_settings_are_written_as_one_would_write_them_again(kit):
    method = cj.Method(onset_rule="sd", gravity_m_per_s2=9.81)
    assert eval(repr(method), {"Method": cj.Method}) == method
    assert repr(cj.Method()) == "Method()"
    assert eval(repr(kit.plan), {"Plan": cj.Plan}) == kit.plan
    page = method._repr_html_()
    assert "2 settings differ from the usual" in page
    assert "gravity_m_per_s2 (m/s²)" in page
    assert "Every setting has its usual value" in cj.Method()._repr_html_()


def test_nothing_of_a_file_or_person_reaches_the_page_unescaped(kit):
    force = np.full((10, 1), 700.0)
    rec = cj.Recording(force, 1000, athlete=NASTY, session=NASTY, trial=NASTY)
    table = STATISTICS_TABLE.frame(
        [{"metric": NASTY, "statistic": NASTY, "estimate": 1.0, "group": NASTY, "athlete": NASTY}]
    )
    result = cj.Result(NASTY, table, notes=(cj.Note("text_column", {"columns": [NASTY]}),))
    plan = cj.Plan(control_group=NASTY)
    for thing in (rec, cj.measure(rec), result, plan):
        page = thing._repr_html_()
        assert "<img" not in page
        assert "<b>" not in page
        assert "<img src=x" in html.unescape(page)


def test_a_study_shows_no_name_and_no_place_on_this_machine(kit):
    page = kit._repr_html_()
    assert str(kit.folder) not in page
    names = (kit.folder / "names.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert names
    assert [n for n in names if html.escape(n.split(",")[1]) in page] == []


def test_a_table_of_another_form_is_shown_in_its_own_columns():
    from cmjlab.truth.budget import Design

    few = Design(profiles=("typical",), noise_sd_n=(1.0,), repeats=2)
    budget = cj.known_truth(design=few, metrics=["jump_height_m"])
    text = repr(budget)
    assert text.startswith("Known truth: 1 estimate\n")
    assert f"{budget.table['max_abs'].iloc[0]:.3g}" in text
    assert "max abs" in budget._repr_html_()


def test_an_empty_result_and_an_empty_study_are_shown_too(tmp_path):
    from cmjlab.study.folder.create import create_study

    nothing = cj.Result("nothing", STATISTICS_TABLE.frame([]))
    assert repr(nothing).startswith("Nothing: 0 estimates")
    create_study(tmp_path / "new")
    assert "0 athletes, 0 recordings" in repr(cj.Study.open(tmp_path / "new"))


def test_lost_samples_are_said_and_drawn_as_nothing():
    force = np.full(100, 700.0)
    force[10:13] = np.nan
    rec = cj.Recording(force, 1000)
    assert "3 samples were lost" in repr(rec)
    assert "nan" not in rec._repr_html_()
    assert "No sample has a force" in repr(cj.Recording(np.full(5, np.nan), 1000))
    assert "Recording" in repr(cj.Recording(np.zeros(0), 1000))


def _serious(page) -> list[str]:
    """Return what axe-core finds serious, where it lies is named in the environment; else nothing."""
    place = os.environ.get("CMJLAB_AXE", "")
    if not place:
        return []
    page.evaluate(Path(place).read_text(encoding="utf-8"))
    found = page.evaluate("axe.run()")["violations"]
    return [v["id"] for v in found if v["impact"] in ("serious", "critical")]


@pytest.mark.browser
def test_a_jump_fits_on_half_a_screen_and_nothing_is_wider_than_a_phone(things, tmp_path):
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("no Chromium on this machine; the card itself is tested without it")
    playwright = pytest.importorskip("playwright.sync_api")
    flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=flags)
        page = browser.new_page()
        for name, thing in things.items():
            path = tmp_path / f"{name}.html"
            path.write_text(PAGE + thing._repr_html_(), encoding="utf-8")
            page.set_viewport_size({"width": 360, "height": 740})
            page.goto(path.as_uri())
            page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            assert _serious(page) == [], name
            assert page.evaluate("document.documentElement.scrollWidth") <= 360, name
            page.set_viewport_size({"width": 1280, "height": 900})
            page.evaluate("document.querySelectorAll('details').forEach(d => d.open = false)")
            if name == "jump":
                assert page.evaluate("document.body.offsetHeight") <= 450
        browser.close()
