"""Names made from words of a study never lead out of a folder, and never make two into one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cmjlab.errors import StudyError
from cmjlab.safe_names import LONGEST, file_in, inside, safe_name, safe_names

WORDS = st.text(max_size=300) | st.sampled_from(
    ["..", ".", "", "/", "\\", "a/../../b", "C:\\x", "nul", "COM1.txt", "LPT¹", "a\x00b", "\u202e", "~", " "]
)  # fmt: skip


@pytest.mark.parametrize("word", ["A07", "Zoë", "A 07", "S-2_b", "12", "7.5", "ö" * 60])
def test_harmless_words_stay_as_they_are(word):
    assert safe_name(word) == word


@pytest.mark.parametrize(
    "word",
    ["", ".", "..", "a/b", "a\\b", "../x", "/etc", "a:b", "a\nb", "a\x1b[2J", "a\u202eb", "nul", "Con",
     "aux.csv", "COM7", "lpt³", "a.", "a ", " a", "-a", "~a", ".a", "x" * 200, "ä" * 100, "\ud800", "a\u2028b"],
)  # fmt: skip
def test_others_become_one_plain_name(word, tmp_path):
    name = safe_name(word)
    assert name != word
    path = file_in(tmp_path, f"{name}.csv")
    path.write_text("")
    assert os.listdir(tmp_path) == [f"{name}.csv"]
    assert path.resolve().parent == tmp_path.resolve()


@given(WORDS)
def test_any_word_makes_a_name_that_every_system_takes(word):
    name = safe_name(word)
    assert 0 < len(name.encode("utf-8")) <= LONGEST
    assert not set('<>:"/\\|?*') & set(name)
    assert (
        name.isprintable() or "\xa0" in name or any(c.isspace() for c in name) or not name.isascii()
    )
    assert name[0] not in " .~-"
    assert name[-1] not in " ."
    assert Path("a", name).name == name
    assert safe_name(name) == name


@given(st.lists(WORDS, unique=True, max_size=6))
def test_different_words_never_share_a_file(words):
    names = safe_names(words)
    assert len({n.casefold() for n in names.values()}) == len(words)


def test_letter_case_alone_never_joins_two_people():
    names = safe_names(["a1", "A1", "B2"])
    assert names["B2"] == "B2"
    assert names["a1"].casefold() != names["A1"].casefold()


@pytest.mark.parametrize("name", ["", ".", "..", "a/b", "../a", "a\\b", "a\x00", "a\n"])
def test_a_path_is_no_name(tmp_path, name):
    with pytest.raises(StudyError, match="no name for a file"):
        file_in(tmp_path, name)


@pytest.mark.skipif(os.name != "posix", reason="links need rights on Windows")
def test_a_link_out_of_the_folder_is_not_written_through(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "a.csv").symlink_to(tmp_path / "precious.csv")
    with pytest.raises(StudyError, match="Remove the link"):
        file_in(tmp_path / "out", "a.csv")
    (tmp_path / "out" / "b.csv").symlink_to("c.csv")
    assert file_in(tmp_path / "out", "b.csv").name == "b.csv"


def test_inside_knows_a_folder_from_one_whose_name_begins_alike(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "ab").mkdir()
    assert inside(tmp_path / "a" / "x", tmp_path / "a")
    assert not inside(tmp_path / "ab" / "x", tmp_path / "a")
    assert not inside(tmp_path / "a" / ".." / "x", tmp_path / "a")
