"""Metrics of the landing: exploratory, they repeat poorly."""

from __future__ import annotations

from functools import partial

from cmjlab.catalog.entries import Metric

_landing = partial(Metric, phase="landing", scope="landing", exploratory=True)
_JSSM = "J Sports Sci Med 9:282 (abstract read)"
_SPRING = "McMahon & Cheng 1990, J Biomech 23 Suppl 1:65 (from memory); a landing is not a spring"
_FLANAGAN = "Flanagan et al. 2008 (from memory); not reliable from trial to trial"

LANDING: tuple[Metric, ...] = (
    _landing(
        key="peak_landing_force_n", label="Peak landing force", unit="N",
        formula="max F within 0.5 s after landing", meaning="landing style", source=_JSSM,
    ),
    _landing(
        key="peak_landing_force_n_per_kg", label="Peak landing force per body mass", unit="N/kg",
        formula="peak landing force / m", meaning="landing style, for the athlete's size",
        same_as="peak_landing_force_n", source=_JSSM,
    ),
    _landing(
        key="landing_time_to_peak_s", label="Time to peak landing force", unit="s",
        formula="t(peak) − t_landing", meaning="short: a stiff landing",
        source="common practice, no source",
    ),
    _landing(
        key="landing_loading_rate_n_per_s", label="Landing loading rate", unit="N/s",
        formula="peak landing force / time to peak", meaning="how abruptly the landing loads the body",
        source="common practice, no source",
    ),
    _landing(
        key="landing_velocity_m_per_s", label="Landing velocity", unit="m/s",
        formula="−v at landing", meaning="speed at touch-down; follows height",
        source="derived from Newton's laws",
    ),
    _landing(
        key="landing_impulse_n_s", label="Landing net impulse", unit="N·s",
        formula="∫(F − BW) dt from landing to v = 0", meaning="amount of braking after the flight",
        source="derived from Newton's laws",
    ),
    _landing(
        key="landing_duration_s", label="Landing duration", unit="s",
        formula="landing to v = 0", meaning="time to stop the fall", source="common practice, no source",
    ),
    _landing(
        key="landing_depth_m", label="Landing depth", unit="m",
        formula="y(landing) − y(v = 0)", meaning="how far the athlete gives way",
        source="common practice, no source",
    ),
    _landing(
        key="mean_landing_force_n", label="Mean landing force", unit="N",
        formula="∫F dt / t from landing to v = 0", meaning="steadier than the peak",
        source="derived from Newton's laws",
    ),
    _landing(
        key="landing_stiffness_n_per_m", label="Landing quasi-stiffness", unit="N/m",
        formula="peak landing force / landing depth", meaning="short and stiff against long and soft",
        also_called=(("vertical stiffness", "McMahon & Cheng 1990 (from memory)"),), source=_SPRING,
    ),
    _landing(
        key="landing_stiffness_n_per_m_per_kg", label="Landing quasi-stiffness per body mass",
        unit="N/m/kg", formula="landing quasi-stiffness / m",
        meaning="short and stiff against long and soft, for the athlete's size",
        same_as="landing_stiffness_n_per_m", source=_SPRING,
    ),
    _landing(
        key="landing_impulse_50ms_n_s", label="Landing impulse of the first 50 ms", unit="N·s",
        formula="∫F dt over 0.05 s from landing",
        meaning="how much of the fall the first contact takes up", source="common practice, no source",
    ),
    _landing(
        key="landing_impulse_100ms_n_s", label="Landing impulse of the first 100 ms", unit="N·s",
        formula="∫F dt over 0.1 s from landing",
        meaning="how much of the fall is taken up early", source="common practice, no source",
    ),
    _landing(
        key="time_to_stabilisation_s", label="Time to stabilisation", unit="s",
        formula="first time from which F stays within 5 % BW for 1 s", meaning="return to quiet standing",
        source=_FLANAGAN,
    ),
)  # fmt: skip
