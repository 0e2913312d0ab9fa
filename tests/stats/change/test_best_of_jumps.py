"""Best jumps are compared over equally many jumps, in every statistic of change."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj

HEIGHT = "jump_height_m"


def jumps(before=3, after=6, athletes=2000, seed=5):
    """Return jumps of athletes who did not change, with more of them in the later session."""
    rng = np.random.default_rng(seed)
    who = np.repeat([f"A{i:04d}" for i in range(athletes)], before + after)
    level = np.repeat(rng.normal(0.35, 0.04, athletes), before + after)
    return pd.DataFrame(
        {
            "athlete": who,
            "group": [("a", "b")[int(w[-1]) % 2] for w in who],
            "session": np.tile(["pre"] * before + ["post"] * after, athletes),
            HEIGHT: level + rng.normal(0, 0.02, len(who)),
        }
    )


@pytest.mark.parametrize("how", ["best", "best_n_mean"])
def test_more_jumps_are_no_change(how):
    """3 jumps, then 6, no change: taken from all, the best would rise by (1.267 − 0.846)·2 cm
    = 0.84 cm (order statistics; Harter 1961, Biometrika 48:151)."""
    sessions = cj.summarise_sessions(jumps(), how)
    assert set(sessions["n_compared"]) == {3}
    assert set(sessions["summary"]) == {how}
    result = cj.change_within(sessions, HEIGHT, before="pre", after="post")
    change = result.value("mean_change")
    assert abs(change) < 4 * result.value("mean_change", "se") < 0.003
    note = next(n for n in result.notes if n.code == "best_of_equal_jumps")
    assert "A0000 (3 of up to 6 jumps)" in note.text


def test_the_first_jumps_of_each_athlete_are_taken_and_the_mean_takes_all():
    table = pd.DataFrame(
        {
            "athlete": ["A"] * 5 + ["B"] * 6,
            "session": ["pre"] * 2 + ["post"] * 3 + ["pre"] * 3 + ["post"] * 3,
            HEIGHT: [0.30, 0.31, 0.32, 0.30, 0.40, 0.3, 0.3, 0.4, 0.3, 0.3, 0.5],
        }
    )
    best = cj.summarise_sessions(table, "best").set_index(["athlete", "session"])
    assert best.loc[("A", "post"), HEIGHT] == 0.32
    assert best.loc[("B", "post"), HEIGHT] == 0.5
    assert best["n_compared"].to_dict() == {
        ("A", "pre"): 2, ("A", "post"): 2, ("B", "pre"): 3, ("B", "post"): 3,
    }  # fmt: skip
    mean = cj.summarise_sessions(table).set_index(["athlete", "session"])
    assert mean.loc[("A", "post"), HEIGHT] == pytest.approx(0.34)
    assert "n_compared" not in mean


def two_tables():
    """Return a table put together from sessions that were summarised apart."""
    all_jumps = jumps(athletes=12)
    parts = [
        cj.summarise_sessions(all_jumps[all_jumps["session"] == s], "best") for s in ("pre", "post")
    ]
    return pd.concat(parts, ignore_index=True)


def calls(table):
    """Return every function that compares sessions, ready to be called."""
    pair = {"before": "pre", "after": "post"}
    return {
        "within": lambda: cj.change_within(table, HEIGHT, **pair),
        "between": lambda: cj.change_between(table, HEIGHT, **pair),
        "mixed": lambda: cj.change_mixed(table, HEIGHT, order=["pre", "post"]),
        "individual": lambda: cj.change_individual(
            table, HEIGHT, **pair, reliability={HEIGHT: (0.01, 20)}
        ),
        "follow": lambda: cj.follow_athlete(
            table, HEIGHT, athlete="A0001", baseline="pre", reliability={HEIGHT: (0.01, 20)}
        ),
    }


@pytest.mark.parametrize("name", ["within", "between", "mixed", "individual", "follow"])
def test_best_of_unequal_numbers_are_refused_by_name(name):
    with pytest.raises(cj.StatsError, match=r"A000\d \(3 and 6 jumps\).*summarise_sessions once"):
        calls(two_tables())[name]()


@pytest.mark.parametrize("name", ["within", "between", "mixed", "individual"])
def test_the_cut_is_said_in_a_note(name):
    result = calls(cj.summarise_sessions(jumps(athletes=12), "best"))[name]()
    assert result.has_note("best_of_equal_jumps")
    assert HEIGHT in set(result.table["metric"])
    assert "n_compared" not in set(result.table["metric"])
