"""Whole curves through raw force: a change put into braking is found there, and nothing else is."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import cmjlab as cj
from cmjlab.simulate.profile import exact_force
from cmjlab.stats.curves.max_t import two_groups

G = 9.80665


def exact_curve(made, points: int) -> np.ndarray:
    """Return the exact force per body mass of a simulated jump, each phase from 0 to 100 %."""
    names = ("onset", "peak_downward_velocity", "zero_velocity", "takeoff")
    edges = [made.events[n] for n in names]
    at = np.concatenate([np.linspace(a, b, points) for a, b in zip(edges, edges[1:], strict=False)])
    # a hair inside the plate's contact: at take-off itself the force jumps to zero
    return (
        exact_force(made.profile, np.minimum(at - edges[0], edges[-1] - edges[0] - 1e-6))
        / made.profile.mass_kg
    )


def exact_change(made: dict, athletes: list[str], points: int) -> np.ndarray:
    """Return the true mean change base2 to post of some athletes."""

    def mean(session):
        own = [
            [exact_curve(m, points) for n, m in made.items() if f"{a}_ses-{session}" in n]
            for a in athletes
        ]
        return np.mean([np.mean(x, axis=0) for x in own], axis=0)

    return mean("post") - mean("base2")


def test_the_change_along_the_curve_is_that_of_the_simulated_jumps(changed, found):
    _, made = changed
    for group, first in (("quick", 1), ("usual", 8)):
        within = found.points["within"]
        ours = within.loc[within["first"] == group, "estimate"].to_numpy()
        truth = exact_change(made, [f"A{i:02d}" for i in range(first, first + 7)], 51)
        assert np.abs(ours - truth).max() < 0.5  # at the steep parts; elsewhere much closer
        assert np.sqrt(np.mean((ours - truth) ** 2)) < 0.12
    quick = exact_change(made, [f"A{i:02d}" for i in range(1, 8)], 51)
    assert np.abs(quick).max() > 2.0  # what was put in is there to be found


def test_more_force_is_found_in_braking_and_none_in_the_first_half_of_unweighting(found):
    cases = found.rows("curve_stretch", first="quick", second="usual")
    where = [json.loads(v) for v in cases["word_values"]]
    phases = [w["phase"] for w in where]
    assert "braking" in phases
    braking = cases.iloc[phases.index("braking")]
    assert braking["estimate"] > 0
    assert where[phases.index("braking")]["end"] == 100
    assert not [w for w in where if w["phase"] == "unweighting" and w["start"] < 50]
    said = str(found.sentences[0])
    assert "quick compared with usual (n = 7 and 7): the changes differ by" in said
    assert "more force in the last" in said
    assert "% of braking" in said


def test_without_a_change_no_stretch_is_found(nothing):
    assert nothing.rows("curve_stretch").empty
    assert (nothing.rows("curve_largest_t")["p"] > 0.05).all()
    assert "the band of the difference includes zero everywhere" in str(nothing.sentences[0])
    assert nothing.points["between"]["outside"].sum() == 0


def test_rows_are_those_of_the_kernel_on_the_mean_curves(changed, found):
    study, _ = changed
    curves = study.curves("force_per_kg", points=51, each_phase=True)
    curves["at"] = curves.groupby(["file", "jump"]).cumcount()
    means = (
        curves.groupby(["athlete", "session", "at"], observed=True)["value"].mean().unstack("at")
    )
    change = means.xs("post", level="session") - means.xs("base2", level="session")
    names = [f"A{i:02d}" for i in range(1, 15)]
    change = change.loc[names].to_numpy()
    band = two_groups(change[:7], change[7:], 0.95)
    row = found.row("curve_largest_t", first="quick", second="usual")
    assert row["estimate"] == pytest.approx(band.largest)
    assert row["p"] == band.p_any
    drawn = found.points["between"]
    np.testing.assert_allclose(drawn["estimate"], band.estimate, atol=1e-10)
    np.testing.assert_allclose(drawn["low"], band.limits[0], atol=1e-10)
    t = stats.ttest_ind(change[:7], change[7:], equal_var=False).statistic
    there = drawn["t"].notna().to_numpy()
    np.testing.assert_allclose(drawn["t"][there], t[there], rtol=1e-8)


def test_a_stretch_is_the_mean_over_its_points_with_the_means_of_the_limits(found):
    row = found.rows("curve_stretch", first="quick", second="usual").iloc[-1]
    place = json.loads(row["word_values"])
    band = found.points["between"]
    mine = band[
        (band["phase"] == place["phase"])
        & band["percent"].between(place["start"] - 1e-6, place["end"] + 1e-6)
    ]
    assert mine["outside"].all()
    assert row["estimate"] == pytest.approx(mine["estimate"].mean())
    assert row["ci_low"] == pytest.approx(mine["low"].mean())
    assert row["p"] == mine["p"].min()
    assert row["unit"] == "N/kg"


def test_each_athlete_who_gained_leaves_the_noise_and_few_others_do(found):
    beyond = found.rows("curve_athlete_largest")
    beyond = beyond.loc[beyond["remark_code"] == "curve_beyond_noise", "athlete"]
    gained = {f"A{i:02d}" for i in range(1, 8)}
    assert len(gained & set(beyond)) >= 6
    assert len(set(beyond) - gained) <= 2
    said = str(found.sentences[-1])
    assert f"{len(beyond)} of 14 athletes leave the noise of their own curve: A01 (" in said


def test_noise_is_that_of_the_baselines(changed, found):
    study, _ = changed
    used = study.curves("force_per_kg", points=51, each_phase=True)
    used = used[used["session"].isin(["base1", "base2"])]
    used["at"] = used.groupby(["file", "jump"]).cumcount()
    means = (
        used.groupby(["at", "athlete", "session"], observed=True)["value"].mean().unstack("session")
    )
    difference = (means["base2"] - means["base1"]).unstack("at")
    noise = found.points["noise"]
    np.testing.assert_allclose(
        noise["typical_error"], difference.std() / np.sqrt(2), rtol=1e-9, atol=1e-12
    )
    rows = found.rows("curve_typical_error")
    assert (rows["df"] == 13).all()
    squares = noise.assign(s=noise["typical_error"] ** 2).groupby("phase", sort=False)["s"].mean()
    np.testing.assert_allclose(rows["estimate"], np.sqrt(squares))


def test_percent_of_a_phase_is_the_same_place_for_everybody(changed):
    study, _ = changed
    curves = study.curves("velocity", points=11, each_phase=True)
    assert (curves.groupby(["file", "jump", "phase"]).size() == 11).all()
    lowest = curves[(curves["phase"] == "braking") & (curves["percent"] == 100)]
    assert np.abs(lowest["value"]).max() < 1e-6
    fastest = curves[(curves["phase"] == "unweighting") & (curves["percent"] == 100)]
    whole = study.curves("velocity", points=501).groupby("file")["value"].min()
    np.testing.assert_allclose(
        fastest.set_index("file")["value"].sort_index(), whole.sort_index(), atol=0.01
    )


def test_groups_and_what_may_be_concluded(nothing, found, changed):
    assert nothing.has_note("curves_groups_random")
    assert found.has_note("curves_groups_other")
    study, _ = changed
    plan = study.plan.replace(
        groups_formed="selected", selected_on=("jump_height_m",), selected_in="base1"
    )
    selected = study.with_choices(plan=plan)
    clean = selected.compare_curves()
    assert clean.has_note("curves_selected_elsewhere")
    assert clean.rows("curve_largest_t")["remark_code"].isna().all()
    biased = selected.compare_curves(before="base1")
    assert biased.has_note("curves_selected_here")
    compared = biased.rows("curve_largest_t", first="quick")
    assert compared["remark_code"].tolist() == ["comparison_only"]


@pytest.mark.parametrize(
    ("choice", "text"),
    [
        ({"quantity": "forces"}, "Did you mean 'force'"),
        ({"before": "base3"}, "there is no session 'base3'"),
        ({"before": "post"}, "a change needs two sessions"),
        ({"control": "usuall"}, "Did you mean 'usual'"),
        ({"level": 2}, "level"),
    ],
)
def test_what_the_study_does_not_have_is_refused(changed, choice, text):
    with pytest.raises(cj.CmjlabError, match=text):
        cj.compare_curves(changed[0], **choice)
    with pytest.raises(cj.ArgumentError, match="points"):
        cj.compare_curves(changed[0], points=3)


@pytest.fixture
def own(changed, tmp_path):
    """Return a copy of the changed study to spoil."""
    folder = tmp_path / "own"
    shutil.copytree(changed[0].folder, folder, ignore=shutil.ignore_patterns("results"))
    return folder


def test_whoever_is_left_out_is_named_with_the_reason(own):
    recordings = own / "recordings"
    for path in recordings.glob("sub-A02_ses-post*"):
        path.unlink()
    for path in recordings.glob("sub-A03_ses-base2*"):  # standing only: no jump
        lines = path.read_text().splitlines()
        path.write_text("\n".join(lines[:700]) + "\n")
    roster = (own / "athletes.csv").read_text().replace("A09,usual", "A09,")
    (own / "athletes.csv").write_text(roster)
    result = cj.Study.open(own).compare_curves()
    out = result.points["left_out"].set_index("athlete")["reason_code"].to_dict()
    assert out == {"A02": "curve_not_tested", "A03": "curve_none_accepted", "A09": "curve_no_group"}
    said = next(n.text for n in result.notes if n.code == "left_out")
    assert "A02 (not tested in post), A03 (no accepted jump in base2) and A09 (in no group)" in said
    assert result.row("curve_largest_t", group="quick")["n"] == 5
    with pytest.raises(cj.StatsError, match="A02.*not tested in post"):
        result.plot("athlete", athlete="A02")


def test_a_group_of_one_is_not_compared_and_says_why(own):
    roster = (own / "athletes.csv").read_text().replace("A01,quick", "A01,alone")
    (own / "athletes.csv").write_text(roster)
    result = cj.Study.open(own).compare_curves()
    row = result.row("curve_largest_t", group="alone")
    assert row["reason_code"] == "few_for_curves"
    assert np.isnan(row["estimate"])
    assert "fewer than 2 athletes of alone" in row["text"]
    assert any("fewer than 2 athletes of alone" in str(s) for s in result.sentences)
    assert result.rows("curve_largest_t", first="quick", second="usual")["p"].notna().all()
    assert result.has_note("curves_several")


def test_few_athletes_have_no_band_and_hear_why(own):
    roster = (
        "athlete,group\n"
        + "".join(f"A{i:02d},quick\n" for i in range(1, 5))
        + "A08,usual\nA09,usual\n"
    )
    (own / "athletes.csv").write_text(roster)
    for path in (own / "recordings").iterdir():
        if path.name[4:7] not in roster:
            path.unlink()
    result = cj.Study.open(own).compare_curves()
    assert result.row("curve_largest_t", group="quick")["p"] == 1 / 8
    said = next(str(s) for s in result.sentences if s.group == "quick")
    assert "with so few athletes no p value below 0.12 can come out" in said
    assert result.points["within"]["low"].isna().all()
    assert result.plot().alt_text.startswith("Mean curves of")


def test_without_groups_everybody_is_one_group(own):
    (own / "athletes.csv").unlink()
    settings = (own / "study.toml").read_text().replace('control_group = "usual"', "")
    (own / "study.toml").write_text(settings)
    result = cj.Study.open(own).compare_curves()
    assert result.points["between"].empty
    assert result.row("curve_largest_t")["n"] == 14
    assert result.has_note("no_comparison_group")
    assert str(result.sentences[0]).startswith(
        "Force per body mass, along the jump, base2 to post (n = 14)"
    )
    assert len(result.plot().axes) == 2


def test_one_baseline_gives_no_noise_of_an_athlete_but_the_groups(own):
    for path in (own / "recordings").glob("*base1*"):
        path.unlink()
    result = cj.Study.open(own).compare_curves()
    row = result.row("curve_typical_error")
    assert row["reason_code"] == "curves_no_baselines"
    assert result.rows("curve_athlete_largest").empty
    assert not result.rows("curve_stretch").empty
    assert "no athlete is read against noise, because 1 session(s) with role baseline" in str(
        result.sentences[-1]
    )


def test_nobody_with_both_sessions_is_an_error_with_reasons(own):
    for path in (own / "recordings").glob("*post*"):
        path.unlink()
    with pytest.raises(
        cj.StatsError, match="no athlete has an accepted jump .*A01: not tested in post"
    ):
        cj.Study.open(own).compare_curves()


def test_all_quantities_have_their_unit_and_words(changed):
    study, _ = changed
    units = {
        "force": "N",
        "velocity": "m/s",
        "displacement": "m",
        "acceleration": "m/s²",
        "power_per_kg": "W/kg",
    }
    for quantity, unit in units.items():
        result = study.compare_curves(quantity)
        assert set(result.rows("curve_stretch")["unit"]) <= {unit}
        assert all(str(s) for s in result.sentences)
        assert result.readable()["statistic"].str.len().min() > 0
    velocity = study.compare_curves("velocity")
    fixed = velocity.points["between"]
    lowest = fixed[(fixed["phase"] == "braking") & (fixed["percent"] == 100)]
    assert lowest["t"].isna().all()  # zero for everybody by definition


def test_the_same_study_gives_the_same_numbers(changed, found):
    again = changed[0].compare_curves("force_per_kg")
    pd.testing.assert_frame_equal(again.table, found.table)


def test_only_jumps_with_the_load_of_the_plan_count(changed):
    study, _ = changed
    loaded = study.with_choices(plan=study.plan.replace(load_kg=20.0))
    with pytest.raises(cj.StatsError, match="A01: not tested in base2"):
        loaded.compare_curves()


def test_jumps_without_the_events_are_counted(changed, monkeypatch):
    """A curve that cannot be cut into phases is left out, and a note says how many there were."""
    from cmjlab.study import curves

    study, _ = changed
    real, calls = curves._curve, []

    def without_braking(jump, quantity, bounds, n):
        calls.append(bounds)
        spoiled = len(calls) <= 4 and bounds[0] == "peak_downward_velocity"
        return None if spoiled else real(jump, quantity, bounds, n)

    monkeypatch.setattr(curves, "_curve", without_braking)
    result = study.compare_curves()
    note = next(n for n in result.notes if n.code == "curves_jumps_left_out")
    assert note.values["n"] == 1
    assert "1 accepted jump lacks an event" in note.text
