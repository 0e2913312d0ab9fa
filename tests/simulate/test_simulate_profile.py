"""The closed form against adaptive quadrature, identities and printed check values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cmjlab.errors import ArgumentError
from cmjlab.simulate.closed_form import LANDING_S, landing_motion
from cmjlab.simulate.exact import exact_metrics
from cmjlab.simulate.onset_shapes import ONSET_SHAPES, shape_values
from cmjlab.simulate.profile import (
    PROFILES,
    Profile,
    exact_force,
    motion,
    named_profile,
    solution,
    true_events,
)

VARIANTS = {
    "as named": {},
    "bent landing": {"landing_drop_m": 0.08},
    "heavy": {"mass_kg": 115.0},
    "linear onset": {"onset_shape": "linear"},
    "abrupt onset": {"onset_shape": "abrupt"},
    "creeping onset": {"onset_shape": "creeping"},
    "rise first": {"onset_shape": "rise_first"},
}

# Six decimals; computed by an independent script (adaptive quadrature and brentq, not this
# package) when the profile was derived. Columns: typical, light, fast_stiff, slow_deep.
PRINTED = {
    "unloading_duration_s": (0.269159, 0.245905, 0.221936, 0.393756),
    "unweighting_duration_s": (0.365679, 0.342257, 0.297449, 0.502731),
    "braking_duration_s": (0.153414, 0.149553, 0.121764, 0.186342),
    "propulsion_duration_s": (0.261392, 0.253284, 0.205606, 0.316250),
    "time_to_takeoff_s": (0.780485, 0.745094, 0.624818, 1.005323),
    "flight_time_s": (0.530252, 0.448675, 0.540450, 0.520055),
    "peak_downward_velocity_m_per_s": (1.257402, 1.091318, 1.255492, 1.181884),
    "unweighting_displacement_m": (0.175816, 0.145000, 0.141547, 0.217933),
    "takeoff_rise_m": (0.124164, 0.102760, 0.092391, 0.132580),
    "jump_height_m": (0.344664, 0.246771, 0.358048, 0.331535),
    "jump_height_total_m": (0.468828, 0.349531, 0.450439, 0.464116),
    "rsi_modified_m_per_s": (0.441602, 0.331195, 0.573043, 0.329780),
    "body_weight_n": (784.532000, 608.012300, 784.532000, 784.532000),
    "minimum_force_n": (274.586200, 243.204920, 156.906400, 431.492600),
    "force_at_zero_velocity_n": (1843.650200, 1337.627060, 2118.236400, 1608.290600),
    "mean_braking_force_n": (1440.223016, 1060.439318, 1609.403978, 1291.935694),
    "mean_propulsion_force_n": (1580.271600, 1146.537480, 1815.631200, 1429.591644),
    "braking_impulse_n_s": (100.592139, 67.661693, 100.439371, 94.550681),
    "propulsion_impulse_n_s": (208.0, 136.4, 212.0, 204.0),
    "braking_work_j": (-160.668469, -100.761774, -140.289852, -167.329837),
    "propulsion_work_j": (603.170085, 364.522258, 541.671710, 646.545142),
    "peak_propulsion_power_w": (3825.438733, 2386.685448, 4365.260519, 3458.810740),
    "mean_propulsion_power_w": (2307.530396, 1439.181926, 2634.515408, 2044.412646),
    "minimum_power_w": (-1417.211606, -909.848066, -1570.913600, -1208.051116),
    "braking_rfd_n_per_s": (6903.663575, 4878.645712, 10953.228564, 4420.678452),
    "braking_rfd_from_minimum_n_per_s": (6277.919777, 4450.594176, 9942.041181, 3984.861954),
    "braking_rfd_maximum_n_per_s": (9861.333325, 6990.976984, 15616.921768, 6259.406520),
    "braking_stiffness_n_per_m": (8528.639569, 6948.681185, 13546.627124, 5798.392276),
    "time_to_stabilisation_s": (0.891390, 0.890760, 0.891870, 0.891170),  # by steps of 10 µs
    "peak_landing_force_n": (3229.035540, 2157.011091, 3293.707175, 3170.423447),
}


@pytest.mark.parametrize("key", PRINTED)
def test_printed_check_values(key: str) -> None:
    for name, value in zip(("typical", "light", "fast_stiff", "slow_deep"), PRINTED[key],
                           strict=True):  # fmt: skip
        found = float(exact_metrics(PROFILES[name].parameters)[key])
        digits = 1.1e-5 if key == "time_to_stabilisation_s" else 6e-7
        assert found == pytest.approx(value, abs=digits), name


def _variant(name: str, changes: dict[str, object]) -> Profile:
    return PROFILES[name].replace(**changes)


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.parametrize("name", PROFILES)
def test_closed_form_agrees_with_quadrature(name: str, variant: str) -> None:
    from scipy.integrate import quad

    profile = _variant(name, VARIANTS[variant])
    events = true_events(profile)
    times = list(events.values())
    velocity = displacement = 0.0
    for start, end in zip(times[:-1], times[1:], strict=True):

        def acceleration(t: float) -> float:
            return float(motion(profile, t).acceleration[0])

        # the impact pulse ends inside the landing: tell the quadrature where the kink is
        kinks = [start + 0.09] if end == events["rest"] else None
        dv = quad(acceleration, start, end, points=kinks, epsabs=1e-12, epsrel=1e-12)[0]
        moment = quad(
            lambda t, end=end: (end - t) * acceleration(t), start, end, points=kinks,
            epsabs=1e-12, epsrel=1e-12,
        )[0]  # fmt: skip
        displacement += velocity * (end - start) + moment
        velocity += dv
        if end != events["rest"]:
            at = motion(profile, end)
            assert velocity == pytest.approx(at.velocity[0], abs=1e-8)
            assert displacement == pytest.approx(at.displacement[0], abs=1e-8)
    assert velocity == pytest.approx(0.0, abs=1e-8)  # stands still again ...
    assert displacement == pytest.approx(0.0, abs=1e-8)  # ... at standing height


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.parametrize("name", PROFILES)
def test_identities(name: str, variant: str) -> None:
    profile = _variant(name, VARIANTS[variant])
    m = {k: float(v) for k, v in exact_metrics(profile.parameters).items()}
    e = true_events(profile)
    g = profile.gravity_m_per_s2
    assert list(e.values()) == sorted(e.values())
    assert m["braking_impulse_n_s"] == pytest.approx(-m["unweighting_impulse_n_s"])
    impulse = sum(m[f"{p}_impulse_n_s"] for p in ("unweighting", "braking", "propulsion"))
    assert impulse == pytest.approx(m["body_mass_kg"] * m["takeoff_velocity_m_per_s"])
    work = sum(m[f"{p}_work_j"] for p in ("unweighting", "braking", "propulsion"))
    energy = m["body_mass_kg"] * g * m["jump_height_total_m"]
    assert work == pytest.approx(energy)
    assert -motion(profile, e["zero_velocity"]).displacement[0] == pytest.approx(profile.depth_m)
    assert motion(profile, e["takeoff"]).velocity[0] == pytest.approx(
        profile.takeoff_velocity_m_per_s
    )
    # flight-time height exceeds the other by half the landing drop, nearly
    drop, h = profile.landing_drop_m, m["jump_height_m"]
    exact = h / 2 * (np.sqrt(1 + drop / h) - 1) + drop / 4
    assert m["jump_height_flight_m"] - h == pytest.approx(exact, abs=1e-12)


@pytest.mark.parametrize("name", PROFILES)
def test_force_is_continuous_and_never_negative(name: str) -> None:
    profile = PROFILES[name]
    e = true_events(profile)
    t = np.arange(-0.1, e["rest"] + 0.1, 1e-5)
    force = exact_force(profile, t)
    assert force.min() >= 0
    assert np.abs(np.diff(force)).max() < 3.0  # N per 10 µs: no step anywhere
    in_flight = (t > e["takeoff"]) & (t < e["landing"])
    assert np.all(force[in_flight] < 1e-9)
    # mean force from still to still is body weight (Newton's second law)
    assert np.trapezoid(force, t) / (t[-1] - t[0]) == pytest.approx(profile.body_weight_n, rel=1e-7)


@pytest.mark.parametrize("name", PROFILES)
def test_extremes_against_a_dense_grid(name: str) -> None:
    profile = PROFILES[name]
    m = exact_metrics(profile.parameters)
    e = true_events(profile)
    t = np.linspace(e["zero_velocity"], e["takeoff"], 400_001)[:-1]
    force, v = exact_force(profile, t), motion(profile, t).velocity
    assert float(m["peak_propulsion_force_n"]) == pytest.approx(force.max(), rel=1e-9)
    assert float(m["peak_propulsion_power_w"]) == pytest.approx((force * v).max(), rel=1e-9)
    assert float(m["peak_upward_velocity_m_per_s"]) == pytest.approx(v.max(), rel=1e-9)
    s = solution(profile)
    t = np.linspace(0, LANDING_S, 400_001)
    a = landing_motion(profile.parameters, s, t).acceleration
    peak = profile.mass_kg * (a.max() + profile.gravity_m_per_s2)
    assert float(m["peak_landing_force_n"]) == pytest.approx(peak, rel=1e-9)
    assert float(m["landing_time_to_peak_s"]) == pytest.approx(t[a.argmax()], abs=5e-6)
    whole = landing_motion(profile.parameters, s, t)
    stop = np.flatnonzero(whole.velocity > 0)[0]
    assert float(m["landing_duration_s"]) == pytest.approx(t[stop], abs=5e-6)
    fall = whole.displacement[0] - whole.displacement[: stop + 1].min()
    assert float(m["landing_depth_m"]) == pytest.approx(fall, abs=1e-7)


@pytest.mark.parametrize("name", PROFILES)
def test_stiffness_regression_against_a_dense_grid(name: str) -> None:
    profile = PROFILES[name]
    m = exact_metrics(profile.parameters)
    e = true_events(profile)
    t = np.linspace(e["peak_downward_velocity"], e["zero_velocity"], 200_001)
    force, down = exact_force(profile, t), -motion(profile, t).displacement
    slope = np.polyfit(down, force, 1)[0]
    assert float(m["braking_stiffness_regression_n_per_m"]) == pytest.approx(slope, rel=1e-4)
    fit = np.corrcoef(down, force)[0, 1] ** 2
    assert float(m["braking_stiffness_fit"]) == pytest.approx(fit, abs=1e-5)


@pytest.mark.parametrize("name", ONSET_SHAPES)
def test_onset_shapes_are_integrals_of_each_other(name: str) -> None:
    x = np.linspace(0, 1, 200_001)
    shape = shape_values(name, x)
    assert shape.value[-1] == pytest.approx(1.0)
    assert (shape.value[-1] - shape.value[-2]) / (x[1] - x[0]) == pytest.approx(0, abs=1e-3)
    step = np.diff(x)
    for integral, value in (
        (shape.integral, shape.value),
        (shape.double_integral, shape.integral),
    ):
        middle = np.concatenate([[0], np.cumsum((value[1:] + value[:-1]) / 2 * step)])
        assert np.abs(middle - integral).max() < 1e-6


def test_two_peaks_and_a_late_peak_are_what_they_say() -> None:
    def peaks(name: str) -> list[float]:
        profile = PROFILES[name]
        e = true_events(profile)
        t = np.linspace(e["peak_downward_velocity"], e["takeoff"], 5001)
        f = exact_force(profile, t)
        inner = np.flatnonzero((f[1:-1] > f[:-2]) & (f[1:-1] >= f[2:])) + 1
        return [float((t[i] - e["zero_velocity"]) / (e["takeoff"] - e["zero_velocity"]))
                for i in inner]  # fmt: skip

    assert len(peaks("typical")) == 1
    assert len(peaks("two_peaked")) == 2
    (late,) = peaks("late_peaked")
    assert late > 0.3


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.3, 0.9), st.floats(0.95, 2.0), st.floats(0.15, 0.5), st.floats(1.5, 3.2),
    st.floats(4, 12),
)  # fmt: skip
def test_arrays_of_parameters_give_what_single_profiles_give(
    unweighting: float, braking: float, depth: float, speed: float, exponent: float
) -> None:
    one = Profile(
        unweighting=unweighting, braking=braking, depth_m=depth,
        takeoff_velocity_m_per_s=speed, push_exponent=exponent,
    )  # fmt: skip
    p, q = one.parameters, PROFILES["typical"].parameters
    both = p._replace(
        **{k: np.array([getattr(p, k), getattr(q, k)]) for k in p._fields if k != "onset_shape"}
    )
    together, alone = exact_metrics(both), exact_metrics(p)
    for key, values in together.items():
        assert values[0] == pytest.approx(float(alone[key]), rel=1e-12, abs=1e-12, nan_ok=True), key


def test_impossible_profiles_are_refused_in_words() -> None:
    with pytest.raises(ArgumentError, match="the drop never stops"):
        Profile(unweighting=0.9, braking=0.5)
    with pytest.raises(ArgumentError, match="no net impulse"):
        Profile(braking=0.7, push_dip=1.5)
    with pytest.raises(ArgumentError, match="Did you mean 'typical'"):
        named_profile("tipical")
