"""Every public name is explained: what it takes, what it gives, and an example that runs.

The examples themselves are run by the doctests of the check command; here each name must have one.
"""

from __future__ import annotations

import dataclasses
import doctest
import inspect
import re
from types import ModuleType
from typing import Any

import pytest

import cmjlab as cj
from cmjlab.settings import Settings

GROUPS = ("stats", "plots", "simulate", "scrutiny")
#: Names that are no function and no class of ours: values, or what a figure library gives.
VALUES = {"MOST_METRICS"}


def _public() -> dict[str, Any]:
    """Return every public function and class, by the name under which it is first found."""
    found: dict[str, Any] = {}
    for place in (cj, *(getattr(cj, group) for group in GROUPS)):
        for name in place.__all__:
            thing = getattr(place, name)
            if not isinstance(thing, ModuleType) and name not in VALUES:
                found.setdefault(name, thing)
    return found


PUBLIC = _public()
FUNCTIONS = sorted(n for n, t in PUBLIC.items() if inspect.isfunction(t))
CLASSES = sorted(n for n, t in PUBLIC.items() if inspect.isclass(t))
METHODS = sorted(
    f"{name}.{method}"
    for name in ("Study", "Result", "Jump", "Recording")
    for method, thing in inspect.getmembers(PUBLIC[name], inspect.isfunction)
    if not method.startswith("_") and thing.__module__.startswith("cmjlab.study.analyses")
)


def _doc(name: str) -> str:
    owner, _, method = name.partition(".")
    thing = getattr(PUBLIC[owner], method) if method else PUBLIC[owner]
    return inspect.cleandoc(thing.__doc__ or "")


def _section(doc: str, title: str) -> str:
    """Return one section of a docstring, "" when it is not there."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\S[^\n]*\n-+\n|\Z)", doc, re.DOTALL | re.MULTILINE)
    return found.group(1) if found else ""


@pytest.mark.parametrize("name", [*FUNCTIONS, *CLASSES, *METHODS])
def test_there_is_an_example_that_is_run(name):
    examples = doctest.DocTestParser().get_examples(_section(_doc(name), "Examples"))
    assert examples, f"{name}: no example"
    assert any(e.want for e in examples), f"{name}: the example shows nothing"
    assert not [e for e in examples if e.options], f"{name}: an example with options"


@pytest.mark.parametrize("name", [*FUNCTIONS, *METHODS])
def test_every_argument_and_what_comes_back_is_explained(name):
    owner, _, method = name.partition(".")
    thing = getattr(PUBLIC[owner], method) if method else PUBLIC[owner]
    signature = inspect.signature(thing)
    doc = _doc(name)
    named = set()
    for line in _section(doc, "Parameters").splitlines():
        head = re.match(r"([*\w, ]+?)(?: : .*)?$", line)
        if head and not line.startswith(" "):
            named |= {n.strip().lstrip("*") for n in head.group(1).split(",")}
    missing = [p for p in signature.parameters if p not in named and p != "self"]
    assert not missing, f"{name}: {missing} not under Parameters"
    if signature.return_annotation not in (None, "None", inspect.Signature.empty):
        assert _section(doc, "Returns"), f"{name}: what comes back is not explained"


@pytest.mark.parametrize("name", CLASSES)
def test_every_field_of_a_class_is_explained(name):
    thing = PUBLIC[name]
    if issubclass(thing, Settings):  # unit, range and help of each stand in describe()
        assert all(row["help"] for row in thing.describe())
        return
    if dataclasses.is_dataclass(thing):
        fields = [f.name for f in dataclasses.fields(thing)]
        explained = _section(_doc(name), "Parameters") + _section(_doc(name), "Attributes")
        assert [f for f in fields if not re.search(rf"\b{f}\b", explained)] == []


#: What a person calls on these objects first; each is shown in the example of its class.
SHOWN = {
    "Study": ("open", "measure", "sessions_table", "jump", "with_choices", "change_within"),
    "Result": ("value", "row", "rows", "readable", "wide", "has_note", "sentences_about"),
    "Jump": ("check", "metrics", "flags", "accepted"),
    "Recording": ("plate", "replace", "duration_s"),
    "Method": ("replace", "to_dict", "describe"),
}


@pytest.mark.parametrize(("owner", "method"), [(o, m) for o, ms in SHOWN.items() for m in ms])
def test_the_example_of_a_class_shows_what_is_asked_of_it(owner, method):
    assert hasattr(PUBLIC[owner], method) or method in PUBLIC[owner].__dataclass_fields__
    examples = doctest.DocTestParser().get_examples(_section(_doc(owner), "Examples"))
    assert [e for e in examples if f".{method}" in e.source], f"{owner}: {method} is not shown"


#: Ending of an argument's name -> words that say the same unit to a person.
UNITS = {
    "n": ("newton", "N"), "hz": ("hertz", "Hz"), "s": ("second", "s"), "m": ("metre", "m"),
    "kg": ("kg",), "cm": ("cm",), "percent": ("%", "percent"),
}  # fmt: skip


@pytest.mark.parametrize("name", [*FUNCTIONS, *METHODS])
def test_a_number_with_a_unit_in_its_name_says_it_in_words_too(name):
    entries = re.findall(
        r"^(\w+) : float[^\n]*\n((?:    .*\n?|\n)*)",
        _section(_doc(name), "Parameters"),
        re.MULTILINE,
    )
    for argument, text in entries:
        words = UNITS.get(argument.rsplit("_", 1)[-1]) if "_" in argument else None
        said = words is None or any(w in text if len(w) > 2 else re.search(rf"(?<!\w){w}(?!\w)", text) for w in words)  # fmt: skip
        assert said, f"{name}: {argument} without its unit in {text.strip()!r}"


def test_sections_are_found_as_they_are_written():
    """The finder itself: arguments that share a line, and a section that is not there."""
    doc = "Do.\n\nParameters\n----------\na, b : int\n    Two.\n\nReturns\n-------\nint\n"
    assert _section(doc, "Parameters") == "a, b : int\n    Two.\n\n"
    assert _section(doc, "Returns") == "int\n"
    assert _section(doc, "Raises") == ""
