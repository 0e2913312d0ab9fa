"""Metrics of the whole jump: weight, heights, times, distances, velocities."""

from __future__ import annotations

from cmjlab.catalog.entries import Metric

_SOLE = "Sole et al. 2018 (abstract read)"
_HARRY = "Harry et al. 2020, Med Sci Sports Exerc (abstract read: review of phase names)"
_CORMIE = "Cormie et al. 2010 (abstract read)"
_MOIR = "Moir 2008, Meas Phys Educ Exerc Sci (abstract read)"
_OWEN = "Owen et al. 2014, J Strength Cond Res 28:1552 (abstract read)"
_MCMAHON = "McMahon et al. 2018, Strength Cond J 40(4):96 (abstract read; rules from memory)"
_DERIVED = "derived from Newton's laws"
_DOCS = "error propagation of the weighing, derived; our own choice of its inputs"

WHOLE: tuple[Metric, ...] = (
    Metric(
        "body_weight_n", "Body weight", "N", "weighing", "mean F while weighing",
        "what the athlete weighs on the plate", same_as="body_mass_kg", source=_OWEN,
    ),
    Metric(
        "body_mass_kg", "Body mass", "kg", "weighing", "BW / g",
        "mass from the plate's own weighing of this jump", source=_DERIVED,
    ),
    Metric(
        "jump_height_m", "Jump height (take-off velocity)", "m", "whole jump", "v_to² / (2 g)",
        "how high the body rises after take-off: the result of the whole push", "higher",
        also_called=(("height by impulse–momentum", "Linthorne 2001, Am J Phys 69:1198 (title read)"), ("TOV height", _MOIR)),
        source=_MOIR,
    ),
    Metric(
        "jump_height_flight_m", "Jump height (flight time)", "m", "flight", "g t_f² / 8",
        "a cross-check of height; bent knees at landing make it larger", "higher",
        scope="flight", also_called=(("TIA height", _MOIR),), source=_MOIR,
    ),
    Metric(
        "jump_height_total_m", "Jump height above standing", "m", "whole jump",
        "v_to² / (2 g) + y_to", "rise above standing height, the rise onto the toes included", "higher",
        also_called=(("TOV+s height", _MOIR),), source=_MOIR,
    ),
    Metric(
        "jump_height_se_m", "Standard error of jump height", "m", "whole jump",
        "√([2 h (1 + g T / v_to) SE(BW) / BW]² + (v_to / g)² ([0.40 s · sway / m]² + T dt (noise / m)² + (0.5 v_1)² + (g SE(take-off))²)), v_1: speed one SE(onset) after the onset",
        "how well this recording lets us know this height", "lower",
        ratio_scale=False, source=_DOCS,
    ),
    Metric(
        "time_to_takeoff_se_s", "Standard error of time to take-off", "s", "whole jump",
        "spread of all onsets that fit the force, given noise and sway of standing", "how well the start of the movement can be seen in this recording", "lower",
        ratio_scale=False, source=_DOCS,
    ),
    Metric(
        "unweighting_duration_se_s", "Standard error of unweighting duration", "s", "unweighting",
        "as the standard error of time to take-off", "how well the start of the movement can be seen in this recording", "lower",
        ratio_scale=False, same_as="time_to_takeoff_se_s", source=_DOCS,
    ),
    Metric(
        "rsi_modified_se_m_per_s", "Standard error of modified reactive strength index", "m/s", "whole jump",
        "√([SE(h) / t]² + [h SE(t) / t²]²), t: time to take-off", "how well this recording lets us know the index", "lower",
        ratio_scale=False, source=_DOCS,
    ),
    Metric(
        "takeoff_velocity_m_per_s", "Take-off velocity", "m/s", "propulsion", "∫a dt at take-off",
        "the same as height", "higher", same_as="jump_height_m", source=_MOIR,
    ),
    Metric(
        "flight_time_s", "Flight time", "s", "flight", "t_landing − t_take-off", "time in the air",
        "higher", scope="flight", same_as="jump_height_flight_m", source=_MCMAHON,
    ),
    Metric(
        "rsi_modified_m_per_s", "RSImod", "m/s", "whole jump", "jump height / time to take-off",
        "height per unit time; it can rise with a lower, faster jump: read it with both", "higher",
        also_called=(("reactive strength index-modified", _SOLE),),
        source="jump height by take-off velocity; definition in Sole et al. 2018 (abstract read)",
    ),
    Metric(
        "flight_to_contraction_ratio", "Flight time to contraction time", "", "whole jump",
        "t_f / time to take-off", "carries the same message as RSImod", "higher",
        scope="flight", same_as="rsi_modified_m_per_s",
        also_called=(("FT:CT", "r = 0.94 with RSImod (abstract read)"),), source="ratio in common use",
    ),
    Metric(
        "time_to_takeoff_s", "Time to take-off", "s", "whole jump", "t_take-off − t_onset",
        "quickness of the whole jump", "lower",
        also_called=(("contraction time", "common practice, no source"), ("movement time", "common practice, no source")),
        source=_OWEN,
    ),
    Metric(
        "downward_duration_s", "Downward duration", "s", "whole jump", "onset to lowest point",
        "time spent going down",
        also_called=(("eccentric duration", _HARRY), ("eccentric phase time", _CORMIE)), source=_HARRY,
    ),
    Metric(
        "unweighting_duration_s", "Unweighting duration", "s", "unweighting",
        "onset to peak downward velocity", "time spent dropping", source=_MCMAHON,
    ),
    Metric(
        "unloading_duration_s", "Unloading duration", "s", "unweighting", "onset to lowest force",
        "time until the athlete is lightest", source="Harry et al. 2020 (from memory)",
    ),
    Metric(
        "yielding_duration_s", "Yielding duration", "s", "unweighting",
        "lowest force to peak downward velocity", "time from lightest to body weight",
        also_called=(("eccentric yielding duration", "Harry et al. 2020 (from memory)"),),
        source="Harry et al. 2020 (from memory)",
    ),
    Metric(
        "braking_duration_s", "Braking duration", "s", "braking",
        "peak downward velocity to lowest point", "time spent stopping the drop", "lower",
        also_called=(("eccentric braking duration", _HARRY),), source=_MCMAHON,
    ),
    Metric(
        "propulsion_duration_s", "Propulsion duration", "s", "propulsion", "lowest point to take-off",
        "time spent pushing up", also_called=(("concentric duration", _HARRY),), source=_MCMAHON,
    ),
    Metric(
        "countermovement_depth_m", "Countermovement depth", "m", "whole jump", "−y at zero velocity",
        "how far the athlete dips",
        also_called=(("countermovement displacement", "common practice, no source"),), source=_MCMAHON,
    ),
    Metric(
        "countermovement_depth_se_m", "Standard error of countermovement depth", "m", "whole jump",
        "√([(g t² / 2 − depth) SE(BW) / BW]² + [t · 0.18 s · sway / m]² + t³ dt / 3 (noise / m)² + (0.5 t v_1)²), t: onset to lowest point",
        "how well this recording lets us know this depth", "lower", ratio_scale=False, source=_DOCS,
    ),
    Metric(
        "unweighting_displacement_m", "Drop during unweighting", "m", "unweighting",
        "−y at peak downward velocity", "how far the athlete falls before braking", source=_DERIVED,
    ),
    Metric(
        "braking_displacement_m", "Braking displacement", "m", "braking",
        "y(start of braking) − y(lowest point)", "distance over which the drop is stopped",
        also_called=(("braking depth", "Sensors 2023, PMC10224001 table 1 (table read)"),), source=_DERIVED,
    ),
    Metric(
        "takeoff_rise_m", "Rise at take-off", "m", "propulsion", "y at take-off",
        "ankle extension; a check of posture and weighing", ratio_scale=False, source=_DERIVED,
    ),
    Metric(
        "push_distance_m", "Push distance", "m", "propulsion", "depth + rise at take-off",
        "distance over which the athlete pushes; height = (mean force over it / BW − 1) × distance",
        source="work–energy decomposition, derived",
    ),
    Metric(
        "peak_downward_velocity_m_per_s", "Peak downward velocity", "m/s", "unweighting", "−min v",
        "speed of the dip", also_called=(("peak negative velocity", "PMC9750644 table 1 (table read)"),),
        source=_MCMAHON,
    ),
    Metric(
        "peak_upward_velocity_m_per_s", "Peak upward velocity", "m/s", "propulsion",
        "max v before take-off", "a little more than take-off velocity", "higher",
        same_as="jump_height_m", source=_DERIVED,
    ),
)  # fmt: skip
