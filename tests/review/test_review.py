"""Review in plain Python: every decision is written at once, and a move shows its effect."""

from __future__ import annotations

import math

import pytest
from report_kit import kit_study

import cmjlab as cj
from cmjlab.errors import ArgumentError, JumpError
from cmjlab.review.effect import effect_in_words
from cmjlab.review.session import WHICH_JUMPS

REASON = '<b>"Zoë"</b> & $x_1$ 日本; =1+1'


@pytest.fixture
def study(tmp_path):
    return kit_study(tmp_path, sessions=("base1", "post"), athletes=2)


@pytest.fixture
def review(study):
    return cj.Review(study, who="T1")


def _rows(study) -> list[str]:
    path = study.folder / "decisions.csv"
    return [x for x in path.read_text(encoding="utf-8-sig").splitlines()[1:] if x[:1] != "#"]


def _keys(table) -> tuple:
    return tuple(zip(table["file"], table["jump"], strict=True))


# ---- paging --------------------------------------------------------------------------------


def test_pages_through_the_jumps_in_the_order_of_the_study(review, study):
    assert review.keys == _keys(study.measure())
    assert len(review) == 6
    assert (review.file, review.number) == review.keys[0]
    for key in review.keys[1:]:
        review.next()
        assert (review.file, review.number) == key
    assert review.next() is not None
    assert review.place == len(review) - 1  # the end is the end
    review.go(0)
    review.previous()
    assert review.place == 0
    review.find(*review.keys[3])
    assert review.place == 3


def test_a_jump_that_is_not_there_is_named(review):
    with pytest.raises(ArgumentError, match=r"'no\.csv', jump 1, is not among the 6 jump"):
        review.find("no.csv")
    with pytest.raises(ArgumentError, match="'all', 'flagged', 'left_out', 'undecided', 'decided'"):
        review.choose("bad")


def test_lists_hold_what_they_say(review, study):
    first, second = review.keys[:2]
    review.reject("not a jump")
    review.next()
    review.move("onset", review.jump.events["onset"] - 0.01, reason="early")
    assert review.choose("left_out") == 1
    assert review.keys == (first,)
    assert review.choose("decided") == 2
    assert review.keys == (first, second)
    flagged = review.study.measure()["flags"] != ""
    assert review.choose("flagged") == int(flagged.sum())
    assert not set(review.keys) < {first, second}
    assert review.choose("undecided") == review.choose("flagged") - 2
    assert review.choose("all") == len(study.measure())
    assert set(WHICH_JUMPS) == {"all", "flagged", "left_out", "undecided", "decided"}


def test_an_empty_list_says_what_to_choose(review):
    assert review.choose("left_out") == 0
    with pytest.raises(ArgumentError, match="no jump of this study is 'left out'; choose another"):
        review.next()


def test_the_list_stays_while_one_decides(review):
    review.choose("undecided")
    before = review.keys
    review.accept("fine")
    assert review.keys == before


# ---- verdicts ------------------------------------------------------------------------------


def test_accept_reject_undo_are_written_at_once(review, study):
    key = review.keys[0]
    assert review.status() == "Counts: no rule against it."
    assert review.reject(REASON, "B2") == (
        f"Does not count: rejected by B2 ({REASON}); the rules would use it."
    )
    assert len(_rows(study)) == 1
    again = cj.Study.open(study.folder)
    assert again.decisions["reason"].to_list() == [REASON]
    assert again.decisions["who"].to_list() == ["B2"]
    table = again.measure()
    assert not table.loc[table["file"] == key[0], "accepted"].any()
    review.accept("seen again")
    assert review.row["accepted"]
    review.undo("both were wrong")
    assert review.status() == "Counts: no rule against it."
    assert review.log["action"].to_list() == ["reject", "accept", "undo"]
    assert len(_rows(study)) == 3


def test_a_decision_needs_reason_and_person(review, study):
    with pytest.raises(ArgumentError, match="reason: a decision needs it"):
        review.accept("  ")
    with pytest.raises(ArgumentError, match="who: a decision needs it"):
        cj.Review(study).reject("x")
    with pytest.raises(ArgumentError, match="reason: a decision needs it"):
        review.move("onset", review.jump.events["onset"] - 0.01, reason="")
    assert _rows(study) == []


def test_undo_of_nothing_writes_nothing(review, study):
    with pytest.raises(ArgumentError, match="has no verdict to take back"):
        review.undo("x")
    with pytest.raises(ArgumentError, match="has no move of onset to take back"):
        review.undo("x", "onset")
    with pytest.raises(ArgumentError, match="event: found 'jump'"):
        review.undo("x", "jump")
    assert _rows(study) == []


# ---- moving --------------------------------------------------------------------------------


def test_effect_is_what_measure_says_and_writes_nothing(review, study):
    jump = review.jump
    at = jump.events["onset"] - 0.02
    effect = review.effect("onset", at, metrics=["jump_height_m", "time_to_takeoff_s"])
    again = cj.measure(jump.recording, study.method, events={"onset": at})
    assert effect["before"].to_list() == [jump.metrics[m] for m in effect["metric"]]
    assert effect["after"].to_list() == [again.metrics[m] for m in effect["metric"]]
    by_name = effect.set_index("metric")
    assert by_name.loc["time_to_takeoff_s", "difference"] == pytest.approx(0.02)
    assert by_name.loc["jump_height_m", "difference"] != 0
    assert _rows(study) == []
    assert review.jump.events == jump.events


def test_move_is_recorded_as_such_and_reaches_the_tables(review, study):
    at = review.jump.events["onset"] - 0.02
    before = float(review.row["time_to_takeoff_s"])
    effect = review.move("onset", at, reason="arms first")
    assert review.row["moved_events"] == "onset"
    assert float(review.row["time_to_takeoff_s"]) == pytest.approx(before + 0.02)
    assert review.jump.events["onset"] == pytest.approx(at)
    assert review.jump.detected["onset"] == pytest.approx(at + 0.02)
    assert "event_moved" in review.flags["code"].to_list()
    assert "moved by hand: onset" in review.status()
    assert review.effect()["difference"].to_list() == effect["difference"].to_list()
    second = review.move("takeoff", review.jump.events["takeoff"] + 0.004, reason="late")
    assert second.set_index("metric").loc["time_to_takeoff_s", "difference"] == pytest.approx(0.004)
    assert review.row["moved_events"] == "onset;takeoff"
    review.undo("the rules were right", "onset")
    assert review.row["moved_events"] == "takeoff"
    assert float(review.row["time_to_takeoff_s"]) == pytest.approx(before + 0.004, abs=1e-4)
    assert [r.split(",")[2] for r in _rows(study)] == ["move", "move", "undo"]


def test_a_move_that_cannot_be_is_refused_before_anything_is_written(review, study):
    jump = review.jump
    with pytest.raises(ArgumentError, match="found 99 s"):
        review.move("onset", 99, reason="x")
    with pytest.raises(ArgumentError, match="event: found 'zero_velocity'"):
        review.move("zero_velocity", 1.0, reason="x")
    with pytest.raises(JumpError, match=r"onset at .* leaves no jump height: "):
        review.move("onset", jump.events["takeoff"] - 0.001, reason="x")
    with pytest.raises(ArgumentError, match=r"take-off .* must come before landing"):
        review.move("takeoff", jump.events["landing"] + 0.05, reason="x")
    with pytest.raises(ArgumentError, match="a time in seconds is needed to move onset"):
        review.effect("onset")
    with pytest.raises(ArgumentError, match="metrics: found 'hight'"):
        review.effect("onset", jump.events["onset"], metrics=["hight"])
    assert _rows(study) == []


def test_effect_in_words_has_units_and_signs(review):
    at = review.jump.events["onset"] - 0.02
    words = {w[0]: w[3] for w in effect_in_words(review.effect("onset", at))}
    assert words["Time to take-off"] == "+20.0 ms"
    assert words["RSImod"].startswith("−")


# ---- what there is to see ------------------------------------------------------------------


def test_flags_are_those_of_the_study_worst_first(review, study):
    flags = review.flags
    checks = study.checks
    mine = checks[(checks["file"] == review.file) & (checks["jump"] == review.number)]
    mine = mine[mine["status"].isin(["note", "warn", "fail"])]
    assert sorted(flags["code"]) == sorted(mine["code"])
    order = flags["status"].map({"fail": 0, "warn": 1, "note": 2}).to_list()
    assert order == sorted(order)
    assert (flags["reason"] != "").all()


def test_a_file_that_cannot_be_read_is_said_and_can_be_paged_past(tmp_path):
    study = kit_study(tmp_path, sessions=("base1", "post"), athletes=2)
    file = study.files["file"].iloc[0]
    (study.folder / "recordings" / file).write_text("nothing\n", encoding="utf-8")
    review = cj.Review(study.reload(), who="T1")
    review.find(file)
    assert review.jump is None
    assert review.trouble
    assert review.status().startswith("Cannot be used: ")
    with pytest.raises(JumpError):
        review.figure()
    with pytest.raises(JumpError):
        review.effect()
    review.reject("file is empty")
    assert review.next() is not None


def test_figure_is_the_figure_of_the_jump(review):
    picture = review.figure()
    assert "Athlete A00" in picture.alt_text
    assert math.isfinite(review.jump.metrics["jump_height_m"])
