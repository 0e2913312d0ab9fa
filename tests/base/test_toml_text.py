"""A TOML text of a person: damaged, nested without end, with a number without end."""

from __future__ import annotations

import pytest
from study_kit import make

import cmjlab as cj

ENDLESS = {
    "lists": "x = " + "[" * 100_000 + "]" * 100_000,
    "tables": "x = " + "{a = " * 50_000 + "1" + "}" * 50_000,
    "digits": "x = " + "9" * 6_000,
}


@pytest.mark.parametrize("what", ENDLESS)
def test_a_study_toml_without_end_is_a_problem_with_its_file(tmp_path, what) -> None:
    study = make(tmp_path / "s", trials=1)
    text = (study / "study.toml").read_text()
    (study / "study.toml").write_text(f"{ENDLESS[what]}\n{text}")
    with pytest.raises(cj.StudyError, match=r"study\.toml"):
        cj.Study.open(study)


@pytest.mark.parametrize("what", ENDLESS)
def test_words_of_a_lab_without_end_are_told_with_their_file(tmp_path, what) -> None:
    from cmjlab.words.catalog import read_words

    own = tmp_path / "words.toml"
    own.write_text(ENDLESS[what])
    with pytest.raises(cj.StudyError, match=r"words\.toml"):
        read_words(own)
