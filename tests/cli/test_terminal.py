"""Texts of a study that a terminal would obey are written out: colours, cursor, direction of text."""

from __future__ import annotations

import re

import pytest
from study_kit import make
from typer.testing import CliRunner

from cmjlab.cli.app import app
from cmjlab.cli.say import visible

EVIL = "\x1b[2J\x1b]0;owned\x07 \u202eabc\u2066 \x9b31m\r"
OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """Return a study whose title, group, ids, reasons and file names hold what terminals obey."""
    study = make(tmp_path_factory.mktemp("hostile") / "s", trials=1)
    toml = study / "study.toml"
    toml.write_text(toml.read_text().replace('"Kit"', '"K\\u001b[2J\\u202eit\\u0007"'))
    quoted = EVIL.replace('"', "")
    (study / "athletes.csv").write_text(
        f'athlete,group,team\nA01,"jump{quoted}","t{quoted}"\nA02,usual,\n"A{quoted}3",usual,\n',
        encoding="utf-8", newline="",
    )  # fmt: skip
    first = sorted((study / "recordings").iterdir())[0]
    first.with_name(f"x{EVIL[:-1].replace('/', '')}y.csv").write_bytes(first.read_bytes())
    return study


@pytest.mark.parametrize(
    "words",
    [["check"], ["measure"], ["today"], ["change"], ["reliability"], ["subgroups"], ["report"]],
    ids=lambda w: w[0],
)
def test_no_command_prints_what_a_terminal_obeys(hostile, words) -> None:
    ran = CliRunner().invoke(app, [words[0], str(hostile), *words[1:]], color=True)
    assert ran.exit_code != 70, ran.output
    assert not OBEYED.findall(ran.output), repr(ran.output)
    assert ran.output.strip()


def test_words_of_people_stay_as_they_are() -> None:
    for text in ("Zoë Müller", "a\tb\nc", "İpek", "山田", "“quoted” – 5 °", "👟"):
        assert visible(text) == text
    assert visible("a\x1b[31mb\u202e\r") == "a\\x1b[31mb\\u202e\\r"
