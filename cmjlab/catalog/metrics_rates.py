"""Rates of force development and quasi-stiffness, one key for every definition."""

from __future__ import annotations

from cmjlab.catalog.entries import Metric

_HARRY = "Harry et al. 2020 (abstract read): results depend on the definition"
_LABEL = "Braking rate of force development"
_ECCENTRIC = (("eccentric rate of force development", _HARRY),)
_STIFF = "Struzik 2019 (from memory); braking is not a spring"
_TABLE = "Sensors 2023, PMC10224001 table 1 (table read): peak braking force / braking depth"
_OWN = "definition in use; no single source"

RATES: tuple[Metric, ...] = (
    Metric(
        "braking_rfd_n_per_s", _LABEL, "N/s", "braking",
        "as the setting “braking RFD” says; by default (F_v0 − F_vmin) / t_braking",
        "how fast braking force builds; repeats poorly, needs familiarisation", "higher",
        also_called=_ECCENTRIC, source=_OWN,
    ),
    Metric(
        "braking_rfd_n_per_s_per_kg", f"{_LABEL} per body mass", "N/s/kg", "braking",
        "braking rate of force development / m", "how fast braking force builds, for the athlete's size",
        "higher", same_as="braking_rfd_n_per_s", source=_OWN,
    ),
    Metric(
        "braking_rfd_mean_n_per_s", f"{_LABEL}, mean", "N/s", "braking",
        "(F_v0 − F_vmin) / t_braking", "mean rise from body weight to the lowest point", "higher",
        same_as="braking_rfd_n_per_s", source=_OWN,
    ),
    Metric(
        "braking_rfd_from_minimum_n_per_s", f"{_LABEL}, from lowest force", "N/s", "braking",
        "(F_v0 − F_min) / (t_v0 − t_Fmin)", "mean rise from the lowest force to the lowest point",
        "higher", source=_OWN,
    ),
    Metric(
        "braking_rfd_steepest_n_per_s", f"{_LABEL}, steepest", "N/s", "braking",
        "steepest slope over the set time window between F_min and v = 0", "steepest rise before the push",
        "higher", source=_OWN,
    ),
    Metric(
        "unloading_rate_n_per_s", "Unloading rate", "N/s", "unweighting",
        "(BW − F_min) / (t_Fmin − t_onset)", "how fast the athlete lets go", source=_HARRY,
    ),
    Metric(
        "braking_stiffness_n_per_m", "Braking quasi-stiffness", "N/m", "braking",
        "as the setting “braking stiffness” says; by default (F_v0 − BW) / braking displacement",
        "short and stiff against long and soft", source=_STIFF,
    ),
    Metric(
        "braking_stiffness_n_per_m_per_kg", "Braking quasi-stiffness per body mass", "N/m/kg", "braking",
        "braking quasi-stiffness / m", "short and stiff against long and soft, for the athlete's size",
        same_as="braking_stiffness_n_per_m", source=_STIFF,
    ),
    Metric(
        "braking_stiffness_line_n_per_m", "Braking quasi-stiffness, straight line", "N/m", "braking",
        "(F_v0 − BW) / braking displacement", "slope between the ends of braking",
        same_as="braking_stiffness_n_per_m", source=_STIFF,
    ),
    Metric(
        "braking_stiffness_regression_n_per_m", "Braking quasi-stiffness, regression", "N/m", "braking",
        "slope of F on −y in braking", "slope over all of braking", source=_STIFF,
    ),
    Metric(
        "braking_stiffness_peak_n_per_m", "Braking quasi-stiffness, peak force", "N/m", "braking",
        "peak braking force / braking displacement", "another definition in use; not comparable",
        source=_TABLE,
    ),
    Metric(
        "braking_stiffness_depth_n_per_m", "Braking quasi-stiffness, whole dip", "N/m", "braking",
        "F_v0 / depth", "another definition in use; not comparable", source=_OWN,
    ),
    Metric(
        "braking_stiffness_fit", "Straightness of force against displacement (r²)", "", "braking",
        "r² of F on −y in braking", "near 1: speaking of stiffness makes sense", "higher",
        ratio_scale=False, source=_STIFF,
    ),
)  # fmt: skip
