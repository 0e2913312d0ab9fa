"""CHECKS: every quality rule, of one recording (level "jump") and of a study."""

from __future__ import annotations

from cmjlab.catalog.entries import CheckRule

_OWEN = "1000 Hz and 1 s: Owen et al. 2014 (abstract read); limits are our own"
_BALANCE = "derived from Newton's laws; limits from simulated sway, our own"

_JUMP: tuple[CheckRule, ...] = (
    CheckRule(
        "no_flight", "Flight", "jump", "jump", "s",
        "the plate is unloaded for 0.20 to 0.90 s with contact before; fails when not",
        "look at the recording; repeat the jump",
    ),
    CheckRule(
        "several_flights", "One jump", "jump", "jump", "flights",
        "one jump in the recording; fails when there are more",
        "split the recording into single jumps, or repeat the jump",
    ),
    CheckRule(
        "countermovement", "Countermovement", "jump", "jump", "m",
        "the body dips by at least 3 cm and turns at once; fails for a squat jump (no dip, or a pause at"
        " the bottom), a drop jump (no standing before), hops (two take-offs or more after the"
        " first, each less than 0.9 s after landing) and when no dip and push can be told apart",
        "use another test's analysis, or repeat the jump",
    ),
    CheckRule(
        "double_dip", "One dip", "jump", "jump", "turns",
        "the velocity turns once, from down to up, before take-off (swings below 0.05 m/s, and below 0.15"
        " m/s in the second before the onset, do not count), and there is no hop before; fails when not",
        "repeat the jump: one smooth dip, then jump",
    ),
    CheckRule(
        "event_order", "Order of events", "jump", "jump", "events",
        "onset < lowest force < peak downward velocity < zero velocity < take-off < landing; fails when not",
        "check the events by eye; move them or reject the jump",
    ),
    CheckRule(
        "event_moved", "Events fixed by a person", "jump", "jump", "s",
        "a note with the largest shift when a person fixed events", "none needed; the reason is in the log",
    ),
    CheckRule(
        "still_weighing", "Stillness while weighing", "jump", "jump", "% BW",
        "SD of the force in the weighing window: above 0.5 % warn, above 1.0 % fail; a window below 0.9"
        " of the wanted length warns, below half of it fails",
        "ask for two to three seconds of standing still before the jump", _OWEN,
    ),
    CheckRule(
        "weighing_slope", "Trend while weighing", "jump", "jump", "% BW",
        "trend of the force over the weighing window (at most 1 s): above 0.5 % warn, above 1.0 % fail",
        "let the plate warm up and zero it; ask the athlete to stand still",
    ),
    CheckRule(
        "unloaded_offset", "Unloaded plate", "jump", "jump", "N",
        "mean force in the middle of the flight: above 5 N warn, above 10 N fail",
        "zero the plates without load; a setting of the method can subtract the offset",
        "20 N cost 17 mm of height, 10 N 9 mm, 5 N 4 mm (derived); limits are our own",
    ),
    CheckRule(
        "flight_noise", "Noise in flight", "jump", "jump", "N",
        "SD of the force in the middle of the flight: above 3 N warn, above 10 N fail",
        "check cables, mounting and the floor; record the unloaded plate",
    ),
    CheckRule(
        "zero_gated", "Zeros below a gate", "jump", "jump", "N",
        "a note when the recorder writes exact zeros for small forces: offset and noise cannot be checked",
        "record without a gate if the software allows it",
    ),
    CheckRule(
        "early_movement", "Quiet before the onset", "jump", "jump", "% BW",
        "movement more than 0.05 s before the onset, or a rise above 5 % BW before it: warn; excursions"
        " above 10 % BW or more than 0.10 m/s at the onset: fail",
        "repeat the jump from standing still; check the onset by eye",
    ),
    CheckRule(
        "clipping", "Range of the plate", "jump", "jump", "samples",
        "three or more equal samples in a row at the largest force: fail (landing metrics only, when the"
        " push is not touched)",
        "use a larger range",
    ),
    CheckRule(
        "dropped_samples", "Complete recording", "jump", "jump", "samples",
        "lost (nan) or frozen samples between weighing and take-off: up to two single ones warn; more, or"
        " any within 0.05 s of an event, fail; after take-off they fail flight or landing",
        "check the connection; repeat the jump",
    ),
    CheckRule(
        "sampling", "Sampling rate", "jump", "jump", "Hz",
        "below 1000 Hz warn, below 200 Hz fail; never mix rates in a study",
        "record at 1000 Hz or more", _OWEN,
    ),
    CheckRule(
        "height_uncertainty", "Certainty of height", "jump", "jump", "m",
        "standard error of height from the weighing above 1 cm: warn",
        "stand still longer and quieter before the jump",
    ),
    CheckRule(
        "rest_to_rest", "Momentum balance", "jump", "jump", "%",
        "body weight from standing before to standing after the jump against the weighing: above 0.25 %"
        " warn, above 0.5 % fail; not assessed without standing after",
        "stand still for two seconds before and after the jump; zero the plates", _BALANCE,
    ),
    CheckRule(
        "impossible", "Possible values", "jump", "jump", "values",
        "body mass 15–250 kg, height up to 1.2 m, depth and rise at take-off up to 1.5 m, peak power up to"
        " 150 W/kg: outside fail, and no number of the jump is kept",
        "look at unit, zero and weighing of the recording", "common practice, no source",
    ),
    CheckRule(
        "plausibility", "Plausible values", "jump", "jump", "values",
        "time to take-off 0.35–1.6 s, depth 0.08–0.60 m, rise at take-off 0.03–0.25 m, peak force 1.3–4"
        " BW, take-off velocity 1–4 m/s: warn outside",
        "look at the recording: unit, athlete, kind of jump",
    ),
    CheckRule(
        "height_agreement", "Agreement of the two heights", "flight", "jump", "m",
        "height from flight time minus height from take-off velocity: outside −1.5…+4 cm warn, outside"
        " −3…+6 cm fail; the momentum balance tells weighing from landing posture",
        "ask for a landing with the legs extended, or weigh better", _BALANCE,
    ),
    CheckRule(
        "off_plate_landing", "Landing on the plate", "flight", "jump", "BW",
        "the force passes body weight within 0.3 s after the flight; fails when not, or when the recording"
        " ends in flight",
        "land on the plates; record until two seconds after landing",
    ),
    CheckRule(
        "step_off", "Standing after the landing", "landing", "jump", "% BW",
        "mean force from 1 to 2 s after landing within 5 % of body weight, on each plate at least 10 %;"
        " fails when not, or when the plates are left within 1.3 s; not assessed when the recording"
        " ends before",
        "stay on the plates for two seconds after landing",
    ),
    CheckRule(
        "rebound", "No rebound", "landing", "jump", "s",
        "no second flight less than 0.9 s after landing; fails when there is one",
        "ask the athlete to stick the landing",
    ),
    CheckRule(
        "plate_sync", "Plates on one clock", "jump", "jump", "s",
        "one plate is late by the same time at take-off and at landing: above 2 ms warn, above 10 ms fail",
        "check the synchronisation of the plates",
        "1 ms costs 5 mm/s of take-off velocity (derived); limits are our own",
    ),
    CheckRule(
        "plate_load", "Both feet weigh", "limbs", "jump", "% BW",
        "each plate carries at least 10 % of body weight while weighing; fails when not",
        "one foot on each plate, fully on it",
    ),
)  # fmt: skip

_STUDY: tuple[CheckRule, ...] = (
    CheckRule(
        "weight_vs_session", "Weight against the session", "jump", "study", "%",
        "body weight against the median of the athlete's session: above 1 % warn, above 3 % fail",
        "check who was on the plate, and whether it was zeroed",
    ),
    CheckRule(
        "outlier_within_session", "Effort within the session", "jump", "study", "%",
        "height more than 10 % below the athlete's best accepted jump of the session: warn, never removed",
        "ask for full effort; repeat the jump",
    ),
    CheckRule(
        "far_below_own_best", "Effort against own best", "jump", "study", "%",
        "height more than 20 % below the athlete's best of the study: warn, never removed",
        "effort, fatigue, pain or a technical fault: ask the athlete",
    ),
)  # fmt: skip

CHECKS: dict[str, CheckRule] = {c.code: c for c in (*_JUMP, *_STUDY)}
"""Code -> rule, in the order in which they are reported."""
