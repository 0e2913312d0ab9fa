"""Public names: pinned here, declared in the stub, importable, documented."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import cmjlab as cj

STUB = Path(cj.__file__).with_name("__init__.pyi")

PINNED = [
    "ArgumentError",
    "Check",
    "CmjlabError",
    "Jump",
    "JumpError",
    "Layout",
    "Method",
    "MissingExtraError",
    "Note",
    "Plan",
    "ReadError",
    "Recording",
    "Result",
    "Selection",
    "StatsError",
    "Study",
    "StudyError",
    "change_between",
    "change_individual",
    "change_jumps",
    "change_mixed",
    "change_within",
    "check_study",
    "demo_study",
    "glossary",
    "jumps_needed",
    "measure",
    "plan_study",
    "read_recording",
    "reliability",
    "simulate_fault",
    "simulate_jump",
    "simulate_sessions",
    "simulate_study",
    "split_jumps",
    "summarise_sessions",
    "write_recording",
]


def _declared() -> list[str]:
    names = []
    for node in ast.parse(STUB.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ImportFrom):
            names += [a.asname or a.name for a in node.names]
    return names


def test_pinned_names_are_declared():
    missing = sorted(set(PINNED) - set(_declared()))
    assert not missing


@pytest.mark.parametrize("name", _declared())
def test_name_loads_and_is_documented(name):
    thing = getattr(cj, name)
    assert inspect.getdoc(thing), f"{name} has no docstring"


@pytest.mark.parametrize("name", _declared())
def test_public_functions_document_their_parameters(name):
    thing = getattr(cj, name)
    if not inspect.isfunction(thing):
        return
    doc = inspect.getdoc(thing) or ""
    parameters = list(inspect.signature(thing).parameters)
    if parameters:
        assert "Parameters\n---" in doc, f"{name}: no Parameters section"
    missing = [p for p in parameters if p not in doc]
    assert not missing, f"{name}: parameters not documented: {missing}"
    kinds = {p.kind for p in inspect.signature(thing).parameters.values()}
    if name == "notebook_parameters":  # its keywords are the parameters and their defaults
        return
    assert inspect.Parameter.VAR_KEYWORD not in kinds, f"{name}: no **kwargs pass-through"


def test_import_is_light():
    """Importing the package loads no heavy library: those load when first used."""
    code = (
        "import sys, cmjlab; "
        "print([m for m in ('pandas', 'scipy', 'matplotlib', 'pingouin') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
