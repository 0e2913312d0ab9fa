"""Metrics of force, impulse, work and power by phase, absolute and per body mass."""

from __future__ import annotations

import dataclasses

from cmjlab.catalog.entries import Metric

_HARRY = "Harry et al. 2020, Med Sci Sports Exerc (abstract read: review of phase names)"
_MCMAHON = "McMahon et al. 2018, Strength Cond J 40(4):96 (abstract read; rules from memory)"
_MCMAHON_17 = "McMahon et al. 2017 (abstract read)"
_TABLE = "PMC9750644 table 1 (table read)"
_KIRBY = "Kirby et al. 2011 (abstract read)"
_OWEN = "Owen et al. 2014, J Strength Cond Res 28:1552 (abstract read)"
_DERIVED = "derived from Newton's laws"
#: Net impulses whose version per kilogram is a velocity.
_SAME = {
    "unweighting_impulse_n_s": "peak_downward_velocity_m_per_s",
    "braking_impulse_n_s": "peak_downward_velocity_m_per_s",
    "propulsion_impulse_n_s": "jump_height_m",
}


def _relative(metric: Metric, unit: str) -> Metric:
    """Return the version per kilogram of body mass: of one athlete it repeats the absolute one."""
    ending = {"N": "n_per_kg", "N·s": "n_s_per_kg", "J": "j_per_kg", "W": "w_per_kg"}
    stem = metric.key.rsplit({"N": "_n", "N·s": "_n_s", "J": "_j", "W": "_w"}[metric.unit], 1)[0]
    return dataclasses.replace(
        metric,
        key=f"{stem}_{ending[metric.unit]}",
        label=f"{metric.label} per body mass",
        unit=unit,
        formula=f"({metric.formula}) / m",
        same_as=_SAME.get(metric.key) or metric.same_as or metric.key,
        also_called=(),
    )


_FORCES: tuple[Metric, ...] = (
    Metric(
        "minimum_force_n", "Minimum force", "N", "unweighting", "min F before peak downward velocity",
        "how far the athlete unloads", ratio_scale=False, source=_MCMAHON,
    ),
    Metric(
        "peak_braking_force_n", "Peak braking force", "N", "braking", "max F in braking",
        "force under stretch; often the force at zero velocity", "higher",
        also_called=(("peak eccentric force", _HARRY),), source=_MCMAHON,
    ),
    Metric(
        "peak_propulsion_force_n", "Peak propulsion force", "N", "propulsion", "max F in propulsion",
        "highest force of the push", "higher", also_called=(("peak concentric force", _HARRY),),
        source=_MCMAHON_17,
    ),
    Metric(
        "peak_force_n", "Peak force", "N", "whole jump", "max F from braking to take-off",
        "highest force before take-off, wherever it lies", "higher", same_as="peak_propulsion_force_n",
        source=_OWEN,
    ),
    Metric(
        "force_at_zero_velocity_n", "Force at zero velocity", "N", "braking", "F at v = 0",
        "force available when the push starts", "higher",
        also_called=(("force at lowest displacement", "common practice, no source"),), source=_MCMAHON,
    ),
    Metric(
        "mean_braking_force_n", "Mean braking force", "N", "braking", "∫F dt / t",
        "steadier than the peak", "higher", also_called=(("mean eccentric force", _HARRY),), source=_MCMAHON,
    ),
    Metric(
        "mean_propulsion_force_n", "Mean propulsion force", "N", "propulsion", "∫F dt / t",
        "steadier than the peak", "higher", also_called=(("mean concentric force", _HARRY),), source=_MCMAHON,
    ),
    Metric(
        "mean_force_over_push_n", "Mean force over the push distance", "N", "propulsion",
        "W_prop / (depth + y_to)",
        "force that counts for height: height = (this / BW − 1) × push distance", "higher",
        source="work–energy decomposition, derived",
    ),
)  # fmt: skip

_IMPULSES: tuple[Metric, ...] = (
    Metric(
        "unweighting_impulse_n_s", "Unweighting net impulse", "N·s", "unweighting",
        "∫(F − BW) dt, negative", "size of the drop; braking gives back the same amount",
        ratio_scale=False, same_as="braking_impulse_n_s", source=_MCMAHON,
    ),
    Metric(
        "braking_impulse_n_s", "Braking net impulse", "N·s", "braking", "∫(F − BW) dt",
        "amount of braking; equals the unweighting impulse",
        also_called=(("eccentric impulse", _HARRY),), source=_MCMAHON,
    ),
    Metric(
        "propulsion_impulse_n_s", "Propulsion net impulse", "N·s", "propulsion", "∫(F − BW) dt",
        "amount of push", "higher", also_called=(("concentric impulse", _HARRY),), source=_KIRBY,
    ),
)  # fmt: skip

_WORK: tuple[Metric, ...] = (
    Metric(
        "braking_work_j", "Braking work", "J", "braking", "∫F v dt, negative",
        "energy taken up while stopping the drop", ratio_scale=False, source=_DERIVED,
    ),
    Metric(
        "propulsion_work_j", "Propulsion work", "J", "propulsion", "∫F v dt",
        "energy given to the body in the push", "higher", source=_DERIVED,
    ),
)  # fmt: skip

_POWERS: tuple[Metric, ...] = (
    Metric(
        "peak_propulsion_power_w", "Peak propulsion power", "W", "propulsion", "max F·v",
        "rate of work; mostly follows height and depth, and part of that is arithmetic", "higher",
        also_called=(("peak concentric power", _HARRY), ("peak power", _OWEN)), source=_OWEN,
    ),
    Metric(
        "mean_propulsion_power_w", "Mean propulsion power", "W", "propulsion", "∫F·v dt / t",
        "rate of work over the whole push", "higher", also_called=(("mean concentric power", _HARRY),),
        source=_MCMAHON,
    ),
    Metric(
        "minimum_power_w", "Minimum power", "W", "braking", "min F·v before the lowest point",
        "braking intensity; negative", ratio_scale=False,
        also_called=(("peak eccentric power", _HARRY),), source=_MCMAHON,
    ),
    Metric(
        "mean_braking_power_w", "Mean braking power", "W", "braking", "∫F·v dt / t, negative",
        "rate at which the drop is stopped", ratio_scale=False,
        also_called=(("mean eccentric power", _HARRY),), source=_MCMAHON,
    ),
)  # fmt: skip

FORCE: tuple[Metric, ...] = (
    *_FORCES,
    Metric(
        "mean_unweighting_force_n", "Mean unweighting force", "N", "unweighting", "∫F dt / t",
        "how light the athlete is while dropping", ratio_scale=False, source=_MCMAHON,
    ),
    *(_relative(m, "N/kg") for m in _FORCES),
    *_IMPULSES,
    *(_relative(m, "N·s/kg") for m in _IMPULSES),
    Metric(
        "unweighting_work_j", "Unweighting work", "J", "unweighting", "∫F v dt, negative",
        "energy taken up while dropping", ratio_scale=False, source=_DERIVED,
    ),
    *_WORK,
    *(_relative(m, "J/kg") for m in _WORK),
    *_POWERS,
    *(_relative(m, "W/kg") for m in _POWERS),
    Metric(
        "force_at_peak_power_n", "Force at peak power", "N", "propulsion", "F at max F·v",
        "force share of peak power", source=_DERIVED,
    ),
    Metric(
        "velocity_at_peak_power_m_per_s", "Velocity at peak power", "m/s", "propulsion",
        "v at max F·v", "velocity share of peak power", source=_DERIVED,
    ),
)  # fmt: skip
