"""Rules of the project that a machine can check."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from places import ROOT

TEXT = {".py", ".pyi", ".md", ".toml", ".cff", ".yaml", ".yml", ".ipynb", ".html", ".css", ".csv"}
TEXT |= {".R", ".bib", ".jinja", ".j2", ""}


def _files() -> list[Path]:
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-co", "--exclude-standard"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        ).stdout.splitlines()
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    paths = [ROOT / p for p in listed]
    return [p for p in paths if p.is_file() and p.suffix in TEXT and p.name != "LICENSE"]


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
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    if not listed:
        pytest.skip("not a git checkout")
    assert {p.split("/")[0] for p in listed} <= agreed
