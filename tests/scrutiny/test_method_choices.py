"""The choices that are tried: the study's own first, levels of one's own, what nobody would defend."""

from __future__ import annotations

import pytest

import cmjlab as cj
from cmjlab.method import Method
from cmjlab.scrutiny.methods.choices import (
    CHOICES,
    OWN,
    SIGNAL,
    analyses_of,
    ask_for,
    combinations,
    summaries_left_out,
)
from cmjlab.stats.specifications.sentences import choice_case, level_words
from cmjlab.words.phrases import Sentence

HOW = {
    "height": "takeoff_velocity", "summary": "mean", "exclusion": "rules", "baseline": "base2",
    "estimator": "change_difference",
}  # fmt: skip


def test_the_methods_are_at_least_two_hundred_and_the_own_one_comes_first():
    asked = ask_for(Method(), HOW)
    found, left_out = combinations(asked, Method())
    assert len(found) >= 200
    assert found[0].method == Method()
    assert len({c.method.key for c in found}) == len(found)
    assert [dict(one.levels) for one in left_out] == [
        {"weighing": "stillest", "rest": "weighing_end"}
    ]


def test_a_method_of_ones_own_is_among_the_ways():
    own = Method(onset_rule="sd", onset_sd=3.0, weighing="start")
    asked = ask_for(own, HOW)
    assert asked.own["onset"] == OWN
    assert asked.own["weighing"] == OWN
    found, _ = combinations(asked, own)
    assert found[0].method == own
    assert "sd_5" in {c.levels[0] for c in found}


def test_levels_of_ones_own_are_tried():
    asked = ask_for(Method(), HOW, {"onset": {"sd_3": {"onset_rule": "sd", "onset_sd": 3.0}}})
    assert list(asked.signal["onset"]) == ["fit", "sd_3"]
    found, _ = combinations(asked, Method())
    assert {c.method.onset_sd for c in found if c.levels[0] == "sd_3"} == {3.0}


def test_settings_that_contradict_each_other_are_left_out_and_named():
    forward = {"forward": {"onset_search": "forward"}}
    asked = ask_for(Method(), HOW, {"takeoff": forward, "filter": ["none"]})
    found, left_out = combinations(asked, Method())
    assert all(c.method.onset_rule != "fit" for c in found if "forward" in c.levels)
    why = [one.why for one in left_out if one.why.code == "choice_contradiction"]
    assert why
    assert "onset_search" in str(why[0])


def test_the_best_of_jumps_with_faults_is_left_out():
    asked = ask_for(Method(), HOW)
    ways = list(analyses_of(asked))
    assert ("best", "everything") not in ways
    assert ("mean", "everything") in ways
    assert len(ways) == 14
    assert len(summaries_left_out(asked)) == 2


def test_every_level_has_words():
    for choice in CHOICES:
        assert str(choice_case(choice))
    for choice, levels in SIGNAL.items():
        for level in (*levels, OWN):
            assert isinstance(level_words(choice, level), Sentence)
    assert level_words("baseline", "base1") == "base1"


@pytest.mark.parametrize("ask", [cj.method_sensitivity, cj.compare_curves, cj.lab_truth])
@pytest.mark.parametrize("thing", ["my_block", None])
def test_anything_but_an_opened_study_is_refused_with_what_to_write(ask, thing):
    with pytest.raises(cj.ArgumentError, match="an opened study is needed.*Study.open"):
        ask(thing)


def test_a_paper_is_set_beside_an_opened_study_only(tmp_path):
    with pytest.raises(cj.ArgumentError, match="an opened study is needed"):
        cj.compare_paper("my_block", tmp_path / "paper.csv")
