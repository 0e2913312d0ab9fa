"""Wrong types and sizes in public functions: each was another library's exception once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from change_kit import chosen_squad
from study_kit import make

import cmjlab as cj

SQUAD = chosen_squad(8)
BLOCK: dict[str, Any] = {"before": "base2", "after": "post"}
LISTS = SQUAD.assign(group=[["a", "b"]] * len(SQUAD))
NOISE = {"value": (1.2, 20)}

#: What was tried, and words that the error says.
TRIED: dict[str, tuple[Callable[[], Any], str]] = {
    "number for names": (lambda: cj.change_within(SQUAD, 3.0, **BLOCK), "metrics: a name or a list"),
    "no names": (lambda: cj.change_within(SQUAD, [], **BLOCK), "metrics: at least one name"),
    "truth for sessions": (lambda: cj.reliability(SQUAD, "value", use=True), "use: a name or a list"),
    "number for an order": (lambda: cj.change_mixed(SQUAD, "value", order=5), "order: a list of"),
    "list for a group": (
        lambda: cj.lineup(SQUAD, "value", group=["group"], **BLOCK), "group: one name"
    ),
    "lists in cells": (lambda: cj.change_within(LISTS, "value", **BLOCK), "'group' has a cell that"),
    "a column twice": (
        lambda: cj.change_within(pd.concat([SQUAD, SQUAD[["role"]]], axis=1), "value", **BLOCK),
        "two columns are called 'role'",
    ),
    "no table of rules": (lambda: cj.subgroup_athletes(SQUAD, 3), "rules: a pandas DataFrame"),
    "no table of targets": (
        lambda: cj.change_targets(SQUAD, 0.5, **BLOCK), "targets: a pandas DataFrame"
    ),
    "word for an amount": (
        lambda: cj.change_targets(
            SQUAD, pd.DataFrame({"subgroup": ["low"], "metric": ["value"], "wanted": ["more"],
                                 "amount": ["much"]}), **BLOCK),
        "amount: a finite number",
    ),
    "too large to be squared": (
        lambda: cj.change_within(SQUAD.assign(value=SQUAD["value"] * 1e200), "value", **BLOCK),
        "correct or remove it",
    ),
    "groups larger than a sport": (
        lambda: cj.what_squad_shows("value", reliability=NOISE, group_sizes=(10**20, 8)),
        "allowed is 2 to 1000000",
    ),
    "settings of another kind": (
        lambda: cj.follow(SQUAD, "value", settings=cj.Plan()), "a FollowSettings is needed"
    ),
    "a number of 400 digits": (lambda: cj.Method(onset_sd=10**400), "a smaller number is needed"),
    "list among baselines": (lambda: cj.Scenario(baselines=([1],)), "whole numbers from 1 to 20"),
    "load in words": (
        lambda: cj.summarise_sessions(
            pd.DataFrame({"athlete": "A1", "session": "pre", "jump_height_m": [0.3]}), load_kg="true"
        ),
        "load_kg: a finite number",
    ),
    "words for forces": (lambda: cj.Recording(["AAA"] * 9, 1000), "an array of numbers in newtons"),
    "complex forces": (
        lambda: cj.Recording(np.full(9, 700 + 1j), 1000), "an array of numbers in newtons"
    ),
    "list for a start": (lambda: cj.Recording([700.0] * 9, 1000, start_s=[1]), "start_s: a finite"),
    "text for a source": (lambda: cj.Recording([700.0] * 9, 1000, source="a.csv"), "source: a Source"),
    "truth for plates": (lambda: cj.Recording([700.0] * 9, 1000, plates=True), "plates: a name"),
    "more than a plate gives": (
        lambda: cj.measure(cj.Recording(np.full(900, 1e200), 1000)), "no plate gives more than"
    ),
    "a time step for a rate": (
        lambda: cj.measure(cj.Recording(np.full(900, 700.0), 0.001)), "not the time between them"
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", TRIED)
def test_an_error_of_our_own_says_what_is_wrong(what: str) -> None:
    attempt, words = TRIED[what]
    with pytest.raises(cj.CmjlabError, match=words):
        attempt()


def test_a_pair_of_sessions_that_one_athlete_has_is_told_in_words() -> None:
    others = SQUAD[(SQUAD["athlete"] == "A01") | (SQUAD["session"] != "base2")]
    noise = cj.reliability(others, "value", use=["base1", "base2", "post"])
    told = noise.table["text"].fillna("").str
    assert told.contains("fewer than 2 athletes have values in two sessions").any()


@pytest.mark.parametrize("year", ["99999999999999999999", "-5", "20044"])
def test_a_year_of_birth_that_cannot_be_is_a_problem_with_its_place(tmp_path, year) -> None:
    study = make(tmp_path / "s", trials=1)
    (study / "athletes.csv").write_text(f"athlete,group,birth_year\nA01,jump,{year}\nA02,usual,\n")
    problem = cj.check_study(study).iloc[0]
    assert (problem["file"], problem["row"], problem["column"]) == (
        "athletes.csv",
        "2",
        "birth_year",
    )
    assert problem["found"] == year
    assert "1900 to 2100" in problem["expected"]
