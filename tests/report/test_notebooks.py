"""Notebooks: parameters as plain data, the rules they keep, and running them on a study."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest

import cmjlab as cj
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.report.notebooks.exercises import check_answer
from cmjlab.report.notebooks.files import DEMO_TAG, notebooks_folder
from cmjlab.report.notebooks.parameters import VARIABLE
from cmjlab.report.notebooks.run import execute, is_demo, run_notebooks

NOTEBOOKS = sorted(notebooks_folder().glob("[0-9][0-9]_*.ipynb"))


def _cells(path: Path, kind: str = "code") -> list[dict]:
    found = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return [c for c in found if c["cell_type"] == kind]


def _tags(cell: dict) -> list[str]:
    return cell["metadata"].get("tags", [])


# ---- parameters ----------------------------------------------------------------------------


def _given(tmp_path, monkeypatch, text: str) -> None:
    path = tmp_path / "p.json"
    path.write_text(text, encoding="utf-8")
    monkeypatch.setenv(VARIABLE, str(path))


def test_defaults_without_a_file(monkeypatch):
    monkeypatch.delenv(VARIABLE, raising=False)
    p = cj.notebook_parameters(study=None, level=0.95)
    assert (p.study, p.level) == (None, 0.95)
    with pytest.raises(AttributeError, match="parameters are study, level"):
        _ = p.levl


def test_ids_stay_text_and_numbers_keep_the_type_of_the_default(tmp_path, monkeypatch):
    _given(tmp_path, monkeypatch, '{"athlete": "007", "level": 1, "number": 3, "use": ["a"]}')
    p = cj.notebook_parameters(athlete="", level=0.95, number=4, use=("b",), study=None)
    assert p.athlete == "007"
    assert isinstance(p.level, float)
    assert p.number == 3
    assert p.use == ("a",)
    assert p.study is None


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('{"atlete": "B7"}', "there is no parameter 'atlete'. Did you mean 'athlete'"),
        ('{"athlete": 7}', "athlete: text or null is needed, found 7"),
        ('{"level": "0.9"}', "level: a number or null is needed"),
        ('{"level": true}', "level: a number or null is needed"),
        ('{"draft": 1}', "draft: true or false is needed"),
        ('{"study": 3}', "study: text or null is needed"),
        ("[1]", "an object of names and values is needed"),
        ("{", "cannot be read as JSON"),
    ],
)
def test_wrong_parameters_are_refused_in_words(tmp_path, monkeypatch, text, message):
    _given(tmp_path, monkeypatch, text)
    with pytest.raises(ArgumentError, match=re.escape(message)):
        cj.notebook_parameters(athlete="", level=0.95, draft=False, study=None)


def test_a_missing_file_is_said(tmp_path, monkeypatch):
    monkeypatch.setenv(VARIABLE, str(tmp_path / "no.json"))
    with pytest.raises(ArgumentError, match=r"no\.json cannot be read"):
        cj.notebook_parameters(level=0.95)


def test_answers_are_checked_within_a_tolerance():
    assert check_answer(None, 2.0, tolerance=0.1).startswith("Not answered yet")
    assert check_answer(2.05, 2.0, tolerance=0.1) == "Right."
    assert check_answer(2.2, 2.0, tolerance=0.1, unit="cm").startswith("Not yet: 2.2 cm")


#: Groups of names that a notebook may use, besides ``cj.name``.
PUBLIC = ("stats", "plots", "simulate", "scrutiny", "notebook")

# ---- what every notebook keeps -------------------------------------------------------------


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_notebook_keeps_the_rules(path):
    code = _cells(path)
    assert len(code) < 25
    assert _tags(code[0]) == ["parameters"]
    assert sum(DEMO_TAG in _tags(c) for c in code) == 1
    demo = next(c for c in code if DEMO_TAG in _tags(c))
    assert "assert " in "".join(demo["source"])
    text = "".join("".join(c["source"]) for c in _cells(path, "markdown"))
    for word in (
        "**Question.**",
        "What can go wrong",
        "Exercise",
        "Meaning",
        "clearance",
        "consent",
    ):
        if word == "Meaning" and "Meaning" not in text:
            word = "What to do"
        assert word in text, word
    source = "".join("".join(c["source"]) for c in code)
    assert "check_exercise(" in source


#: The notebooks that compute for themselves: one shows the algorithm, one recomputes ours.
BY_HAND = ("10_one_jump_by_hand.ipynb", "11_same_numbers_elsewhere.ipynb")


@pytest.mark.parametrize(
    "path", [p for p in NOTEBOOKS if p.name not in BY_HAND], ids=lambda p: p.name
)
def test_notebook_holds_no_algorithm(path):
    """No loops with arithmetic, no functions, no numpy, no magics: the library computes."""
    for cell in _cells(path):
        source = "".join(cell["source"])
        assert not re.search(r"^\s*[%!]", source, flags=re.M), "no magics: nbval passes them unseen"
        assert "numpy" not in source
        assert "scipy" not in source
        for node in ast.walk(ast.parse(source)):
            assert not isinstance(node, ast.FunctionDef | ast.While | ast.Lambda)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_notebook_uses_public_names_only(path):
    """What stands in ``cj.stats``, ``cj.plots``, ``cj.simulate``, ``cj.notebook`` and at the top."""
    for cell in _cells(path):
        for node in ast.walk(ast.parse("".join(cell["source"]))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("cmjlab"):
                _, _, group = (node.module or "").partition(".")
                place = getattr(cj, group) if group in PUBLIC else None
                assert place is not None, f"{node.module} is not public"
                assert {a.name for a in node.names} <= set(place.__all__)
            elif isinstance(node, ast.Import):
                assert [a.name for a in node.names if a.name.startswith("cmjlab.")] == []
            elif isinstance(node, ast.Attribute):
                assert not node.attr.startswith("_"), node.attr


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_outputs_are_committed_and_without_errors(path):
    counts = [c["execution_count"] for c in _cells(path)]
    assert counts == list(range(1, len(counts) + 1))
    outputs = [o for c in _cells(path) for o in c["outputs"]]
    assert not [o for o in outputs if o["output_type"] == "error"]
    assert not [o for o in outputs if o.get("name") == "stderr"]
    checked = [c for c in _cells(path) if "# NBVAL_CHECK_OUTPUT" in "".join(c["source"])]
    assert checked
    assert all(c["outputs"] for c in checked)
    pictures = [o for o in outputs if "image/png" in o.get("data", {})]
    assert all(len(o["metadata"]["image/png"]["alt"]) > 40 for o in pictures)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_no_place_of_this_machine_is_in_the_outputs(path):
    assert not re.search(
        r"(?<![\w.])/(?:root|home|work|Users|tmp)/", path.read_text(encoding="utf-8")
    )


# ---- running -------------------------------------------------------------------------------


def _notebook(path: Path, *sources: str, tags: tuple[str, ...] = ()) -> Path:
    import nbformat

    cells = [nbformat.v4.new_code_cell(s) for s in sources]
    if tags:
        cells[-1].metadata["tags"] = list(tags)
    nbformat.write(nbformat.v4.new_notebook(cells=cells), path)
    return path


def test_runs_with_this_interpreter_whatever_kernel_is_named(tmp_path):
    import sys

    import nbformat

    source = _notebook(tmp_path / "a.ipynb", "import sys; print([*sys.executable])")
    notebook = nbformat.read(source, as_version=4)
    notebook.metadata["kernelspec"] = {"name": "no-such-kernel", "display_name": "x"}
    nbformat.write(notebook, source)
    execute(source, tmp_path / "b.ipynb")
    out = _cells(tmp_path / "b.ipynb")[0]["outputs"][0]["text"]
    assert "".join(out).strip() == str([*sys.executable])  # a path would be cleaned away
    assert _cells(source)[0]["outputs"] == []  # the source is not touched


def test_a_failing_cell_stops_with_one_sentence(tmp_path):
    source = _notebook(tmp_path / "a.ipynb", "raise ValueError('no such thing')")
    with pytest.raises(StudyError, match=r"notebook a\.ipynb stopped: ValueError: no such thing"):
        execute(source, tmp_path / "b.ipynb")
    assert (tmp_path / "b.ipynb").is_file()


def test_demo_checks_run_on_the_demo_only(tmp_path):
    source = _notebook(tmp_path / "a.ipynb", "1", "assert False", tags=(DEMO_TAG,))
    execute(source, tmp_path / "b.ipynb", keep_demo_checks=False)
    assert len(_cells(tmp_path / "b.ipynb")) == 1
    with pytest.raises(StudyError, match="stopped"):
        execute(source, tmp_path / "c.ipynb")


def test_a_study_is_run_from_any_directory_and_leaves_an_index(tmp_path, monkeypatch):
    from report_kit import kit_study

    study = kit_study(tmp_path)
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    monkeypatch.delenv(VARIABLE, raising=False)
    steps: list = []
    index = run_notebooks(study, only=["01"], progress=steps.append)
    assert index == study.results / "notebooks" / "index.html"
    assert "01_recordings.ipynb" in index.read_text(encoding="utf-8")
    text = (study.results / "notebooks" / "01_recordings.ipynb").read_text(encoding="utf-8")
    assert "Kit" in text
    assert "Merrowfold" not in text
    assert [s.what for s in steps] == ["01 recordings"]
    assert VARIABLE not in __import__("os").environ
    assert not is_demo(study)
    with pytest.raises(ArgumentError, match="there is no notebook '99'"):
        run_notebooks(study, only=["99"])


def test_a_notebook_that_cannot_run_is_named_and_the_others_run(tmp_path):
    from report_kit import kit_study

    study = kit_study(tmp_path, sessions=("base1", "base2"))
    with pytest.raises(StudyError, match=r"1 of 2 notebooks stopped.*04_block_change.*role post"):
        run_notebooks(study, only=["01", "04"])
    page = (study.results / "notebooks" / "index.html").read_text(encoding="utf-8")
    assert page.count("Stopped.") == 1
    assert (study.results / "notebooks" / "01_recordings.ipynb").is_file()


def test_the_first_notebook_names_all_others():
    """The table in 00 says which notebook is for what; none is missing in it."""
    [start, *others] = NOTEBOOKS
    table = "".join(json.loads(start.read_text(encoding="utf-8"))["cells"][0]["source"])
    named = re.findall(r"^\| (?:\*\*)?(\d\d) ", table, flags=re.MULTILINE)
    assert sorted(named) == [path.name[:2] for path in others]
