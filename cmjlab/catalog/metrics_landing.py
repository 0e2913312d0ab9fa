"""Metrics of the landing: exploratory, they repeat poorly."""

from __future__ import annotations

from functools import partial

from cmjlab.catalog.entries import Metric

_landing = partial(Metric, phase="landing", scope="landing", exploratory=True)
_JSSM = "J Sports Sci Med 9:282 (abstract read)"
_FLANAGAN = "Flanagan et al. 2008 (from memory); not reliable from trial to trial"

LANDING: tuple[Metric, ...] = (
    _landing(
        key="peak_landing_force_n", label="Peak landing force", unit="N",
        formula="max F within 0.5 s after landing", meaning="landing style", source=_JSSM,
    ),
    _landing(
        key="peak_landing_force_n_per_kg", label="Peak landing force per body mass", unit="N/kg",
        formula="peak landing force / m", meaning="landing style, for the athlete's size", source=_JSSM,
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
        key="time_to_stabilisation_s", label="Time to stabilisation", unit="s",
        formula="first time from which F stays within 5 % BW for 1 s", meaning="return to quiet standing",
        source=_FLANAGAN,
    ),
)  # fmt: skip
