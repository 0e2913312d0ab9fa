"""Doubts: each fault put into the demo's tables is found, with whom it touches; clean tables raise none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.study.check.doubt import TOUCHES, Doubt, doubts_table
from cmjlab.study.check.doubt_numbers import beside, common_shift, odd_sessions, sign_agreement
from cmjlab.study.check.doubts import find_doubts
from cmjlab.words.catalog import read_words


@dataclass(frozen=True)
class Tables:
    """What the doubts are looked for in."""

    jumps: pd.DataFrame
    roster: pd.DataFrame
    measures: pd.DataFrame
    used: tuple[str, str]

    def with_jumps(
        self, change: Callable[[pd.DataFrame, pd.Series], pd.DataFrame | None]
    ) -> Tables:
        """Return a copy in which ``change`` had the jumps and the mask of the last session."""
        jumps = self.jumps.copy()
        changed = change(jumps, jumps["session"] == "post")
        return Tables(jumps if changed is None else changed, self.roster, self.measures, self.used)

    def doubts(self) -> tuple[Doubt, ...]:
        return find_doubts(self.jumps, self.roster, self.measures, self.used)


def _tables(study: cj.Study) -> Tables:
    return Tables(
        study.jumps_at_load(), study.athletes, study.measures, (study.before, study.after)
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Tables:
    return _tables(cj.Study.open(cj.demo_study(), tmp_path_factory.mktemp("demo")))


def only(tables: Tables) -> Doubt:
    [doubt] = tables.doubts()
    return doubt


def test_untouched_studies_raise_none(demo, tmp_path):
    assert demo.doubts() == ()
    assert _tables(cj.Study.open(cj.demo_study(mini=True), tmp_path)).doubts() == ()


def test_most_jumps_do_not_count(demo):
    def spoil(jumps, post):
        rows = jumps.index[post]
        jumps.loc[rows[: len(rows) // 2 + 1], "accepted"] = False

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.level, doubt.sessions, doubt.athletes) == (
        "most_jumps_out", "fail", ("post",), ())  # fmt: skip
    assert "44 of 87 jumps do not count" in doubt.found.text


@pytest.mark.parametrize(("stated", "real"), [(500.0, 1000.0), (2000.0, 1000.0), (1000.0, 800.0)])
def test_a_rate_that_is_stated_wrongly(demo, stated, real):
    """Every time is too long by real/stated, and every height by the square of it."""

    def spoil(jumps, post):
        factor = real / stated
        jumps.loc[~post, "rate_hz"] = real
        jumps.loc[post, "rate_hz"] = stated
        jumps.loc[post, ["flight_time_s", "time_to_takeoff_s"]] *= factor
        jumps.loc[post, "jump_height_m"] *= factor**2

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.sessions, doubt.touches) == ("rate_stated_wrong", ("post",), "plate")
    assert doubt.values["times"] == pytest.approx(real / stated, rel=0.05)


@pytest.mark.parametrize("rate", [500.0, 250.0, 2000.0])
def test_truly_different_rates_are_no_doubt(demo, rate):
    def spoil(jumps, post):
        jumps.loc[post, "rate_hz"] = rate

    assert demo.with_jumps(spoil).doubts() == ()


def test_a_wrong_rate_of_some_athletes(demo):
    def spoil(jumps, post):
        rows = post & jumps["athlete"].isin(["A03", "A04"])
        jumps.loc[rows, "rate_hz"] /= 2
        jumps.loc[rows, ["flight_time_s", "time_to_takeoff_s"]] *= 2

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.sessions, doubt.athletes) == (
        "rate_stated_wrong", ("post",), ("A03", "A04"))  # fmt: skip


def test_of_two_sessions_nobody_knows_which_rate_is_wrong(demo):
    def spoil(jumps, post):
        jumps.loc[post, "rate_hz"] /= 2
        jumps.loc[post, ["flight_time_s", "time_to_takeoff_s"]] *= 2
        return jumps[jumps["session"].isin(["base2", "post"])]

    assert only(demo.with_jumps(spoil)).sessions == ("base2", "post")


def test_no_squad_jumps_a_metre(demo):
    def spoil(jumps, post):
        jumps["jump_height_m"] *= 4

    doubts = demo.with_jumps(spoil).doubts()
    assert [(d.key, *d.sessions) for d in doubts] == [
        ("implausible", s) for s in demo.jumps["session"].cat.categories
    ]


@pytest.mark.parametrize("session", ["base1", "base2", "post"])
@pytest.mark.parametrize("factor", [0.97, 1.03])
def test_all_masses_shifted_together(demo, session, factor):
    def spoil(jumps, post):
        jumps.loc[jumps["session"] == session, "body_mass_kg"] *= factor

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.sessions, doubt.touches) == ("mass_shift", (session,), "forces")
    assert doubt.values["low"] < 100 * (factor - 1) < doubt.values["high"]


def test_a_shift_of_one_percent_is_no_doubt(demo):
    def spoil(jumps, post):
        jumps.loc[post, "body_mass_kg"] *= 1.01

    assert demo.with_jumps(spoil).doubts() == ()


def test_left_and_right_exchanged(demo):
    def spoil(jumps, post):
        columns = [c for c in jumps if c.endswith("_asymmetry_percent")]
        jumps.loc[post, columns] *= -1

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.sessions, doubt.touches) == ("sides_exchanged", ("post",), "sides")


@pytest.mark.parametrize("decimals", [None, 5], ids=["same bytes", "saved again"])
def test_one_recording_under_two_athletes(demo, decimals):
    def spoil(jumps, post):
        source = jumps.index[post & (jumps["athlete"] == "A05")][0]
        target = jumps.index[post & (jumps["athlete"] == "A09")][1]
        own = ["athlete", "session", "trial", "file", "group", "body_mass_kg"]
        columns = [c for c in jumps if c not in own]
        jumps.loc[target, columns] = jumps.loc[source, columns]
        if decimals is not None:  # other bytes, and numbers that moved a little
            jumps.loc[target, "sha256"] = "f" * 64
            numbers = jumps.select_dtypes("float").columns.difference(own)
            jumps.loc[target, numbers] *= 1.00002

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.level, doubt.sessions) == ("same_content", "fail", ("post",))
    assert doubt.athletes == ("A05", "A09")
    assert doubt.found.text == (
        "The same recording stands in two places: A05 in post, trial 1 and A09 in post, trial 2."
    )


def test_a_whole_group_without_a_session(demo):
    def spoil(jumps, post):
        return jumps[~(post & (jumps["group"] == "usual"))]

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.sessions) == ("group_missing", ("post",))
    assert doubt.values["group"] == "usual"
    assert doubt.touches_athlete(doubt.athletes[0])


def test_a_session_that_nobody_has_yet_is_no_doubt(demo):
    assert demo.with_jumps(lambda jumps, post: jumps[~post]).doubts() == ()


def _with_measures(demo: Tables, change: Callable[[pd.DataFrame, pd.Series], None]) -> Tables:
    measures = demo.measures.copy()
    change(measures, measures["measure"] == "squat_1rm")
    return Tables(demo.jumps, demo.roster, measures, demo.used)


def test_some_maxima_in_pounds(demo):
    who = ["A01", "A02", "A07", "A12", "A20"]

    def spoil(measures, maxima):
        rows = maxima & measures["athlete"].isin(who) & (measures["session"] == "base1")
        measures.loc[rows, "value"] *= 2.205

    doubt = only(_with_measures(demo, spoil))
    assert (doubt.key, doubt.athletes, doubt.touches) == ("strength_pounds", tuple(who), "strength")


def test_one_weak_athlete_does_not_put_all_others_into_pounds(demo):
    def spoil(measures, maxima):
        measures.loc[maxima & (measures["athlete"] == "A04"), "value"] /= 2.0

    assert _with_measures(demo, spoil).doubts() == ()


def test_a_maximum_that_nobody_lifts(demo):
    def spoil(measures, maxima):
        rows = maxima & (measures["athlete"] == "A04") & (measures["session"] == "post")
        measures.loc[rows, "value"] *= 10

    doubt = only(_with_measures(demo, spoil))
    assert (doubt.key, doubt.athletes, doubt.sessions) == ("strength_range", ("A04",), ("post",))


def test_two_units_of_one_measure(demo):
    def spoil(measures, maxima):
        measures.loc[maxima & (measures["athlete"] == "A04"), "unit"] = "lb"

    doubt = only(_with_measures(demo, spoil))
    assert (doubt.key, doubt.athletes) == ("strength_units", ("A04",))


def test_an_athlete_on_the_plate_is_not_the_one_of_the_roster(demo):
    def spoil(jumps, post):
        jumps.loc[post & (jumps["athlete"] == "A02"), "body_mass_kg"] *= 1.3

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.level, doubt.sessions, doubt.athletes) == (
        "mass_against_roster", "fail", ("post",), ("A02",))  # fmt: skip


def test_an_old_roster_is_a_warning(demo):
    """All sessions agree with each other: the number on the roster is the odd one."""
    roster = demo.roster.copy()
    roster.loc[roster["athlete"] == "A02", "body_mass_kg"] *= 1.3
    doubts = Tables(demo.jumps, roster, demo.measures, demo.used).doubts()
    assert {(d.key, d.level, d.athletes) for d in doubts} == {
        ("mass_against_roster", "warn", ("A02",))
    }


def test_everybody_against_the_roster(demo):
    def spoil(jumps, post):
        jumps["body_mass_kg"] *= 1.15

    doubt = only(demo.with_jumps(spoil))
    assert (doubt.key, doubt.level, doubt.touches) == ("roster_mass_all", "fail", "forces")


# ---- what rests on a doubt ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("touches", "metrics"),
    [
        ("all", "jump_height_m time_to_takeoff_s left_landing_impulse_100ms_n_s relative_strength squat_1rm_kg own"),
        ("plate", "jump_height_m time_to_takeoff_s left_landing_impulse_100ms_n_s relative_strength"),
        ("forces", "jump_height_m left_landing_impulse_100ms_n_s relative_strength"),
        ("sides", "left_landing_impulse_100ms_n_s"),
        ("strength", "relative_strength squat_1rm_kg"),
        ("nothing", ""),
    ],
)  # fmt: skip
def test_which_measures_a_doubt_touches(touches, metrics):
    known = ["jump_height_m", "time_to_takeoff_s", "left_landing_impulse_100ms_n_s",
             "relative_strength", "squat_1rm_kg", "own"]  # fmt: skip
    doubt = Doubt("mass_shift", "fail", touches=touches)
    assert [m for m in known if doubt.touches_metric(m)] == metrics.split()
    assert touches in TOUCHES


def test_every_kind_has_all_its_words():
    words = read_words()
    kinds = [{k.removesuffix("_one").removesuffix("_many") for k in words.part(p)}
             for p in ("doubt_found", "doubt_short", "doubt_do")]  # fmt: skip
    assert kinds[0] == kinds[1] == kinds[2]


def test_the_table_of_doubts(demo):
    def spoil(jumps, post):
        jumps.loc[post, "body_mass_kg"] *= 1.03

    table = doubts_table(demo.with_jumps(spoil).doubts())
    assert list(table.columns) == [
        "key", "level", "sessions", "athletes", "touches", "found", "remedy"]  # fmt: skip
    assert table["sessions"].tolist() == ["post"]
    assert "calibration" in table["remedy"][0]


# ---- numbers ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("n", "w"), [(6, 0), (7, 2), (8, 3), (10, 8), (12, 13), (20, 52), (25, 89)]
)
def test_the_common_shift_uses_the_signed_rank_test(n, w):
    """Critical values, two-sided 5 %: Wilcoxon 1945 and every table since (from memory)."""
    x = np.arange(1.0, n + 1.0) ** 1.5
    first, second = np.triu_indices(n)
    walsh = np.sort((x[first] + x[second]) / 2)
    middle, low, high = common_shift(x)
    assert (low, high) == (walsh[w], walsh[-1 - w])
    assert middle == np.median(walsh)


def test_too_few_for_an_interval():
    assert common_shift(np.array([1.0, 2.0, 3.0, 4.0, 5.0]))[1:] == (-np.inf, np.inf)


def test_agreement_about_zero_and_not_about_the_mean():
    x = np.array([5.0, 6.0, 7.0, 8.0, 9.0, 10.0])
    r, upper = sign_agreement(x, -x[::-1], 0.99)
    assert np.corrcoef(x, -x[::-1])[0, 1] > 0.99  # about the means they seem to agree
    assert r < -0.9
    assert upper < 0
    assert sign_agreement(np.zeros(6), x, 0.99) == (0.0, 1.0)


def test_the_sessions_beside_are_those_that_an_athlete_has():
    nan = np.nan
    values = np.array(
        [[1.0, 2.0, nan, 9.0, 4.0], [1.0, nan, nan, 9.0, nan], [nan, nan, nan, 9.0, nan]]
    )
    assert beside(values, 3, 1).tolist()[:2] == [3.0, 1.0]  # the athlete without the weeks, too
    assert beside(values, 3, 2)[0] == 2.0
    assert np.isnan(beside(values, 3, 2)[2])


def test_one_odd_session_throws_no_suspicion_on_its_neighbours():
    rng = np.random.default_rng(1)
    base = rng.normal(0, 1, 12)
    wide = pd.DataFrame({s: base + rng.normal(0, 0.1, 12) for s in "abcde"})
    wide["c"] += 3

    def against(here, beside):
        size = float(np.median(here - beside))
        return {"size": size} if abs(size) > 1 else None

    assert [s for s, _ in odd_sessions(wide, against, 2)] == [("c",)]
    assert [s for s, _ in odd_sessions(wide[["b", "c"]], against, 2)] == [("b", "c")]
