"""What is made when it is first read: made once, and only then; copies and pickles hold all of it."""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError, replace

import pandas as pd
import pytest

from cmjlab.later import Later, Tables
from cmjlab.results import Result, Sentence

SAID = (Sentence("a.b", "jump_height_m"),)


class Counted:
    """Makes a value and counts how often."""

    def __init__(self, value):
        self.value, self.times = value, 0

    def __call__(self):
        self.times += 1
        return self.value


@pytest.fixture
def parts():
    return Counted(SAID), Counted(pd.DataFrame({"x": [1, 2]}))


def _result(parts) -> Result:
    said, points = parts
    return Result(
        "kind", pd.DataFrame({"n": [3]}), {"points": Later(points)}, sentences=Later(said)
    )


def test_nothing_is_made_before_it_is_read(parts):
    result = _result(parts)
    assert list(result.points) == ["points"]
    assert "points" in result.points
    assert len(result.points) == 1
    assert result.points.get("other") is None
    assert [p.times for p in parts] == [0, 0]


def test_it_is_made_once_and_reads_as_what_it_is(parts):
    result = _result(parts)
    assert result.sentences == SAID
    assert result.sentences is result.sentences
    assert result.sentences_about("jump_height_m") == SAID
    assert result.points["points"] is result.points["points"]
    assert [p.times for p in parts] == [1, 1]


def test_a_result_with_other_notes_shares_what_is_made(parts):
    first = _result(parts)
    second = replace(first, notes=())
    assert second.points["points"] is first.points["points"]
    assert second.sentences is first.sentences
    assert [p.times for p in parts] == [1, 1]


@pytest.mark.parametrize(
    "again", [copy.copy, copy.deepcopy, lambda r: pickle.loads(pickle.dumps(r))]
)
def test_copies_and_pickles_hold_everything(parts, again):
    other = again(_result(parts))
    assert other.sentences == SAID
    pd.testing.assert_frame_equal(other.points["points"], pd.DataFrame({"x": [1, 2]}))
    pd.testing.assert_frame_equal(other.table, pd.DataFrame({"n": [3]}))


def test_plain_values_and_no_values_work_as_before():
    assert Result("kind", pd.DataFrame()).sentences == ()
    assert Result("kind", pd.DataFrame(), sentences=SAID).sentences == SAID
    with pytest.raises(FrozenInstanceError):
        Result("kind", pd.DataFrame()).sentences = ()


def test_tables_put_together_stay_unmade(parts):
    _, points = parts
    tables = Tables({"a": Later(points)}) | {"b": pd.DataFrame()}
    assert list(tables) == ["a", "b"]
    assert repr(tables) == "Tables(a, b)"
    assert points.times == 0
    with pytest.raises(KeyError):
        tables["c"]
    with pytest.raises(TypeError):
        tables["a"] = pd.DataFrame()
