"""Exact values of the shape of the push against the force itself, sampled very densely."""

from __future__ import annotations

import numpy as np
import pytest

from cmjlab.simulate.exact import exact_metrics
from cmjlab.simulate.jump import RecordingSettings, exact_truth
from cmjlab.simulate.profile import PROFILES, Profile, exact_force, true_events

STEP_S = 2e-5
#: One peak, two peaks, and two with a shallow valley between them.
SHAPES = {**PROFILES, "deep_valley": Profile(push_exponent=20, push_dip=1.0),
          "shallow": Profile(push_exponent=14, push_dip=0.2)}  # fmt: skip


def _integral(profile: Profile, start: float, stop: float) -> float:
    time = np.linspace(start, stop, 200_001)
    return float(np.trapezoid(exact_force(profile, time), time))


@pytest.mark.parametrize("name", SHAPES)
def test_impulses_are_integrals_of_the_force(name: str) -> None:
    profile = SHAPES[name]
    events, weight = true_events(profile), profile.body_weight_n
    truth = exact_truth(profile, RecordingSettings(asymmetry_landing_percent=12.0))
    pushes, landing = events["zero_velocity"], events["landing"]
    for ms in (50, 100):
        length = ms / 1000.0
        gained = _integral(profile, pushes, pushes + length) - weight * length
        assert truth[f"propulsion_impulse_{ms}ms_n_s"] == pytest.approx(gained, abs=1e-6)
        taken = _integral(profile, landing, landing + length)
        assert truth[f"landing_impulse_{ms}ms_n_s"] == pytest.approx(taken, abs=1e-6)
    both = [truth[f"{side}_landing_impulse_100ms_n_s"] for side in ("left", "right")]
    assert sum(both) == pytest.approx(taken, abs=1e-6)
    assert truth["landing_impulse_100ms_asymmetry_percent"] == pytest.approx(12.0, abs=1e-6)
    time = np.linspace(events["peak_downward_velocity"], events["takeoff"], 400_001)
    above = np.maximum(exact_force(profile, time) - weight, 0.0)
    positive = float(np.trapezoid(above, time))
    assert truth["positive_net_impulse_n_s"] == pytest.approx(positive, abs=1e-5)


@pytest.mark.parametrize("name", SHAPES)
def test_the_valley_is_that_of_the_smoothed_force(name: str) -> None:
    profile = SHAPES[name]
    events = true_events(profile)
    time = np.arange(events["peak_downward_velocity"], events["takeoff"], STEP_S)
    force = exact_force(profile, time)
    total = np.concatenate(([0.0], np.cumsum((force[1:] + force[:-1]) / 2)))
    width = round(0.010 / STEP_S)
    mean = (total[width:] - total[:-width]) / width
    lower = np.minimum(np.maximum.accumulate(mean), np.maximum.accumulate(mean[::-1])[::-1])
    expected = float((lower - mean).max())
    truth = exact_metrics(profile.parameters, ["force_valley_n", "force_peaks"])
    assert float(truth["force_valley_n"]) == pytest.approx(expected, abs=1e-4)  # of the dense grid
    assert float(truth["force_peaks"]) == 1 + (expected > 0.05 * profile.body_weight_n)


def test_arrays_of_jumps_are_what_they_are_one_by_one() -> None:
    profiles = list(SHAPES.values())
    rows = [profile.parameters for profile in profiles]
    columns = [np.array([row[i] for row in rows]) for i in range(len(rows[0]) - 1)]
    together = exact_metrics(rows[0]._replace(**dict(zip(rows[0]._fields, columns, strict=False))))
    for place, profile in enumerate(profiles):
        alone = exact_metrics(profile.parameters)
        for key in ("force_valley_n", "force_peaks", "time_to_peak_force_s",
                    "power_development_rate_w_per_s", "landing_stiffness_n_per_m"):  # fmt: skip
            assert together[key][place] == pytest.approx(float(alone[key]), rel=1e-9, abs=1e-9)


def test_peaks_and_rates_on_the_dense_force() -> None:
    profile = SHAPES["late_peaked"]
    events = true_events(profile)
    time = np.arange(events["zero_velocity"], events["takeoff"], STEP_S)
    force = exact_force(profile, time)
    net = (force - profile.body_weight_n) / profile.mass_kg
    velocity = np.concatenate(([0.0], np.cumsum((net[1:] + net[:-1]) / 2))) * STEP_S
    power = force * velocity
    truth = exact_metrics(profile.parameters)
    assert truth["time_to_peak_force_s"] == pytest.approx(time[force.argmax()], abs=2 * STEP_S)
    at = time[power.argmax()]
    assert truth["time_to_peak_power_s"] == pytest.approx(at, abs=2 * STEP_S)
    rate = power.max() / (at - events["zero_velocity"])
    assert truth["power_development_rate_w_per_s"] == pytest.approx(rate, rel=2e-4)
