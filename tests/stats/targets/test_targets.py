"""Targets: verdicts, numbers that are those of the change analyses, and known truth."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

import cmjlab as cj
from cmjlab.errors import CmjlabError, StatsError
from cmjlab.plan import Plan
from cmjlab.stats.change.design import ancova_design, fit
from cmjlab.stats.change.pairs import make_pairs, prepare
from cmjlab.stats.common.least_squares import contrast_covariance
from cmjlab.stats.planning.power import power_t
from cmjlab.stats.targets.answers import detectable
from cmjlab.stats.targets.found import Found
from cmjlab.stats.targets.together import (
    adjusted_scores,
    difference_scores,
    level_of_each,
    mean_scores,
)
from cmjlab.stats.targets.wanted import Target, verdict
from cmjlab.tables import TARGET_ANSWERS

MEASURES = ("jump_height_m", "time_to_takeoff_s", "countermovement_depth_m")
SCALE = np.array([0.01, 0.03, 0.02])


def squad(n: int = 12, *, effect: dict[str, tuple[float, ...]] | None = None, seed: int = 1):
    """Return a squad of three groups tested three times; effects in SDs of a single value."""
    rng = np.random.default_rng(seed)
    group = np.repeat(["quick", "strong", "usual"], n)
    trait = rng.normal(size=(3 * n, 3))
    start = np.array([0.30, 0.80, 0.30])
    parts = []
    for session in ("base1", "base2", "post"):
        value = trait + 0.5 * rng.normal(size=trait.shape)
        if session == "post":
            for name, size in (effect or {}).items():
                value[group == name] += size
        part = pd.DataFrame(start + SCALE * value, columns=MEASURES)
        parts.append(part.assign(athlete=[f"A{i:02d}" for i in range(3 * n)], group=group,
                                 session=session, role="post" if session == "post" else "baseline"))  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def wish(*rows: tuple[str, str, str, float]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["subgroup", "metric", "wanted", "amount"])


def plan(formed: str = "random", control: str = "usual") -> Plan:
    more = {"selected_on": (MEASURES[0],), "selected_in": "base1"} if formed == "selected" else {}
    return Plan(groups_formed=formed, control_group=control, **more)


def answers(table, targets, how=None, before="base2", **more):
    result = cj.change_targets(table, targets, how or plan(), before=before, after="post", **more)
    return result, result.points["targets"]


# ---- verdicts --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wanted", "amount", "numbers", "code", "surely"),
    [
        ("more", 2.0, (3.0, 1.0, 5.0), "reached", False),
        ("more", 2.0, (2.0, 0.1, 3.9), "reached", False),
        ("more", 2.0, (4.0, 2.0, 6.0), "reached", True),
        ("more", 2.0, (1.5, 0.5, 2.5), "partly", False),
        ("more", 2.0, (1.0, 0.5, 1.5), "partly", False),
        ("more", 2.0, (0.5, -0.5, 1.5), "not_reached", False),
        ("more", 2.0, (0.5, -1.0, 2.0), "cannot_tell", False),
        ("more", 2.0, (3.0, 0.0, 6.0), "cannot_tell", False),
        ("more", 2.0, (-1.0, -1.9, -0.1), "opposite", False),
        ("more", 2.0, (-3.0, -4.0, -2.0), "opposite", True),
        ("less", 2.0, (-3.0, -5.0, -1.0), "reached", False),
        ("less", 2.0, (-3.0, -4.0, -2.0), "reached", True),
        ("less", 2.0, (-1.0, -1.5, -0.5), "partly", False),
        ("less", 2.0, (-0.5, -1.5, 0.5), "not_reached", False),
        ("less", 2.0, (-0.5, -2.5, 1.5), "cannot_tell", False),
        ("less", 2.0, (1.0, 0.1, 1.9), "opposite", False),
        ("more", math.nan, (0.5, 0.1, 0.9), "reached", False),
        ("more", math.nan, (0.5, -0.1, 1.1), "cannot_tell", False),
        ("more", math.nan, (-0.5, -0.9, -0.1), "opposite", False),
        ("unchanged", 2.0, (0.5, -1.0, 1.9), "unchanged_shown", True),
        ("unchanged", 2.0, (1.0, 0.1, 1.9), "unchanged_shown", True),
        ("unchanged", 2.0, (0.5, -1.0, 2.0), "unchanged_not_shown", False),
        ("unchanged", 2.0, (1.9, 0.1, 3.7), "unchanged_not_shown", False),
        ("unchanged", 2.0, (2.5, 0.5, 4.5), "changed", False),
        ("unchanged", 2.0, (-4.0, -6.0, -2.0), "changed", True),
        ("unchanged", math.nan, (0.1, -0.1, 0.3), "cannot_tell", False),
        ("more", 2.0, (3.0, math.nan, math.nan), "cannot_tell", False),
    ],
)
def test_a_verdict_is_what_its_definition_says(wanted, amount, numbers, code, surely):
    # the catalog wants a short time to take-off: the target counts, not the catalog
    target = Target("quick", "time_to_takeoff_s", wanted, amount)
    assert verdict(target, *numbers) == (code, surely)


# ---- numbers ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("formed", "before", "statistic"),
    [
        ("random", "base2", "adjusted_difference"),
        ("selected", "base2", "change_difference"),
        ("selected", "base1", "adjusted_difference"),
        ("other", "base2", "change_difference"),
    ],
)
def test_one_target_alone_has_the_leading_interval_of_change_between(formed, before, statistic):
    table, how = squad(), plan(formed)
    _, found = answers(table, wish(("quick", MEASURES[1], "less", 0.01)), how, before)
    between = cj.change_between(
        table, [MEASURES[1]], before=before, after="post", assignment=how.assignment,
        control="usual",
    )  # fmt: skip
    rows = between.rows(statistic, first="quick", second="usual")
    if formed != "other":
        assert between.leading == statistic
        rows = rows[rows["leads"].astype(bool)]
    row, one = rows.iloc[0], found.iloc[0]
    assert one["statistic"] == statistic
    assert one["level_of_each"] == 0.95
    ours = one[["change", "change_low", "change_high"]].astype(float)
    assert ours.tolist() == pytest.approx(row[["estimate", "ci_low", "ci_high"]].tolist())
    within = cj.change_within(table, [MEASURES[1]], before=before, after="post", group="group")
    row = within.row("mean_change", group="quick")
    ours = one[["within", "within_low", "within_high"]].astype(float)
    assert ours.tolist() == pytest.approx(row[["estimate", "ci_low", "ci_high"]].tolist())


def test_scores_square_to_the_standard_errors_and_multiply_to_the_covariance():
    table = squad()
    prepared = prepare(table, list(MEASURES), before="base2", after="post", group="group")
    pairs = make_pairs(prepared, MEASURES[0])
    between = cj.change_between(table, [MEASURES[0]], before="base2", after="post",
                                assignment="random", control="usual")  # fmt: skip
    contrasts = [("quick", "usual"), ("strong", "usual")]
    scores = [adjusted_scores(pairs, c, prepared, "random") for c in contrasts]
    design = ancova_design(pairs, prepared, [])
    weights = np.array([design.weights(c) for c in contrasts])
    covariance = contrast_covariance(fit(pairs.after, design.columns), weights)
    mine = np.array([[s[a] for a in pairs.athletes] for s in scores])
    assert mine @ mine.T == pytest.approx(covariance)
    changes = difference_scores(pairs, contrasts[0])
    row = between.rows("change_difference", first="quick").iloc[0]
    assert math.sqrt(sum(v**2 for v in changes.values())) == pytest.approx(row["se"])
    mean = mean_scores(pairs, "quick")
    own = pairs.change[pairs.group == "quick"]
    assert math.sqrt(sum(v**2 for v in mean.values())) == pytest.approx(
        own.std(ddof=1) / math.sqrt(len(own))
    )


def test_the_level_of_each_interval_in_closed_form():
    apart = [{"A": 1.0}, {"B": 2.0}, {"C": 0.5}]
    assert level_of_each(apart[:1], 0.95) == 0.95
    assert level_of_each([{"A": 1.0, "B": -2.0}] * 3, 0.95) == pytest.approx(0.95, abs=2e-4)
    assert level_of_each(apart, 0.95) == pytest.approx(0.95 ** (1 / 3), abs=2e-4)  # Šidák


def test_a_target_more_widens_every_interval():
    one = wish(("quick", MEASURES[1], "less", 0.01))
    two = wish(("quick", MEASURES[1], "less", 0.01), ("strong", MEASURES[0], "more", 0.01))
    width = [answers(squad(), t)[1].iloc[0] for t in (one, two)]
    assert width[1]["level_of_each"] > 0.95
    assert width[1]["change_high"] > width[0]["change_high"]
    assert width[1]["change"] == width[0]["change"]


def test_the_detectable_change_has_a_power_of_80_percent():
    found = Found("change_difference", 0.0, 2.0, 18.0, 20, {}, {}, level=0.95)
    # R 4, power.t.test(n = 10, power = .8): delta 1.324947 for sd 1 (from memory); its standard
    # error is sqrt(2/10)
    assert detectable(found) == pytest.approx(2.0 * 1.324947 / math.sqrt(0.2), rel=1e-4)
    wide = Found("change_difference", 0.0, 2.0, 18.0, 20, {}, {}, level=0.99)
    assert float(power_t(detectable(wide) / 2.0, 18.0, 0.99)) == pytest.approx(0.8, abs=1e-6)


def test_athletes_are_counted_as_the_analysis_of_single_athletes_says():
    table = squad(effect={"quick": (0.0, -3.0, 0.0)})
    noise = {MEASURES[1]: (0.5 * SCALE[1], 30.0)}
    targets = wish(("quick", MEASURES[1], "less", 0.01), ("quick", MEASURES[0], "more", 0.01),
                   ("strong", MEASURES[1], "unchanged", 0.05))  # fmt: skip
    _, found = answers(table, targets, reliability=noise)
    rows = cj.change_individual(table, [MEASURES[1]], before="base2", after="post",
                                reliability=noise).rows("individual_change")  # fmt: skip
    where = dict(zip(table["athlete"], table["group"], strict=True))
    rows = rows.assign(group=rows["athlete"].map(where))
    quick, strong = (rows[rows["group"] == g] for g in ("quick", "strong"))
    assert found["athletes_beyond"].iloc[0] == (quick["ci_high"] < 0).sum() > 5
    either = (strong["ci_high"] < 0) | (strong["ci_low"] > 0)
    assert found["athletes_beyond"].iloc[2] == either.sum()
    assert found["athletes_known"].iloc[0] == 12
    assert pd.isna(found["athletes_known"].iloc[1])  # no noise of height is known


# ---- known truth -----------------------------------------------------------------------


def test_known_truth_is_found_in_a_large_squad():
    effect = {"quick": (0.0, -2.0, 0.0), "strong": (1.5, 1.0, 0.0)}
    targets = wish(
        ("quick", MEASURES[1], "less", 0.03), ("quick", MEASURES[2], "unchanged", 0.02),
        ("strong", MEASURES[0], "more", 0.010), ("strong", MEASURES[1], "less", 0.03),
        ("strong", MEASURES[2], "more", 0.02), ("quick", MEASURES[0], "unchanged", 0.0001),
        ("strong", "jump_height_m", "more", 0.03),
    )  # fmt: skip
    _, found = answers(squad(60, effect=effect), targets.iloc[:6])
    assert found["verdict"].tolist() == [
        "reached", "unchanged_shown", "reached", "opposite", "not_reached", "unchanged_not_shown",
    ]  # fmt: skip
    assert found["surely"].tolist() == [True, True, True, False, False, False]
    _, found = answers(squad(60, effect=effect), targets.iloc[6:])
    assert found["verdict"].tolist() == ["partly"]


def test_how_often_verdicts_are_wrong_and_right_in_small_squads():
    """Nothing happens: a verdict of movement stays below 5 % of studies; twice the amount is seen."""
    rows = [(g, MEASURES[j], "more", SCALE[j]) for g in ("quick", "strong") for j in (0, 1)]
    none = [answers(squad(10, seed=s), wish(*rows))[1]["verdict"] for s in range(25)]
    moved = [set(v) & {"reached", "partly", "opposite"} != set() for v in none]
    assert sum(moved) <= 4  # 5 % expected; more than 4 of 25 happens in 0.7 %
    effect = {"quick": (2.0, 2.0, 0.0)}
    some = [answers(squad(10, effect=effect, seed=s), wish(*rows))[1] for s in range(8)]
    quick = [v["verdict"].tolist()[:2] for v in some]
    assert np.mean([[c == "reached" for c in v] for v in quick]) > 0.9


# ---- which comparison ------------------------------------------------------------------


def test_without_a_comparison_group_the_change_within_counts_and_it_is_said():
    result, found = answers(squad(), wish(("quick", MEASURES[1], "less", 0.01)), plan(control=""))
    one = found.iloc[0]
    assert (one["basis"], one["statistic"]) == ("within", "mean_change")
    assert one["change"] == one["within"]
    assert pd.isna(one["control"])
    assert result.has_note("targets_within_only")
    assert not result.has_note("targets_within_biased")
    chosen, _ = answers(
        squad(), wish(("quick", MEASURES[1], "less", 0.01)), plan("selected", ""), "base1"
    )
    assert chosen.has_note("targets_within_biased")


def test_a_target_of_the_comparison_group_rests_on_its_own_change():
    targets = wish(("usual", MEASURES[0], "unchanged", 0.02), ("quick", MEASURES[1], "less", 0.01))
    _, found = answers(squad(), targets)
    assert found["basis"].tolist() == ["within", "against"]


def test_where_neither_estimate_leads_both_must_agree():
    table = squad(40)
    post = table["session"] == "post"
    base = table[table["session"] == "base2"].set_index("athlete")[MEASURES[0]]
    start = table["athlete"].map(base)
    # the group starts low, and everybody moves to the middle: ANCOVA sees nothing, changes do
    quick = table["group"] == "quick"
    table.loc[quick & ~post, MEASURES[0]] -= 0.03
    start[quick] -= 0.03
    table.loc[post, MEASURES[0]] = (
        0.3 + 0.2 * (start[post] - 0.3) + table.loc[post, MEASURES[1]] / 50
    )
    result, found = answers(table, wish(("quick", MEASURES[0], "more", 0.01)), plan("other"))
    one = found.iloc[0]
    assert result.has_note("targets_neither_leads")
    assert one["change_low"] > 0 > one["other_low"]
    assert (one["verdict"], one["agree"]) == ("cannot_tell", False)
    assert "two estimates" in str(result.sentences[0])
    led, _ = answers(table, wish(("quick", MEASURES[0], "more", 0.01)), plan("random"))
    assert led.points["targets"]["verdict"].iloc[0] != "reached"


def test_what_cannot_be_answered_says_why():
    targets = wish(("quick", "squat_1rm_kg", "more", 5.0), ("nobody", MEASURES[0], "more", 0.01),
                   ("quick", MEASURES[1], "less", 0.01))  # fmt: skip
    result, found = answers(squad(), targets)
    assert found["reason_code"].tolist()[:2] == ["target_without_values", "target_without_athletes"]
    assert found["verdict"].tolist()[:2] == ["cannot_tell"] * 2
    assert found["level_of_each"].iloc[2] == 0.95  # the only one with an interval
    assert "because nobody of nobody has both sessions" in str(result.sentences[1])
    assert TARGET_ANSWERS.cast(found).dtypes.equals(found.dtypes)


def test_a_declared_change_that_matters_is_the_amount_of_a_target_without_one():
    how = plan().replace(change_that_matters={MEASURES[1]: 0.02})
    _, found = answers(squad(), wish(("quick", MEASURES[1], "less", math.nan)), how)
    assert found["amount"].tolist() == [0.02]
    result, found = answers(squad(), wish(("quick", MEASURES[1], "less", math.nan)))
    assert found["amount"].isna().all()
    assert result.has_note("targets_without_amount")


@pytest.mark.parametrize(
    ("targets", "said"),
    [
        (wish(), "no rows"),
        (wish(("quick", MEASURES[0], "moer", 0.1)), "did you mean 'more'"),
        (wish(("quick", MEASURES[0], "more", -0.1)), "above zero"),
        (wish(("quick", MEASURES[0], "more", 0.1), ("quick", MEASURES[0], "less", 0.1)), "stands twice"),
        (wish(("", MEASURES[0], "more", 0.1)), "are needed"),
        (wish(("quick", MEASURES[0], "more", 0.1)).drop(columns="wanted"), "no column 'wanted'"),
    ],
)  # fmt: skip
def test_targets_that_cannot_be_read_are_refused(targets, said):
    with pytest.raises(CmjlabError, match=f"(?i){said}"):
        answers(squad(), targets)


def test_groups_are_needed():
    with pytest.raises(StatsError, match="no column 'group'"):
        answers(squad().drop(columns="group"), wish(("quick", MEASURES[0], "more", 0.1)))
