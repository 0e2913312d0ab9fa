"""Metrics of the shape of the push: peaks and valleys, beginnings, braking against propulsion."""

from __future__ import annotations

from cmjlab.catalog.entries import Metric

_DERIVED = "derived here"
_COMMON = "common practice, no source"
_MOMENTUM = "McMahon et al. 2020, J Appl Biomech (from memory)"
_PEAKS = "Kennedy & Drake 2018, Sports; Lake & McMahon 2018, Sports (from memory); our own limit"
_VALLEY = "derived here; how deep a valley counts is our own limit"

SHAPE: tuple[Metric, ...] = (
    Metric(
        "jump_momentum_kg_m_per_s", "Jump momentum", "kg·m/s", "propulsion", "m v_to",
        "what the push gives the whole body; a heavier athlete has more at the same height", "higher",
        same_as="propulsion_impulse_n_s", also_called=(("take-off momentum", _MOMENTUM),),
        source=_MOMENTUM,
    ),
    Metric(
        "positive_net_impulse_n_s", "Positive net impulse", "N·s", "whole jump",
        "m (max v − min v) = ∫(F − BW) dt while F > BW, from peak downward velocity on",
        "braking and push together: all that is done above body weight", "higher", source=_DERIVED,
    ),
    Metric(
        "mean_propulsion_velocity_m_per_s", "Mean propulsion velocity", "m/s", "propulsion",
        "distance of propulsion / its duration", "speed of the whole push; steadier than the peak",
        "higher", also_called=(("mean concentric velocity", _COMMON),), source=_COMMON,
    ),
    Metric(
        "braking_to_propulsion_duration_ratio", "Braking to propulsion duration", "", "whole jump",
        "braking duration / propulsion duration", "below 1: stopping takes less time than pushing",
        also_called=(("eccentric to concentric duration ratio", _COMMON),), source=_COMMON,
    ),
    Metric(
        "braking_to_propulsion_impulse_ratio", "Braking to propulsion net impulse", "", "whole jump",
        "braking net impulse / propulsion net impulse",
        "speed of the dip against speed at take-off", source=_COMMON,
    ),
    Metric(
        "braking_to_propulsion_mean_force_ratio", "Braking to propulsion mean force", "", "whole jump",
        "mean braking force / mean propulsion force", "how hard the stop is against the push",
        source=_COMMON,
    ),
    Metric(
        "time_to_peak_force_s", "Time to peak force", "s", "whole jump", "t(peak force) − t_onset",
        "early or late peak; with two peaks of one height it leaps between them", source=_COMMON,
    ),
    Metric(
        "time_to_peak_power_s", "Time to peak power", "s", "whole jump",
        "t(peak propulsion power) − t_onset", "a little before take-off", "lower", source=_COMMON,
    ),
    Metric(
        "force_valley_n", "Valley between force peaks", "N", "whole jump",
        "largest min(max F before, max F after) − F from peak downward velocity to take-off, F the mean over 10 ms",
        "how far the force gives way between two peaks; about 0 with one peak",
        ratio_scale=False, source=_VALLEY,
    ),
    Metric(
        "force_peaks", "Number of force peaks", "", "whole jump",
        "2 when the valley is deeper than 5 % of BW (our own limit), else 1",
        "one or two peaks of force between braking and take-off", ratio_scale=False, source=_PEAKS,
    ),
    Metric(
        "propulsion_impulse_50ms_n_s", "Propulsion net impulse of the first 50 ms", "N·s", "propulsion",
        "∫(F − BW) dt over 0.05 s from the start of propulsion",
        "how hard the push begins; it carries the force reached in braking", "higher", source=_COMMON,
    ),
    Metric(
        "propulsion_impulse_100ms_n_s", "Propulsion net impulse of the first 100 ms", "N·s", "propulsion",
        "∫(F − BW) dt over 0.1 s from the start of propulsion",
        "how hard the push begins; it carries the force reached in braking", "higher", source=_COMMON,
    ),
    Metric(
        "power_development_rate_w_per_s", "Rate of power development", "W/s", "propulsion",
        "peak propulsion power / (t(peak) − t(v = 0))", "how fast power rises to its peak", "higher",
        source=_COMMON,
    ),
    Metric(
        "power_development_rate_w_per_s_per_kg", "Rate of power development per body mass", "W/s/kg",
        "propulsion", "rate of power development / m",
        "how fast power rises to its peak, for the athlete's size", "higher",
        same_as="power_development_rate_w_per_s", source=_COMMON,
    ),
)  # fmt: skip
