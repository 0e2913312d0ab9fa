"""Copies of the notebooks, exercises and solutions, pages without network, read-only folders."""

from __future__ import annotations

import ast
import json
import math
import re
from pathlib import Path

import pytest

import cmjlab as cj
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.report.notebooks import study as notebooks_study
from cmjlab.report.notebooks.copy import copy_notebooks
from cmjlab.report.notebooks.exercises import EXERCISES, check_exercise
from cmjlab.report.notebooks.files import DEMO_TAG, SOLUTION_TAG, choose_notebooks
from cmjlab.report.notebooks.index import FOR_WORK, page_name, write_index
from cmjlab.report.notebooks.run import run_notebooks
from cmjlab.report.notebooks.solutions import with_solutions
from cmjlab.report.notebooks.study import open_study, squad_noise, squad_table


def cells(path: Path) -> list[dict]:
    return json.loads(path.read_text(encoding="utf-8"))["cells"]


def sources(path: Path) -> str:
    return "\n".join("".join(c["source"]) for c in cells(path))


def tagged(path: Path, tag: str) -> list[dict]:
    return [c for c in cells(path) if tag in c["metadata"].get("tags", [])]


# ---- copies --------------------------------------------------------------------------------


def test_students_copy_is_stamped_empty_and_without_answers(tmp_path):
    written = copy_notebooks(tmp_path / "mine")
    assert [p.name for p in written] == [p.name for p in choose_notebooks()]
    for path in written:
        assert f"Copy of cmjlab {cj.__version__}" in sources(path)
        assert "student's set" in sources(path)
        assert not tagged(path, SOLUTION_TAG)
        assert not tagged(path, DEMO_TAG)
        code = [c for c in cells(path) if c["cell_type"] == "code"]
        assert all(c["outputs"] == [] and c["execution_count"] is None for c in code)
    assert (tmp_path / "mine" / "LICENSE").is_file()


def test_a_copy_is_never_written_over(tmp_path):
    copy_notebooks(tmp_path, only=["02"])
    with pytest.raises(StudyError, match="stands there already"):
        copy_notebooks(tmp_path)
    assert len(list(tmp_path.glob("*.ipynb"))) == 1


def test_a_copy_knows_its_study(tmp_path):
    from report_kit import kit_study

    study = kit_study(tmp_path / "a study é")  # its folder is "kit" in there
    (path,) = copy_notebooks(tmp_path / "mine", study, only=["2"])
    source = "".join(tagged(path, "parameters")[0]["source"])
    assert 'study = "../a study é/kit"' in source
    assert str(tmp_path) not in path.read_text(encoding="utf-8")
    ast.parse(source)


def test_teachers_copy_holds_a_solution_below_each_exercise(tmp_path):
    for path in copy_notebooks(tmp_path, answers=True):
        exercises = [c for c in cells(path) if "check_exercise(" in "".join(c["source"])]
        assert len(tagged(path, SOLUTION_TAG)) == len(exercises)
        assert "teacher's set" in sources(path)


def test_the_solution_asks_for_what_the_exercise_asks():
    import nbformat

    cell = nbformat.v4.new_code_cell('x = 1\ncheck_exercise("02.1", answer, trust, metric)')
    added = with_solutions([cell])[1]
    assert "solution('02.1', trust, metric)" in added.source


def test_numbers_of_notebooks():
    assert [p.name[:2] for p in choose_notebooks(["6", "02"])] == ["02", "06"]
    with pytest.raises(ArgumentError, match="there is no notebook '99'"):
        choose_notebooks(["99"])


# ---- exercises -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo():
    study = cj.Study.open(cj.demo_study())
    metric = study.plan.primary_metric
    noise, _ = squad_noise(study, metric)
    change = {
        "assignment": study.plan.assignment,
        "control": study.plan.control_group,
        "before": "base2",
        "after": "post",
    }
    sessions = study.sessions_table()
    return {
        "metric": metric,
        "study": study,
        "noise": noise,
        "between": cj.change_between(sessions, [metric], **change),
        "jump": study.jump(study.files["file"].iloc[4]),
    }


def test_a_heavier_weighing_lowers_the_height_as_if_integrated_again(demo):
    """Exercise 10 in closed form against the whole chain with a body weight that is 0.5 % larger."""
    import numpy as np

    jump = demo["jump"]
    g, motion = jump.method.gravity_m_per_s2, jump.motion
    time, acceleration = motion.time_s, motion.acceleration_m_per_s2
    inside = (time >= jump.events["onset"]) & (time <= jump.events["takeoff"])
    time, force_over_weight = time[inside], acceleration[inside] / g + 1
    right, wrong = (
        float(np.trapezoid(g * (force_over_weight / share - 1), time)) for share in (1.0, 1.005)
    )
    expected = 1000 * (wrong**2 - right**2) / (2 * g)
    assert EXERCISES["10.1"].value(jump, "") == pytest.approx(expected, abs=0.1)


def test_a_study_without_an_answer_says_so():
    assert math.isnan(EXERCISES["04.1"].value(None, "jump_height_m"))
    assert check_exercise("04.1", 1.0, None, "jump_height_m").startswith("This study has no answer")


def test_no_notebook_shows_its_answer():
    for path in choose_notebooks():
        for cell in cells(path):
            source = "".join(cell["source"])
            assert ("check_exercise(" in source) == ("answer = None" in source)


# ---- what a squad can show -----------------------------------------------------------------


def test_what_a_squad_can_show(demo):
    study = demo["study"]
    table = squad_table(study, demo["noise"], demo["metric"])
    assert list(table["what"])[:2] == ["one athlete", "mean of all"]
    assert "strength against usual" in set(table["what"])
    one = table.set_index("what").loc["one athlete"]
    assert one["known to, 1 baseline"] == "±4.0 cm"
    assert one["1.5 cm seen, 1 baseline"] == "seldom"


def test_words_for_how_often_a_change_is_seen_follow_power():
    from scipy.stats import norm

    for ratio, word in ((0.70, "mostly"), (0.99, "about half the time"), (1.05, "seldom")):
        assert notebooks_study._seen(ratio) == word
    assert norm.cdf(1.96 / 0.70 - 1.96) == pytest.approx(0.80, abs=0.005)


def test_a_usual_noise_stands_in_before_two_baselines(tmp_path):
    from report_kit import kit_study

    study = kit_study(tmp_path, sessions=("base1",))
    noise, words = squad_noise(study, "jump_height_m")
    assert "usual typical error of 1.2 cm" in words
    assert len(squad_table(study, noise, "jump_height_m"))


# ---- pages and places ----------------------------------------------------------------------


def test_pages_need_no_network_and_hold_what_the_notebooks_hold(tmp_path):
    for path in choose_notebooks():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    index = write_index(tmp_path, choose_notebooks(), "A <b>study</b> & more", {"02": ""})
    text = index.read_text(encoding="utf-8")
    assert "A &lt;b&gt;study&lt;/b&gt; &amp; more" in text
    assert text.count("(for work)") == len(FOR_WORK)
    for path in choose_notebooks():
        assert f'href="{page_name(path.name)}"' in text
        page = (tmp_path / page_name(path.name)).read_text(encoding="utf-8")
        assert not re.search(r"<script|<link|(?:src|href)=\"(?:https?:)?//", page)
        assert not re.findall(r"<img(?![^>]*alt=\"[^\"]{20,}\")", page)
        assert "<h2>" in page


def test_markup_in_a_notebook_does_nothing_on_its_page(tmp_path):
    import nbformat

    notebook = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_markdown_cell("# T <script>alert(1)</script>")]
    )
    nbformat.write(notebook, tmp_path / "01_x.ipynb")
    write_index(tmp_path, [Path("01_x.ipynb")], "T", {"01_x.ipynb": "a <b> reason"})
    assert "<script" not in (tmp_path / "01_x.html").read_text(encoding="utf-8")
    assert "a &lt;b&gt; reason" in (tmp_path / "index.html").read_text(encoding="utf-8")


def test_formulas_and_prose_are_drawn_on_a_page_without_a_script(tmp_path):
    import nbformat

    text = "# T\n\nWith $s/\\sqrt{2}$ and\n\n$$\na < \\frac{1}{n}\n$$\n\nand $\\frac{$."
    said = nbformat.v4.new_output("execute_result", {"text/markdown": "- fast\\_braking **x**"})
    notebook = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_markdown_cell(text), nbformat.v4.new_code_cell("x", outputs=[said])]
    )
    nbformat.write(notebook, tmp_path / "01_x.ipynb")
    write_index(tmp_path, [Path("01_x.ipynb")], "T", {})
    page = (tmp_path / "01_x.html").read_text(encoding="utf-8")
    assert page.count("<math") == 2
    assert "<msqrt>" in page
    assert "<mo>&lt;</mo>" in page or "&#x0003C;" in page
    assert "<code>\\frac{</code>" in page
    assert "<li>fast_braking <strong>x</strong></li>" in page


def test_a_folder_that_can_only_be_read_has_results_elsewhere(tmp_path, monkeypatch):
    from report_kit import kit_study

    study = kit_study(tmp_path)
    monkeypatch.setattr("cmjlab.study.store.cached.can_write", lambda results: False)
    monkeypatch.setattr(notebooks_study.tempfile, "gettempdir", lambda: str(tmp_path / "t"))
    opened = open_study(study.folder)
    assert tmp_path / "t" in opened.results.parents
    assert open_study(study.folder, tmp_path / "r").results == tmp_path / "r"


def test_results_that_cannot_be_made_are_told(tmp_path):
    from report_kit import kit_study

    study = kit_study(tmp_path)
    (tmp_path / "file").write_text("x")
    blocked = cj.Study.open(study.folder, tmp_path / "file" / "results")
    with pytest.raises(StudyError, match="--results FOLDER"):
        run_notebooks(blocked, only=["00"])


def test_a_teachers_run_shows_the_solution(tmp_path):
    from report_kit import kit_study

    study = kit_study(tmp_path)
    index = run_notebooks(study, only=["01"], answers=True)
    page = index.with_name("01_recordings.html").read_text(encoding="utf-8")
    assert "Solution: " in page
    assert "accepted within 0.2" in page


def test_tables_have_no_row_numbers_and_escape():
    import pandas as pd

    shown = notebooks_study.tidy(pd.DataFrame({"a": ["<b>x</b>"], "n": [3]}))
    assert repr(shown).split() == ["a", "n", "<b>x</b>", "3"]
    assert "&lt;b&gt;x" in shown._repr_html_()
    assert "<th></th>" not in shown._repr_html_()
    assert repr(notebooks_study.tidy(pd.DataFrame({"a": []}))) == "no rows"


def test_a_result_reads_in_shown_units(demo):
    table = demo["noise"].readable()
    row = table[table["statistic"] == "Typical error"].iloc[0]
    assert (row["measure"], row["estimate"], row["unit"]) == (
        "Jump height (take-off velocity)", "1.40", "cm",
    )  # fmt: skip
    assert row["interval"] == "1.11 to 1.89"
    page = demo["between"]._repr_html_()
    assert "more rows in <code>.table</code>" in page or len(demo["between"].table) <= 40
    assert "jump_height_m" not in page.partition("<table")[2].partition("</table>")[0]


def test_notebooks_that_need_two_baselines_stop_with_one_reason(tmp_path):
    from report_kit import kit_study

    study = kit_study(tmp_path, sessions=("base1", "post"))
    with pytest.raises(StudyError) as stop:
        run_notebooks(study, only=["00", "02", "05"])
    text = str(stop.value)
    assert text.startswith("2 of 3 notebooks stopped. 02_reliability, 05_individuals: two tested")
    assert text.count("found base1") == 1
    page = (study.results / "notebooks" / "index.html").read_text(encoding="utf-8")
    assert page.count("Stopped.") == 2


@pytest.mark.skipif(__import__("sys").platform == "win32", reason="signals of a terminal")
def test_ctrl_c_ends_the_run_and_its_kernel_with_one_sentence(tmp_path):
    import os
    import signal
    import subprocess
    import sys
    import time

    from report_kit import kit_study

    study = kit_study(tmp_path)
    command = [sys.executable, "-m", "cmjlab", "notebooks", str(study.folder), "--only", "04"]
    run = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    started = study.results / "notebooks"
    until = time.monotonic() + 60
    while not started.is_dir() and run.poll() is None and time.monotonic() < until:
        time.sleep(0.1)
    time.sleep(2)  # the kernel is on its way up
    os.killpg(run.pid, signal.SIGINT)
    _, errors = run.communicate(timeout=60)
    assert run.returncode in (0, 130), errors  # 0: it was quicker than the signal
    assert "Traceback" not in errors
    assert "fault of cmjlab" not in errors
