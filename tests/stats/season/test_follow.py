"""A squad followed through a season: by hand, on exact truth, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import special

import cmjlab as cj

METRIC = "jump_height_m"
ROLES = {"s1": "baseline", "s2": "baseline", "w1": "monitoring", "w2": "monitoring", "end": "post"}


def season(values: dict[str, list[float]], roles: dict[str, str] | None = None) -> pd.DataFrame:
    """Return a table from one list per athlete, in the order of the sessions; nan: not tested."""
    roles = roles or ROLES
    rows = [
        {"athlete": a, "session": s, "role": roles[s], METRIC: v}
        for a, mine in values.items()
        for s, v in zip(roles, mine, strict=True)
        if math.isfinite(v)
    ]
    table = pd.DataFrame(rows)
    table["session"] = pd.Categorical(table["session"], list(roles), ordered=True)
    return table


def squad(**special_athletes: list[float]) -> pd.DataFrame:
    """Return eight steady athletes with a typical error of exactly 1 cm, and others."""
    steady = {}
    for i in range(8):
        level, off = 0.30 + 0.01 * i, 0.01 / math.sqrt(2) * (1 if i % 2 else -1) * math.sqrt(7 / 8)
        steady[f"A{i}"] = [level - off, level + off, level, level, level]
    return season({**steady, **special_athletes})


def test_level_noise_and_limits_by_hand():
    result = cj.follow(squad(), METRIC)
    assert result.kind == "follow"
    assert result.settings["stable"] == ["s1", "s2"]
    assert result.settings["weeks"] == ["w1", "w2"]
    # Residual of athletes and sessions: eight differences of ±2·off, mean 0; TE² = Σd² / 2 / 7.
    assert result.value("typical_error") == pytest.approx(0.01, rel=1e-9)
    row = result.row("week_difference", athlete="A3", session="w1")
    assert row["estimate"] == pytest.approx(0.0, abs=1e-12)
    assert row["level"] == pytest.approx(0.98)
    half = special.stdtrit(7, 0.99) * 0.01 * math.sqrt(1.5)
    assert row["ci_high"] == pytest.approx(half, rel=1e-9)
    points = result.points["weeks"]
    assert (points["stable_weeks"] == 2).all()
    assert len(points) == 16
    assert (points["alarm"] == "").all()


def test_a_lasting_drop_is_concluded_and_one_poor_week_only_alarms():
    fallen = [0.40, 0.40, 0.32, 0.32, 0.40]
    poor = [0.40, 0.40, 0.40, 0.365, 0.40]
    result = cj.follow(squad(B1=fallen, B2=poor), METRIC)
    points = result.points["weeks"].set_index(["athlete", "session"])
    assert points.loc[("B1", "w1"), "alarm"] == "below"
    assert points.loc[("B1", "w2"), "conclusion"] == "below"
    assert points.loc[("B1", "w2"), "mean"] == pytest.approx(0.3 * -0.08 + 0.7 * 0.3 * -0.08)
    assert points.loc[("B2", "w2"), "alarm"] == "below"
    assert points.loc[("B2", "w2"), "conclusion"] == ""
    assert points.loc[("A0", "w2"), "alarm"] == ""
    texts = [str(s) for s in result.sentences]
    assert any("B1: below the own level since" in t for t in texts)
    assert not any("B2: below" in t for t in texts)
    assert any("B1 and B2 below the weekly limits, of 10 athletes" in t for t in texts)


def test_a_missed_week_is_named_and_the_next_counts_as_the_next_look():
    result = cj.follow(squad(B1=[0.4, 0.4, math.nan, 0.4, 0.4]), METRIC)
    assert result.points["missing"].to_dict("records") == [
        {"metric": METRIC, "athlete": "B1", "session": "w1"}
    ]
    points = result.points["weeks"]
    assert points.loc[points["athlete"] == "B1", "look"].tolist() == [1]


def test_fewer_stable_weeks_widen_the_limits():
    result = cj.follow(squad(B1=[math.nan, 0.4, 0.4, 0.4, 0.4]), METRIC)
    points = result.points["weeks"].set_index(["athlete", "session"])
    ratio = points.loc[("B1", "w1"), "alarm_half"] / points.loc[("A0", "w1"), "alarm_half"]
    assert ratio == pytest.approx(math.sqrt(2 / 1.5))
    assert points.loc[("B1", "w2"), "mean_half"] > points.loc[("A0", "w2"), "mean_half"]


def test_who_has_no_stable_week_is_named():
    result = cj.follow(squad(B1=[math.nan, math.nan, 0.4, 0.4, 0.4]), METRIC)
    (note,) = [n for n in result.notes if n.code == "season_no_level"]
    assert note.values["athletes"] == ["B1"]
    assert "B1" not in set(result.points["weeks"]["athlete"])


def test_training_weeks_never_make_the_noise():
    """Weeks that swing wildly leave typical error and levels as they were."""
    calm, wild = squad(), squad()
    weeks = wild["session"].isin(["w1", "w2", "end"])
    wild.loc[weeks, METRIC] += np.random.default_rng(1).normal(0, 0.1, int(weeks.sum()))
    for statistic in ("typical_error",):
        assert cj.follow(calm, METRIC).value(statistic) == cj.follow(wild, METRIC).value(statistic)
    table = squad().assign(role="monitoring")
    with pytest.raises(cj.StatsError, match="no session is known to be stable"):
        cj.follow(table, METRIC)


def test_declared_stable_weeks_and_given_noise():
    table = squad()
    result = cj.follow(table, METRIC, stable=["end"], reliability={METRIC: (0.012, 20.0)})
    assert result.value("typical_error") == 0.012
    assert "season_noise_given" in [n.code for n in result.notes]
    with pytest.raises(cj.StatsError, match="at least 5 are needed"):
        cj.follow(table, METRIC, stable=["end"])
    with pytest.raises(cj.StatsError, match="also named as stable"):
        cj.follow(table, METRIC, stable=["s1", "w1"], weeks=["w1"])
    with pytest.raises(cj.StatsError, match="there is no session 'w9'"):
        cj.follow(table, METRIC, weeks=["w9"])


def test_no_week_is_an_error_with_what_to_do():
    roles = {"s1": "baseline", "s2": "baseline", "end": "post"}
    table = season({f"A{i}": [0.3, 0.31 + 0.001 * i, 0.3] for i in range(8)}, roles)
    with pytest.raises(cj.StatsError, match="Give sessions the role monitoring"):
        cj.follow(table, METRIC)


def test_more_weeks_than_planned_are_told():
    result = cj.follow(squad(), METRIC, settings=cj.FollowSettings(looks=1))
    (note,) = [n for n in result.notes if n.code == "season_longer"]
    assert result.settings["looks"] == 2
    assert note.values == {"weeks": 2, "looks": 1}


def test_a_week_that_is_off_for_the_whole_squad_is_seen():
    table = squad()
    table.loc[table["session"] == "w2", METRIC] -= 0.02
    result = cj.follow(table, METRIC)
    assert result.value("squad_difference", session="w2") == pytest.approx(-0.02)
    assert result.value("squad_difference", session="w1") == pytest.approx(0.0, abs=1e-12)


def test_fewer_jumps_are_named():
    table = squad().assign(n_jumps=3)
    table.loc[(table["athlete"] == "A1") & (table["session"] == "w1"), "n_jumps"] = 1
    (note,) = [n for n in cj.follow(table, METRIC).notes if n.code == "season_few_jumps"]
    assert note.values["cells"] == ["A1 (w1)"]


def test_all_words_can_be_said():
    result = cj.follow(squad(B1=[0.4, 0.4, 0.3, 0.39, 0.4], B2=[0.4, 0.4, 0.5, 0.5, 0.5]), METRIC)
    for phrase in (*result.sentences, *result.notes):
        text = str(phrase)
        assert text
        assert "{" not in text
    assert result.rows("season_mean")["text"].notna().all()
    assert result.table["method"].notna().all()


def test_a_running_sum_beyond_its_limit_is_a_hint():
    """Many stable weeks and a small lasting shift: the sum passes first, and says that it is a hint."""
    roles = {f"s{i}": "baseline" for i in range(6)} | {f"w{i}": "monitoring" for i in range(12)}
    random = np.random.default_rng(3)
    values = {
        f"A{i}": [0.3 + 0.01 * i + 0.01 * float(z) for z in random.standard_normal(18)]
        for i in range(8)
    }
    hints = []
    for step in range(60):
        shift = 0.0005 * step
        values["B1"] = [0.4, 0.41, 0.39, 0.4, 0.41, 0.39, *[0.4 - shift] * 12]
        found = cj.follow(season(values, roles), METRIC)
        mine = found.points["weeks"].query("athlete == 'B1'").iloc[-1]
        texts = [str(s) for s in found.sentences if s.values.get("athlete") == "B1"]
        told = any("A hint and no conclusion" in t for t in texts)
        assert told == (mine["sum_side"] == "below" and mine["conclusion"] == "")
        hints.append(told)
    assert any(hints)
    assert not hints[0]
