"""Names in groups that a person can learn: complete, described, and the same things as before."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

import cmjlab as cj

GROUPS = ("stats", "plots", "simulate", "scrutiny", "notebook")


@pytest.mark.parametrize("group", GROUPS)
def test_the_description_of_a_group_lists_its_names_and_no_others(group):
    place = getattr(cj, group)
    words = set(re.findall(r"[A-Za-z_]+", " ".join(_listed(place.__doc__))))
    assert sorted(words) == sorted(place.__all__)


def _listed(doc: str) -> list[str]:
    """Return what stands indented: names before a colon, or a list of names."""
    lines = [line.strip() for line in doc.splitlines() if line.startswith("    ")]
    return [line.split(":")[0] if ":" in line else line for line in lines]


@pytest.mark.parametrize("group", GROUPS)
def test_every_name_of_a_group_loads(group):
    place = getattr(cj, group)
    assert [n for n in place.__all__ if getattr(place, n, None) is None] == []


def test_names_of_the_groups_are_the_same_things_as_at_the_top():
    both = [(g, n) for g in GROUPS for n in getattr(cj, g).__all__ if n in cj.__all__]
    assert len(both) > 30
    assert [n for g, n in both if getattr(getattr(cj, g), n) is not getattr(cj, n)] == []


def test_dir_shows_what_to_begin_with_and_each_is_described():
    shown = dir(cj)
    assert len(shown) <= 40
    assert {"Study", "stats", "plots", "simulate", "measure"} <= set(shown)
    assert not {"change_within", "simulate_jump", "follow"} & set(shown)
    assert [n for n in shown if not re.search(rf"\b{n}\b", cj.__doc__)] == []


def test_a_function_named_like_its_room_stays_a_function():
    """Importing the room must not put the module in the place of the function."""
    code = (
        "import cmjlab.stats.reliability.icc, cmjlab.stats.association.rows, cmjlab as cj;"
        "print(callable(cj.stats.reliability), callable(cj.stats.association))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "True"]
