"""Settings: validation in one wording, keys that are the same in every process."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass

import pytest

from cmjlab.errors import ArgumentError
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.plan import Plan, Selection
from cmjlab.settings import Settings, setting


@dataclass(frozen=True, eq=False)
class Inner(Settings):
    limit_n: float = setting(5.0, "a limit", unit="N", low=0.0, high=10.0)


@dataclass(frozen=True, eq=False)
class Outer(Settings):
    rule: str = setting("one", "a rule", allowed=("one", "two"))
    count: int = setting(3, "a count", low=1, high=5)
    names: tuple[str, ...] = setting((), "names")
    inner: Inner = setting(Inner(), "nested")


def test_all_problems_are_named_at_once():
    with pytest.raises(ArgumentError) as caught:
        Outer(rule="tow", count=9)
    text = str(caught.value)
    assert "rule: found 'tow', allowed are 'one', 'two' (did you mean 'two'?)" in text
    assert "count: found 9, allowed is 1 to 5" in text


def test_unknown_name_lists_the_settings():
    with pytest.raises(ArgumentError, match=r"no setting 'rul'.*Did you mean 'rule'"):
        Outer.from_dict({"rul": "one"})


@pytest.mark.parametrize("value", [True, "3", None, float("nan"), 2.5])
def test_a_count_is_a_whole_number(value):
    with pytest.raises(ArgumentError, match="count"):
        Outer(count=value)


def test_round_trip_and_key():
    outer = Outer(rule="two", names=["a", "b"], inner={"limit_n": 2})
    assert outer.inner.limit_n == 2.0
    assert Outer.from_dict(outer.to_dict()) == outer
    assert hash(Outer.from_dict(outer.to_dict())) == hash(outer)
    assert outer != Outer()
    assert outer.replace(count=4).count == 4
    assert outer.key != outer.replace(inner={"limit_n": 3}).key


def test_key_is_the_same_in_another_process():
    code = "from cmjlab.method import Method; print(Method(onset_sd=4.5).key)"
    command = [sys.executable, "-c", code]
    other = subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    assert other == Method(onset_sd=4.5).key


@pytest.mark.parametrize("kind", [Method, Plan, Layout])
def test_every_setting_is_documented(kind):
    for row in kind.describe():
        assert row["help"], row["name"]
        assert row["source"], row["name"]


def test_selection_needs_metrics_and_session():
    with pytest.raises(ArgumentError, match="both metrics and session"):
        Selection(("jump_height_m",))
    plan = Plan(groups_formed="selected", selected_on=("jump_height_m",), selected_in="base1")
    assert plan.assignment == Selection(("jump_height_m",), "base1")
    assert Plan().assignment == "other"
    with pytest.raises(ArgumentError, match="selected_on and selected_in"):
        Plan(groups_formed="selected")
