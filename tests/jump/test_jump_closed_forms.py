"""Worked values that need no simulator: algebra, and published worked problems."""

from __future__ import annotations

import math

import numpy as np
import pytest

from cmjlab.jump.landing import landing_metrics
from cmjlab.jump.limbs import asymmetry
from cmjlab.jump.measure import measure
from cmjlab.jump.motion import integrate
from cmjlab.recording import Recording
from cmjlab.simulate.jump import simulate_jump

G = 9.80665


def test_a_square_push_gives_the_textbook_velocity_and_rise() -> None:
    """70 kg, twice body weight for 0.25 s: v = 2.451663 m/s, rise 0.306458 m, 171.616 N·s."""
    weight = 70.0 * G
    force = np.full(251, 2.0 * weight)
    path = integrate(force, 0.0, weight=weight, gravity=G, rate=1000.0, rule="trapezoid")
    end = path.at(250.0)
    assert math.isclose(end.velocity, 2.451663, abs_tol=1e-6)
    assert math.isclose(end.displacement, 0.306458, abs_tol=1e-6)
    assert math.isclose(path.mass * end.velocity, 171.616, abs_tol=1e-3)
    assert math.isclose(end.work, 2.0 * weight * 0.306458, rel_tol=1e-5)


@pytest.mark.parametrize(
    ("mass", "gravity", "crouch", "rise", "velocity", "force"),
    [(110.0, 9.80, 0.300, 0.900, 4.20, 4312.0), (105.0, 9.80, 0.400, 0.950, 4.31509, 3472.875)],
)
def test_published_worked_jumps(
    mass: float, gravity: float, crouch: float, rise: float, velocity: float, force: float
) -> None:
    """OpenStax College Physics, problems 4.46 and 7.69 (read): constant force over the crouch.

    The mean force and take-off velocity of the worked solutions are put in; the engine's
    integration must come out at the rise.
    """
    time = 2.0 * crouch / velocity
    rate = 100_000.0
    n = round(time * rate)
    path = integrate(
        np.full(n + 1, force), 0.0, weight=mass * gravity, gravity=gravity, rate=rate,
        rule="simpson",
    )  # fmt: skip
    end = path.at(time * rate)
    assert math.isclose(end.velocity, velocity, rel_tol=2e-3)
    assert math.isclose(end.displacement, crouch, rel_tol=2e-3)
    assert math.isclose(end.velocity**2 / (2 * gravity), rise, rel_tol=4e-3)


@pytest.mark.parametrize(("rule", "limit"), [("trapezoid", 1e-6), ("simpson", 1e-9)])
def test_integration_rules_on_a_sine(rule: str, limit: float) -> None:
    """Exact: ∫ sin = 1 − cos, and its integral t − sin t; a parabola rule gains four digits."""
    t = np.arange(2001) / 1000.0
    force = 700.0 * (1.0 + np.sin(t) / G)
    path = integrate(force, 0.0, weight=700.0, gravity=G, rate=1000.0, rule=rule)
    assert np.abs(path.velocity - (1.0 - np.cos(t))).max() < limit
    assert np.abs(path.displacement - (t - np.sin(t))).max() < limit


def test_an_origin_between_samples_is_at_rest_there() -> None:
    t = np.arange(1001) / 1000.0
    force = 700.0 * (1.0 + 3.0 * t / G)  # a = 3 t
    path = integrate(force, 100.4, weight=700.0, gravity=G, rate=1000.0, rule="trapezoid")
    start, end = path.at(100.4), path.at(900.7)
    assert abs(start.velocity) < 1e-12
    assert abs(start.displacement) < 1e-12
    assert abs(start.work) < 1e-9
    a, b = 0.1004, 0.9007
    assert math.isclose(end.velocity, 1.5 * (b * b - a * a), abs_tol=1e-9)
    exact = 0.5 * (b**3 - a**3) - 1.5 * a * a * (b - a)
    assert math.isclose(end.displacement, exact, abs_tol=1e-6)


@pytest.mark.parametrize(
    ("seconds", "height"),
    [(0.40, 0.196133), (0.45, 0.248231), (0.50, 0.306458), (0.55, 0.370814), (0.60, 0.441299)],
)
def test_height_from_flight_time(seconds: float, height: float) -> None:
    """h = g t² / 8 with g = 9.80665 m/s²."""
    from cmjlab.jump.edges import Edges
    from cmjlab.jump.signal import Signal
    from cmjlab.method import Method

    force = np.concatenate(
        [np.full(100, 700.0), np.zeros(round(1000 * seconds)), np.full(900, 700.0)]
    )
    land = 100 + round(1000 * seconds)
    edges = Edges(100.0, float(land), 99, land, 0.0, 0.0, 10.0, 0.0)
    path = integrate(force, 0.0, weight=700.0, gravity=G, rate=1000.0, rule="trapezoid")
    m = landing_metrics(Signal(force, 1000.0), path, edges, force.size, Method())
    assert math.isclose(m["jump_height_flight_m"], height, abs_tol=5e-7)


@pytest.mark.parametrize(
    ("velocity", "height"),
    [(2.0, 0.203943), (2.2, 0.246771), (2.4, 0.293678), (2.6, 0.344664), (2.8, 0.399729)],
)
def test_height_from_takeoff_velocity(velocity: float, height: float) -> None:
    """h = v² / (2 g): a simulated jump of that velocity is measured at that height."""
    from cmjlab.simulate.profile import named_profile

    profile = named_profile("typical").replace(takeoff_velocity_m_per_s=velocity)
    jump = measure(simulate_jump(profile, seed=2).recording)
    assert math.isclose(jump.metrics["jump_height_m"], height, abs_tol=3e-4)


@pytest.mark.parametrize(
    ("formula", "percent"),
    [
        ("share_difference", 5.263158),
        ("larger_limb", 10.0),
        ("symmetry_index", 10.526316),
        ("right_reference", 10.0),
        ("left_reference", 11.111111),
        ("symmetry_angle", 3.347542),
    ],
)
def test_asymmetry_formulas(formula: str, percent: float) -> None:
    """L = 900, R = 1000; formulas as listed by Bishop et al. 2016 (abstract read)."""
    assert math.isclose(asymmetry(900.0, 1000.0, formula), percent, abs_tol=5e-7)
    swapped = asymmetry(1000.0, 900.0, formula)
    assert swapped < 0.0
    if formula not in ("right_reference", "left_reference"):
        assert math.isclose(swapped, -percent, abs_tol=5e-7)


def test_standing_still_is_no_jump() -> None:
    jump = measure(Recording(np.full(3000, 700.0), 1000.0))
    assert not jump.accepted
    assert jump.check("no_flight").status == "fail"
    assert all(math.isnan(v) for v in jump.metrics.values())
    assert set(jump.voided) == set(jump.metrics)
    assert math.isnan(jump.events["onset"])
    assert jump.motion.time_s.size == 0


def test_height_splits_into_force_and_distance() -> None:
    """h = (F̄/BW − 1)(depth + y_to), work–energy; typical profile: F̄ = 1422.0 N (closed form)."""
    m = measure(simulate_jump("typical", seed=1).recording).metrics
    assert math.isclose(m["mean_force_over_push_n"], 1422.0, abs_tol=0.3)
    split = (m["mean_force_over_push_n"] / m["body_weight_n"] - 1.0) * m["push_distance_m"]
    assert math.isclose(split, m["jump_height_m"], abs_tol=1e-5)
    by_time = (
        (m["mean_propulsion_force_n"] / m["body_weight_n"] - 1.0) * G * m["propulsion_duration_s"]
    )
    assert math.isclose(by_time, m["takeoff_velocity_m_per_s"], rel_tol=1e-6)
