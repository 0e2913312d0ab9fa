"""The noise of single athletes: against R, closed forms, and simulated squads."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from harness import count, judge
from own_noise import BAR, BATCH, CELLS, PATH, SEED, STUDIES, shown, study
from places import REFERENCE
from scipy import special, stats

from cmjlab.stats.change.change import change_within
from cmjlab.stats.individual.individual import change_individual
from cmjlab.stats.individual.own_noise import (
    log_chance,
    own_noise,
    own_variances,
    possible_df,
    trigamma_inverse,
)
from cmjlab.stats.reliability.reliability import reliability

#: The squad of tests/reference/own_noise.R.
SQUAD = np.array(
    [31.2, 32.0, 35.1, 33.9, 28.4, 28.5, 40.2, 38.1, 33.3, 33.0, 29.9, 31.8, 36.6, 36.9, 34.0, 30.9]
).reshape(8, 2)


def frame(values: np.ndarray, sessions: tuple[str, ...] = ("base1", "base2")) -> pd.DataFrame:
    n, k = values.shape
    return pd.DataFrame(
        {
            "athlete": np.repeat([f"A{i + 1}" for i in range(n)], k),
            "session": np.tile(sessions[:k], n),
            "value": values.ravel(),
        }
    ).dropna()


def test_against_r() -> None:
    theirs = pd.read_csv(REFERENCE / "own_noise.csv")
    ours = own_noise(frame(SQUAD))
    assert list(ours.athletes) == list(theirs["athlete"])
    assert ours.half_width(0.95) == pytest.approx(theirs["half_width"].to_numpy(), rel=1e-5)
    found = np.array(ours.typical_error(0.95)).T
    assert found == pytest.approx(theirs[["typical_error", "low", "high"]].to_numpy(), rel=4e-3)


def test_own_variances_of_two_sessions_are_half_squared_differences() -> None:
    # closed form: residuals ±(d - mean d)/2; expected to sum to sigma² (1 - 1/n)
    d = SQUAD[:, 1] - SQUAD[:, 0]
    variance, df = own_variances(SQUAD)
    assert variance == pytest.approx((d - d.mean()) ** 2 / 2 * 8 / 7)
    assert df.tolist() == [1.0] * 8


def test_own_variances_pool_to_the_typical_error_also_with_gaps() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(30, 4, (9, 1)) + np.zeros((9, 3))
    values[0, 2] = values[4, 0] = values[7, 1] = np.nan
    values[8, 1:] = np.nan
    variance, df = own_variances(values)
    assert df.tolist() == [1, 2, 2, 2, 1, 2, 2, 1, 0]
    assert variance[8] == 0
    many = np.array([own_variances(values + rng.normal(0, 2, values.shape))[0] for _ in range(800)])
    assert many.mean(axis=0)[:8] == pytest.approx(np.full(8, 4.0), rel=0.2)


def test_trigamma_inverse_of_known_values() -> None:
    # psi'(1) = pi²/6, psi'(1/2) = pi²/2 (Abramowitz & Stegun 6.4.2, 6.4.4)
    assert trigamma_inverse(np.pi**2 / 6) == pytest.approx(1.0, abs=1e-12)
    assert trigamma_inverse(np.pi**2 / 2) == pytest.approx(0.5, abs=1e-12)
    assert special.polygamma(1, possible_df() / 2) == pytest.approx(
        4 * np.linspace(0.3, 0.9, 10) ** 2
    )


def test_chance_of_variances_is_that_of_f() -> None:
    variance, df = np.array([0.4, 3.0]), np.array([1.0, 3.0])
    a, b = ((4.0, 1.5), (9.0, 0.7))
    ours = log_chance(variance, df, *map(np.array, a)) - log_chance(variance, df, *map(np.array, b))
    theirs = [stats.f.logpdf(variance / s, df, nu) - np.log(s) for nu, s in (a, b)]
    assert ours == pytest.approx(theirs[0] - theirs[1])


def test_the_noisy_athlete_gets_a_wider_interval_and_the_others_a_narrower_one() -> None:
    rng = np.random.default_rng(8)
    values = rng.normal(34, 4, (14, 1)) + rng.normal(0, 0.8, (14, 4))
    values[5, :3] += [-4.0, 4.0, -3.0]
    table = frame(values, ("base1", "base2", "base3", "post"))
    noise = reliability(table, use=["base1", "base2", "base3"])
    result = change_individual(table, before="base3", after="post", reliability=noise)
    width = {
        s: (r := result.rows(s).set_index("athlete"))["ci_high"] - r["ci_low"]
        for s in ("individual_change", "individual_change_own")
    }
    own, plain = width["individual_change_own"], width["individual_change"]
    assert own["A6"] > 1.5 * plain["A6"]
    assert (own.drop("A6") < plain.drop("A6")).all()
    errors = result.rows("typical_error_own").set_index("athlete")["estimate"]
    assert errors.idxmax() == "A6"
    text = " ".join(s.text for s in result.sentences)
    assert "(A6)" in text
    detectable = result.rows("detectable_change_own").set_index("athlete")["estimate"]
    assert detectable.to_numpy() == pytest.approx((own / 2).to_numpy())


def test_an_athlete_without_a_second_session_is_spoken_of_by_the_squad() -> None:
    found = own_noise(frame(SQUAD), ("B1",))
    half = dict(zip(found.athletes, found.half_width(0.95), strict=True))
    assert found.own_df[list(found.athletes).index("B1")] == 0
    assert half["A3"] < half["B1"] < half["A8"]


@pytest.mark.parametrize(
    ("noise", "code"),
    [({"value": (0.9, 9)}, "own_noise_unknown"), (None, "few_for_own_noise")],
)
def test_why_there_is_no_own_noise(noise: object, code: str) -> None:
    table = frame(np.column_stack([SQUAD[:3], SQUAD[:3, 1] + 1]), ("base1", "base2", "post"))
    given = noise or reliability(table, use=["base1", "base2"])
    result = change_individual(table, before="base2", after="post", reliability=given)
    rows = result.rows("individual_change_own")
    assert set(rows["reason_code"]) == {code}
    assert rows["estimate"].isna().all()


def test_levels_scale_as_they_should() -> None:
    found = own_noise(frame(SQUAD))
    widths = [found.half_width(level) for level in (0.5, 0.8, 0.95, 0.99)]
    assert all((a < b).all() for a, b in zip(widths, widths[1:], strict=False))
    twice = own_noise(frame(2 * SQUAD + 7)).half_width(0.9)
    assert twice == pytest.approx(2 * found.half_width(0.9))


def test_interval_of_the_next_athlete_is_that_of_r() -> None:
    # R 4.x: predict(lm(d ~ 1), data.frame(a = 1), interval = "prediction"), d of the squad above
    d = SQUAD[:, 1] - SQUAD[:, 0]
    half = stats.t.ppf(0.975, 7) * d.std(ddof=1) * np.sqrt(1 + 1 / 8)
    row = (
        change_within(frame(SQUAD), before="base1", after="base2")
        .rows("next_athlete_change")
        .iloc[0]
    )
    assert [row["ci_low"], row["ci_high"]] == pytest.approx([d.mean() - half, d.mean() + half])
    assert [row["ci_low"], row["ci_high"]] == pytest.approx([-4.503008143, 3.603008143])


def test_the_next_athlete_is_inside_as_often_as_said() -> None:
    rng = np.random.default_rng(11)
    inside = []
    for _ in range(400):
        change = rng.normal(1.0, 2.0, 9)
        table = frame(np.column_stack([np.full(8, 30.0), 30 + change[:8]]))
        row = (
            change_within(table, before="base1", after="base2").rows("next_athlete_change").iloc[0]
        )
        inside.append(row["ci_low"] <= change[8] <= row["ci_high"])
    assert np.mean(inside) == pytest.approx(0.95, abs=0.033)  # three standard errors


# ---- the committed table of coverage ------------------------------------------------------

KEYS = ["spread", "n", "sessions"]


@pytest.fixture(scope="module")
def found() -> pd.DataFrame:
    return pd.read_csv(PATH)


def test_every_quarter_of_a_squad_is_covered(found: pd.DataFrame) -> None:
    counted = found.assign(hits=(found["proportion"] * found["studies"]).round())
    columns = [*KEYS, "quantity", "studies", "not_estimable", "hits", "first_batch_studies"]
    again = judge(counted[[*columns, "first_batch_hits"]], bar=BAR, shown=shown)
    assert again["verdict"].tolist() == found["verdict"].tolist()
    assert not (found["verdict"] == "fail").any()
    assert (found["studies"] == STUDIES).all()
    assert len(found[KEYS].drop_duplicates()) == len(CELLS)


@pytest.mark.parametrize("number", [4, 37])
def test_first_batch_repeats(found: pd.DataFrame, number: int) -> None:
    cell = CELLS[number]
    rows = count(cell, study, studies=BATCH, seed=SEED, batch=BATCH)
    stored = found
    for column, value in cell.items():
        stored = stored[stored[column] == value]
    stored = stored.set_index("quantity")["first_batch_hits"]
    assert {r["quantity"]: r["hits"] for r in rows} == stored.to_dict()


def test_every_group_of_a_squad_is_answered_from_one_computation() -> None:
    found = own_noise(frame(SQUAD))
    assert found.half_width(0.95) is found.half_width(0.95)
    assert found.typical_error(0.9) is found.typical_error(0.9)
    assert np.all(found.half_width(0.95) > found.half_width(0.9))
    np.testing.assert_array_equal(found.half_width(0.9), own_noise(frame(SQUAD)).half_width(0.9))
