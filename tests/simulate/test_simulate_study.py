"""Simulated studies: the variation, effects and absences that were asked for come out."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from cmjlab.errors import ArgumentError
from cmjlab.simulate.design import StudySettings, athlete_ids
from cmjlab.simulate.exact import exact_metrics
from cmjlab.simulate.population import TRAITS, correlated_normals, parameters_of
from cmjlab.simulate.squad import draw_squad
from cmjlab.simulate.study import simulate_sessions, simulate_study
from cmjlab.simulate.study_truth import reliability_truth

HEIGHT = ["jump_height_m"]


def small(**changes: object) -> StudySettings:
    return StudySettings(
        groups={"strength": 2, "fast_braking": 2, "usual": 2}, quiet_before_s=0.5,
        quiet_after_s=0.2, rate_hz=250.0,
    ).replace(**changes)  # fmt: skip


def test_the_jump_has_the_wanted_traits() -> None:
    traits = np.array([[0.29, 0.30, 0.80, 0.11, 68, 1.5], [0.36, 0.27, 0.72, 0.12, 80, 1.9]])
    p = parameters_of(traits, push_exponent=np.array([6.0, 8.0]), push_dip=np.array([0.2, -0.2]))
    m = exact_metrics(p)
    for key, column in (
        ("jump_height_m", 0), ("countermovement_depth_m", 1), ("time_to_takeoff_s", 2),
        ("takeoff_rise_m", 3), ("body_mass_kg", 4),
    ):  # fmt: skip
        assert m[key] == pytest.approx(traits[:, column], rel=1e-9), key


def test_correlated_normals() -> None:
    random = np.random.default_rng(1)
    x = correlated_normals(
        {"depth": 2.0, "time": 1.0}, {"depth time": 0.5}, shape=(40_000,), random=random
    )
    depth, time = x[:, TRAITS.index("depth")], x[:, TRAITS.index("time")]
    assert np.std(depth) == pytest.approx(2.0, rel=0.02)
    assert np.corrcoef(depth, time)[0, 1] == pytest.approx(0.5, abs=0.02)
    assert np.all(x[:, TRAITS.index("height")] == 0)
    with pytest.raises(ArgumentError, match="contradict"):
        correlated_normals({}, {"depth time": 1.2}, shape=(3,), random=random)


def test_same_seed_same_study_and_the_tables_are_the_recordings() -> None:
    study = simulate_study(small(), seed=3, population=False)
    tables = simulate_sessions(small(), seed=3, metrics=HEIGHT)
    again = simulate_sessions(small(), seed=3, metrics=HEIGHT)
    pd.testing.assert_frame_equal(tables.jumps, again.jumps)
    heights = [sim.truth["jump_height_m"] for sim in study.recordings]
    assert tables.jumps["jump_height_m"].to_numpy() == pytest.approx(heights, rel=1e-12)
    who = [(s.recording.athlete, s.recording.session, s.recording.trial) for s in study.recordings]
    table_who = tables.jumps[["athlete", "session", "trial"]].astype(str).itertuples(index=False)
    assert who == [tuple(row) for row in table_who]
    assert len(study.recordings) == 6 * 3 * 3
    assert study.recordings[0].recording.plates == ("left", "right")
    assert set(study.measures["measure"]) == {"squat_1rm", "coach_rating", "attendance"}
    assert simulate_sessions(small(), seed=4, metrics=HEIGHT).jumps[HEIGHT[0]].iloc[0] != heights[0]


def test_who_is_absent_is_absent_everywhere() -> None:
    how = small(absent={"A02": "base2"}, left={"A05": "post"})
    study = simulate_study(how, seed=1, population=False)
    tested = {(s.recording.athlete, s.recording.session) for s in study.recordings}
    missing = {("A02", "base2"), ("A05", "post")}
    assert tested == {(a, s) for a in athlete_ids(6) for s in ("base1", "base2", "post")} - missing
    measured = study.measures.loc[study.measures["measure"] == "squat_1rm"]
    assert set(zip(measured["athlete"], measured["session"], strict=True)) == tested
    assert sorted(study.participation["status"]) == ["absent", "left"]
    sessions = simulate_sessions(how, seed=1, metrics=HEIGHT).sessions
    assert len(sessions) == len(tested)
    # the truth knows everybody: what an absent athlete would have been
    assert (study.truth.query("level == 'athlete' and metric == 'jump_height_m'").shape[0]) == 18


def test_groups_are_selected_on_the_first_session() -> None:
    how = StudySettings(groups={"strength": 100, "fast_braking": 100, "usual": 100})
    squad = draw_squad(how, np.random.default_rng(5))
    strength = squad.expected[:, 0, TRAITS.index("strength")]
    depth, time = (squad.expected[:, 0, TRAITS.index(t)] for t in ("depth", "time"))
    mean = {g: strength[squad.group == g].mean() for g in how.groups}
    assert mean["strength"] < mean["usual"] - 0.15
    assert abs(mean["fast_braking"] - mean["usual"]) < 0.05
    for trait in (depth, time):
        deep, usual = (trait[squad.group == g].mean() for g in ("fast_braking", "usual"))
        assert deep > 1.05 * usual
    random = draw_squad(how.replace(allocation="random"), np.random.default_rng(5))
    assert sorted(random.group) == sorted(squad.group)
    lot = random.expected[:, 0, TRAITS.index("strength")]
    means = [lot[random.group == g].mean() for g in how.groups]
    assert np.ptp(means) < 0.08


def test_effects_act_on_their_trait_in_their_group_only() -> None:
    how = StudySettings(
        groups={"trained": 200, "usual": 200}, allocation="random", learning={"height": 0.01},
        effects={"trained": {"height": 0.10}}, response_sd={"height": 0.02},
    )  # fmt: skip
    squad = draw_squad(how, np.random.default_rng(2))
    change = np.log(squad.expected[:, 1:] / squad.expected[:, :1])
    height = change[..., TRAITS.index("height")]
    trained = squad.group == "trained"
    assert height[:, 0] == pytest.approx(np.log(1.01))
    assert height[~trained, 1] == pytest.approx(np.log(1.01))
    gain = height[trained, 1] - np.log(1.01)
    assert gain.mean() == pytest.approx(np.log(1.10), abs=3 * 0.02 / 200**0.5)
    assert gain.std() == pytest.approx(0.02, rel=0.15)
    assert np.abs(change[..., TRAITS.index("depth")]).max() < 1e-12


def test_population_truth_agrees_with_the_settings() -> None:
    truth = simulate_sessions(seed=1, metrics=HEIGHT, population=True).truth
    value = truth[truth["level"] == "population"].set_index(["statistic", "group"])["value"]
    how = StudySettings()
    height = how.means["height"] * np.exp(how.between_sd["height"] ** 2 / 2)
    day, jump = how.day_sd["height"], how.jump_sd["height"]
    # lognormal: SD is mean × relative SD up to a few percent of itself
    assert value["sd_between_days", ""] == pytest.approx(height * day, rel=0.05)
    assert value["sd_between_jumps", ""] == pytest.approx(height * jump, rel=0.03)
    error = height * (day**2 + jump**2 / 3) ** 0.5
    assert value["typical_error", ""] == pytest.approx(error, rel=0.03)
    assert value["sd_between_athletes", ""] == pytest.approx(height * 0.11, rel=0.05)
    assert value["session_change", ""] == pytest.approx(height * how.learning["height"], rel=0.35)
    assert value["true_change", "strength"] == pytest.approx(
        height * how.effects["strength"]["height"], rel=0.1
    )


def test_reliability_truth_of_a_constructed_table() -> None:
    """Two athletes apart by 10, sessions apart by 1, no error: components by hand."""
    values = np.zeros((2, 2, 3))
    values[1] += 10
    values[:, 1] += 1
    out = reliability_truth(values)
    assert out["typical_error"] == 0
    assert out["session_change"] == 1
    assert out["sd_between_athletes"] == pytest.approx(50**0.5)
    assert out["icc_c1"] == 1
    assert out["icc_a1"] == pytest.approx(50 / 50.5)


def test_two_hundred_studies_are_right_on_average() -> None:
    """Typical error and group difference of 200 fresh studies, against the truth put in."""
    how = StudySettings()
    squares, differences, true_differences = [], [], []
    for seed in range(200):
        sim = simulate_sessions(how, seed=seed, metrics=HEIGHT)
        wide = sim.sessions.pivot(index="athlete", columns="session", values="jump_height_m")
        group = sim.sessions.groupby("athlete")["group"].first().astype(str)
        squares.append((wide["base2"] - wide["base1"]).var(ddof=1) / 2)
        change = (wide["post"] - wide["base2"]).groupby(group).mean()
        differences.append(change["strength"] - change["usual"])
        true = sim.truth.query(
            "level == 'group' and statistic == 'true_change_difference' and group == 'strength'"
        )
        true_differences.append(float(true["value"].iloc[0]))
    population = simulate_sessions(how, seed=0, metrics=HEIGHT, population=True).truth
    error = float(
        population.query("level == 'population' and statistic == 'typical_error'")["value"].iloc[0]
    )
    se = np.std(squares, ddof=1) / 200**0.5
    # the bar adds 2 % for the finite population behind the truth
    assert abs(np.mean(squares) - error**2) < 3.5 * se + 0.02 * error**2
    off = np.array(differences) - np.array(true_differences)
    assert abs(off.mean()) < 3.5 * off.std(ddof=1) / 200**0.5


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"groups": {"a": 3, "b": 3}}, "needs exactly three groups"),
        ({"sessions": {"one": "start"}}, "roles are baseline, mid, post"),
        ({"effects": {"nobody": {"height": 0.1}}}, "no group 'nobody'"),
        ({"day_sd": {"hight": 0.1}}, "day_sd: no trait 'hight'"),
        ({"absent": {"A01": "later"}}, "no session 'later'"),
        ({"left": {"A31": "post"}}, "left: no athlete 'A31' .they are A01 to A30"),
        ({"groups": {}}, "at least one group"),
    ],
)
def test_impossible_settings_are_refused(changes: dict[str, object], text: str) -> None:
    with pytest.raises(ArgumentError, match=text):
        StudySettings().replace(**changes)


def test_a_squad_that_is_tested_before_the_block_only_has_a_truth_without_warnings():
    """Nothing of the truth then has a later session: its columns of text stay text."""
    twice = StudySettings(sessions={"base1": "baseline", "base2": "baseline"})
    sim = simulate_sessions(twice, seed=1, metrics=["jump_height_m"])
    assert len(sim.sessions) == 60
    assert not sim.truth.drop(columns="value").isna().any().any()
