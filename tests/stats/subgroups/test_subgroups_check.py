"""cmjlab check reads subgroups.csv and block.csv before anybody is placed."""

from __future__ import annotations

from pathlib import Path

import pytest
from study_kit import make

import cmjlab as cj

HEAD = "subgroup,rule,athlete,reason\n"
BLOCK = "exercise,subgroup,start_position,range,intent,load,sets,reps\n"


def problems(folder: Path, rules: str, block: str = "") -> dict[str, dict]:
    make(folder, sessions="base1", trials=1)
    (folder / "subgroups.csv").write_text(HEAD + rules, encoding="utf-8")
    if block:
        (folder / "block.csv").write_text(BLOCK + block, encoding="utf-8")
    table = cj.check_study(folder)
    return {
        r["code"]: r
        for r in table[table["file"].str.startswith(("subgroups", "block"))].to_dict("records")
    }


def test_good_rules_and_block_are_quiet(tmp_path):
    rules = "low,jump_height_m < median,,\nmine,group = jump,,\nusual,else,,\n"
    assert problems(tmp_path / "s", rules, "squat,all,,,,,3,5\n") == {}


@pytest.mark.parametrize(
    ("rules", "block", "code", "words"),
    [
        ("low,jump_height_m < 0.3,,\n", "", "bad_rules", "the last rule must be 'else'"),
        ("low,jump_hight_m < 0.3,,\nusual,else,,\n", "", "unknown_measure", "jump_hight_m < 0.3"),
        ("low,team = a,,\nusual,else,,\n", "", "unknown_measure", "team = a"),
        ("low,jump_height_m < 0.3,,\nusual,else,,\n", "squat,lo,,,,,3,5\n", "unknown_subgroup", "lo"),
        ("low,jump_height_m < 0.3,,\nusual,else,,\n", "squat,low,,,,,3,5\n", "subgroup_without_block", "usual"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told_with_a_remedy(tmp_path, rules, block, code, words):
    found = problems(tmp_path / "s", rules, block)
    assert code in found, found
    assert words in found[code]["found"]
    assert found[code]["severity"] in ("warn", "note")
    assert found[code]["remedy"]
