"""Rules of the project that a machine can check."""

from __future__ import annotations

import ast
import itertools
import re
import tomllib
from pathlib import Path

import pytest
from git_files import git_files
from places import PACKAGE, ROOT
from source_rules import prose, read_display_text

TEXT = {".py", ".pyi", ".md", ".toml", ".cff", ".yaml", ".yml", ".ipynb", ".html", ".css", ".csv"}
TEXT |= {".R", ".bib", ".jinja", ".j2", ""}


def _files() -> list[Path]:
    paths = [ROOT / p for p in git_files(new=True)]
    return [p for p in paths if p.suffix in TEXT and p.name != "LICENSE"]


def _lines_with(pattern: str) -> list[str]:
    found = []
    rule = re.compile(pattern)
    for path in _files():
        if path == Path(__file__).resolve():
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        for number, line in enumerate(text.splitlines(), start=1):
            if rule.search(line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:120]}")
    return found


def test_name_is_always_lower_case():
    assert not _lines_with(r"\b(?!cmjlab\b|CMJLAB_|CmjlabError\b)(?i:cmjlab)\b")


def test_no_machine_path_or_registry():
    assert not _lines_with(
        r"(?<![\w.])/(?:root|home|work|Users)/\w|pypi\.org|pythonhosted|registry\.npmjs"
    )


def test_no_file_over_400_lines():
    long = [
        f"{p.relative_to(ROOT)}: {n} lines"
        for p in _files()
        if p.suffix == ".py" and (n := len(p.read_text(encoding="utf-8").splitlines())) > 400
    ]
    assert not long


def test_no_exception_to_the_limits_of_complexity_and_arguments():
    """The linter enforces both limits; neither a remark in the code nor a list may lift them."""
    lint = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["ruff"]["lint"]
    limits = {"C901", "PLR0913"}
    assert limits <= set(lint["select"])
    assert not limits & {*lint["ignore"], *itertools.chain(*lint["per-file-ignores"].values())}
    assert lint["mccabe"]["max-complexity"] <= 15
    assert lint["pylint"]["max-args"] <= 7
    assert not _lines_with(r"#\s*(?:ruff:\s*)?noqa(?!: (?!C901|PLR0913)[A-Z]+\d+\s*$)")


def test_no_test_borrows_from_another_test():
    """What several tests need stands in a kit beside conftest.py."""
    found = _lines_with(r"^\s*(?:from|import) test_\w+")
    assert not found


@pytest.mark.parametrize("place", ["README.md", "notebooks", "cmjlab/words/en"])
def test_cautions_stand_where_results_are_shown(place):
    """Pain, clearance, diagnosis and consent are named wherever results are shown."""
    path = ROOT / place
    files = [path] if path.is_file() else [p for p in path.rglob("*") if p.suffix in TEXT]
    text = " ".join(p.read_text(encoding="utf-8", errors="replace") for p in files if p.is_file())
    for word in ("pain", "clearance", "not diagnoses", "consent", "personal data"):
        assert word in text, f"{place} does not say {word!r}"


def test_top_level_holds_only_what_is_agreed():
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "cmjlab", "notebooks", "tests"}
    agreed |= {"sample_data", "LICENSE", "CITATION.cff", ".ci", ".pre-commit-config.yaml"}
    agreed |= {".gitignore", ".gitattributes"}
    assert {p.split("/")[0] for p in git_files()} <= agreed


# ---- meaning is data -----------------------------------------------------------------------

#: Files that still read words; the list only shrinks: what is mended is taken off.
READ_STILL: set[str] = set()
#: Files with texts that are still to move into the words.
PROSE_STILL: set[str] = set()
#: Texts of three words that are no prose: parts of an error that is raised elsewhere, and code.
NO_PROSE = {
    "report/notebooks/parameters.py",
    "report/notebooks/solutions.py",
    "report/render/pdf.py",
}


def _in_package(rule, rooms: tuple[str, ...]) -> dict[str, list[str]]:
    """Return what a rule finds, by file."""
    found: dict[str, list[str]] = {}
    for path in sorted(p for room in rooms for p in (PACKAGE / room).rglob("*.py")):
        for number, code in rule(ast.parse(path.read_text(encoding="utf-8"))):
            name = path.relative_to(PACKAGE).as_posix()
            found.setdefault(name, []).append(f"{name}:{number}: {code[:100]}")
    return found


def test_nobody_reads_words_made_for_a_reader():
    """What a number means stands in columns and keys; words are only shown."""
    found = _in_package(read_display_text, ("",))
    new = [line for name, lines in found.items() if name not in READ_STILL for line in lines]
    assert not new, "\n".join(new)
    assert set(READ_STILL) <= set(found), "mended: take it off the list"


@pytest.mark.parametrize(
    "code",
    [
        'row["method"] == "paired t"',
        'rows["contrast"].astype(str) == name',
        'str(row["text"]).startswith("not estimable")',
        'contrast.split(" - ")',
        'rows["method"].str.contains("Welch")',
        're.search("ANCOVA", row.method)',
        '"zero" in sentence',
        'row.get("label", "") in names',
        "[s for s in result.sentences if s.text.startswith(label)]",
    ],
)
def test_rule_sees_words_that_are_read(code):
    assert len(list(read_display_text(ast.parse(code)))) == 1


@pytest.mark.parametrize(
    "code",
    [
        'row["estimator"] == "paired_t"',
        'row["text"] != ""',
        "sentence.metric == metric",
        'print(row["method"])',
        "path.stem.split()",
    ],
)
def test_rule_lets_keys_be_read_and_words_be_shown(code):
    assert not list(read_display_text(ast.parse(code)))


def test_sentences_stand_in_the_words():
    """Whatever a person reads comes from cmjlab/words, so that a lab can translate it."""
    found = _in_package(prose, ("report",))
    known = PROSE_STILL | NO_PROSE
    new = [line for name, lines in found.items() if name not in known for line in lines]
    assert not new, "\n".join(new)
    assert known <= set(found), "mended: take it off the list"


def test_rule_sees_prose_and_passes_docstrings_errors_and_markup():
    code = '''
def f(n):
    """A docstring of many words."""
    raise ValueError("an error may say in words")
    return "three words here", f"{n} athletes are left", "<p class='a b c'>", "two words"
'''
    found = [text for _, text in prose(ast.parse(code))]
    assert found == ["three words here", " athletes are left"]
