"""Every key that a statistic names in its code stands in the words."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest
from places import ROOT

from cmjlab.words.catalog import read_words

#: Kinds of phrases, and columns whose values are keys, with their part of the words.
PHRASES = {"Sentence": "", "Note": "note.", "Reason": "reason.", "Case": "case."}
COLUMNS = {"estimator": "estimator.", "interval_kind": "interval."}
#: Rooms whose sentences and notes are all typed.
ROOMS = ("common", "reliability", "planning", "individual", "association", "subgroups")
FILES = sorted(p for r in ROOMS for p in (ROOT / "cmjlab" / "stats" / r).glob("*.py"))


def keys_named(code: str) -> Iterator[str]:
    """Yield the keys of words that stand as plain constants in calls."""
    for node in ast.walk(ast.parse(code)):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "id", getattr(node.func, "attr", ""))
        if name in PHRASES and node.args:
            yield from (PHRASES[name] + key for key in _constants(node.args[0]))
        for word in node.keywords:
            if word.arg in COLUMNS:
                yield from (COLUMNS[word.arg] + key for key in _constants(word.value))


def _constants(node: ast.expr) -> Iterator[str]:
    if isinstance(node, ast.IfExp):
        yield from _constants(node.body)
        yield from _constants(node.orelse)
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value


def test_keys_are_seen():
    code = 'Note("a" if x else "b"); place.add("s", 1, estimator="c", reason=Reason("d", {}))'
    assert set(keys_named(code)) == {"note.a", "note.b", "estimator.c", "reason.d"}


@pytest.mark.parametrize("path", FILES, ids=lambda p: f"{p.parent.name}/{p.stem}")
def test_every_key_has_words(path):
    known = set(read_words().keys)
    named = set(keys_named(path.read_text(encoding="utf-8")))
    assert not [k for k in named if not {k, f"{k}_many"} & known]
