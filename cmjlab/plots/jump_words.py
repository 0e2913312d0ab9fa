"""What the figure of one jump says in words: title, alt text, flags, names of curves."""

from __future__ import annotations

import math
import re

from cmjlab.catalog import CHECKS, STATUS_LABELS
from cmjlab.jump_types import Check, Jump
from cmjlab.plots.style import wrapped
from cmjlab.recording import Recording
from cmjlab.units import show

#: Phase -> first and last event.
PHASES = (
    ("unweighting", "onset", "peak_downward_velocity"),
    ("braking", "peak_downward_velocity", "zero_velocity"),
    ("propulsion", "zero_velocity", "takeoff"),
    ("flight", "takeoff", "landing"),
    ("landing", "landing", ""),
)
_MOST_FLAGS = 6
_LINE = 98
#: A number and its unit stay on one line.
_UNIT = re.compile(r"(?<=\d) (?=(?:%|[a-zA-Z]{1,2}(?![a-zA-Z])))")
_NO_MOTION = "Velocity, power and displacement are not drawn: they need a jump with a height."


def jump_title(jump: Jump) -> str:
    """Return who jumped when, and how high with its standard error."""
    rec = jump.recording
    parts = [
        f"{name} {value}"
        for name, value in (
            ("Athlete", rec.athlete),
            ("session", rec.session),
            ("trial", rec.trial),
            ("jump", rec.jump if rec.jump != 1 else None),
        )
        if value is not None
    ]
    if jump.load_kg:
        parts.append(f"load {jump.load_kg:g} kg")
    height = jump.metrics.get("jump_height_m", math.nan)
    error = jump.metrics.get("jump_height_se_m", math.nan)
    if math.isfinite(height):
        parts.append(f"height {show(height, 'm')}" + _plus_minus(error))
        if not jump.accepted:
            parts.append("not accepted: see below")
    elif not jump.accepted:
        parts.append("not accepted, no height: see below")
    return ", ".join(parts) or "Countermovement jump"


def _plus_minus(error: float) -> str:
    if not math.isfinite(error):
        return ""
    return f" (standard error {show(error, 'm', extra_decimals=1)})"


def jump_alt_text(jump: Jump) -> str:
    """Return what the figure of a jump shows, in words."""
    flags = jump.flags
    parts = [f"Vertical force against time. {jump_title(jump)}."]
    for name, first, last in PHASES[:3]:
        start, stop = jump.events.get(first, math.nan), jump.events.get(last, math.nan)
        if math.isfinite(stop - start):
            parts.append(f"{name.capitalize()} {show(stop - start, 's')}.")
    depth = jump.metrics.get("countermovement_depth_m", math.nan)
    if math.isfinite(depth):
        parts.append(f"Depth {show(depth, 'm')}.")
    power = jump.metrics.get("peak_propulsion_power_w", math.nan)
    if math.isfinite(power):
        parts.append(f"Peak power {show(power, 'W')}.")
    parts.append(
        f"{len(flags)} flag(s): " + "; ".join(c.reason for c in flags[:_MOST_FLAGS])
        if flags
        else "No flags."
    )
    return " ".join(parts)


def sum_name(rec: Recording) -> str:
    """Return what the force of all columns is: a file with one column may hold one plate or a sum."""
    single = [p for p in rec.plates if p != "total"]
    if len(single) < 2:
        return plate_name(single[0]) if rec.plates == tuple(single) else "total force"
    return "both plates" if len(single) == 2 else "all plates"


def plate_name(plate: str) -> str:
    """Return the name of one plate on the figure."""
    name = plate.replace("_", " ")
    return f"{name} plate" if plate in ("left", "right") else name


def flag_lines(jump: Jump, *, motion: bool) -> list[str]:
    """Return the flags as wrapped lines, worst first, and how many more there are.

    Parameters
    ----------
    jump : Jump
        Any.
    motion : bool
        Whether velocity, power and displacement are drawn; it is said when they are not.
    """
    order = {"fail": 0, "warn": 1, "note": 2}
    flags = sorted(jump.flags, key=lambda c: order[c.status])
    lines = [] if motion else [_NO_MOTION]
    if not flags:
        return [*lines, "No flags: every rule that could be assessed passed."]
    for check in flags[:_MOST_FLAGS]:
        words = _UNIT.sub("\u00a0", f"{STATUS_LABELS[check.status]}: {_flag_words(check)}")
        lines += wrapped(words, _LINE).split("\n")
    if len(flags) > _MOST_FLAGS:
        lines.append(f"… and {len(flags) - _MOST_FLAGS} more; see the table of checks.")
    return lines


def _flag_words(check: Check) -> str:
    label = CHECKS[check.code].label if check.code in CHECKS else check.code.replace("_", " ")
    return f"{label}: {check.reason}"
