"""DEVELOPERS.md is the index of the house: what it names is there, and what is there it names."""

from __future__ import annotations

import re

import pytest
from places import PACKAGE, ROOT

import cmjlab

TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
#: Texts in backticks; blocks of code are left out.
QUOTED = re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", TEXT, flags=re.DOTALL))
#: Those that name a place in the repository: one of its top folders, or one of its own files.
TOP = ("cmjlab/", "tests/", "notebooks/", "sample_data/", ".ci/")
PATHS = sorted({w for q in QUOTED for w in q.split() if w.startswith(TOP) and "NN" not in w})
ROOMS = sorted(
    {f"cmjlab/{p.parent.relative_to(PACKAGE)}/" for p in PACKAGE.rglob("__init__.py")}
    - {"cmjlab/./"}
)
FILES = sorted(f"cmjlab/{p.name}" for p in PACKAGE.glob("*.py") if p.name != "__init__.py")


def test_there_is_something_to_check():
    assert len(PATHS) > 60
    assert len(ROOMS) > 25
    assert len(FILES) > 12


@pytest.mark.parametrize("path", PATHS)
def test_every_path_exists(path):
    found = list(ROOT.glob(path)) if "*" in path else [ROOT / path]
    assert found
    assert all(p.exists() for p in found)


@pytest.mark.parametrize("place", ROOMS + FILES)
def test_every_room_and_file_of_the_ground_floor_has_its_words(place):
    assert f"`{place}`" in TEXT


def test_a_number_is_found_within_three_hops():
    walks = re.findall(r"^\*[^*]+ in (two|three) hops\.\*(.*?)\n\n", TEXT, re.DOTALL | re.MULTILINE)
    assert len(walks) >= 3
    for words, walk in walks:
        assert walk.count("→") == {"two": 2, "three": 3}[words]


def test_the_newest_entry_is_the_version():
    entries = re.findall(r"^### (\d+\.\d+\.\d+) ", TEXT, re.MULTILINE)
    assert entries[0] == cmjlab.__version__
    assert f"version: {cmjlab.__version__}\n" in (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    assert entries == sorted(entries, reverse=True)


def test_every_dependency_has_its_reason():
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"]]
    for extra in project["optional-dependencies"].values():
        wanted += [r for r in extra if not r.startswith("cmjlab")]
    table = TEXT[TEXT.index("## Dependencies") : TEXT.index("## Licence")]
    named = set(re.findall(r"[\w.-]+", table))
    missing = [r for r in wanted if re.split(r"[><=\[ ]", r)[0] not in named]
    assert not missing
