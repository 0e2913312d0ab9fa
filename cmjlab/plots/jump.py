"""One jump as a figure: force with its phases, velocity and displacement below, flags in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from cmjlab.catalog import CHECKS, STATUS_LABELS
from cmjlab.jump_types import EVENTS, Check, Jump
from cmjlab.plots.style import (
    INK,
    LIMB_LINES,
    MUTED,
    PALETTE,
    TINTS,
    Picture,
    picture,
    safe,
    styled,
    wrapped,
)
from cmjlab.units import show

#: Phase -> first and last event.
PHASES = (
    ("unweighting", "onset", "peak_downward_velocity"),
    ("braking", "peak_downward_velocity", "zero_velocity"),
    ("propulsion", "zero_velocity", "takeoff"),
    ("flight", "takeoff", "landing"),
    ("landing", "landing", ""),
)
#: Event -> name on the figure, and where it stands from its marker (points; text alignment).
_MARKED = {
    "onset": ("onset", (-4, -12), "right"),
    "minimum_force": ("minimum force", (-5, -11), "right"),
    "peak_downward_velocity": ("peak downward\nvelocity", (-7, 5), "right"),
    "zero_velocity": ("zero velocity", (-6, 5), "right"),
    "takeoff": ("take-off", (5, 9), "left"),
    "landing": ("landing", (-5, 9), "right"),
}
_MOST_FLAGS = 6
#: A phase shorter than this share of the view has its name on a second line.
_NARROW = 0.12
_SECONDS_BEFORE = 0.35
_SECONDS_AFTER = 0.45


@dataclass(frozen=True)
class _View:
    """What of the recording is shown, on the file's clock."""

    start: float
    stop: float

    def mask(self, time: NDArray[np.float64]) -> NDArray[np.bool_]:
        return np.asarray((time >= self.start) & (time <= self.stop))


@styled
def jump_figure(jump: Jump) -> Picture:
    """Draw one jump.

    Parameters
    ----------
    jump : Jump
        From :func:`cmjlab.measure`; one without a flight is drawn too, as force only.

    Returns
    -------
    Picture
        Top: the whole recording with the weighing window. Below: total force (N) with phases
        as named tints and events as named marks, one line style per plate; velocity (m/s);
        displacement (cm). Bottom: flags in words. Time is on the file's own clock (s).
    """
    flags = _flag_lines(jump)
    has_motion = jump.motion.time_s.size > 1
    heights = [0.7, 4.4, 1.5, 1.5] if has_motion else [0.7, 4.4]
    text_height = 0.42 * len(flags) + 0.1
    figure = picture(16.0, 2.4 + 1.75 * sum(heights) * 0.9 + text_height)
    grid = figure.add_gridspec(len(heights) + 1, 1, height_ratios=[*heights, text_height / 1.75])
    view = _view(jump)
    whole = figure.add_subplot(grid[0])
    force = figure.add_subplot(grid[1])
    panels = [force]
    _draw_whole(whole, jump, view)
    _draw_force(force, jump, view)
    if has_motion:
        velocity = figure.add_subplot(grid[2], sharex=force)
        displacement = figure.add_subplot(grid[3], sharex=force)
        _draw_motion(velocity, displacement, jump, view)
        panels += [velocity, displacement]
    for panel in panels:
        _draw_phases(panel, jump, view)
        panel.set_xlim(view.start, view.stop)
        if panel is not panels[-1]:
            panel.tick_params(labelbottom=False)
    _name_phases(force, jump, view)
    panels[-1].set_xlabel("Time on the file's clock (s)")
    words = figure.add_subplot(grid[-1])
    words.set_axis_off()
    text = words.text(-0.1, 1, "\n".join(flags), va="top", fontsize=7.5, transform=words.transAxes)
    text.set_in_layout(False)
    figure.suptitle(safe(jump_title(jump)), x=0.01, ha="left", fontsize=10, fontweight="bold")
    figure.alt_text = jump_alt_text(jump)
    return figure


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
    height = jump.metrics.get("jump_height_m", math.nan)
    error = jump.metrics.get("jump_height_se_m", math.nan)
    if math.isfinite(height):
        parts.append(f"height {show(height, 'm')}" + _plus_minus(error))
    elif not jump.accepted:
        parts.append("no height: see below")
    return ", ".join(parts) or "Countermovement jump"


def _plus_minus(error: float) -> str:
    if not math.isfinite(error):
        return ""
    return f" (standard error {show(error, 'm', extra_decimals=1)})"


def jump_alt_text(jump: Jump) -> str:
    """Return what :func:`jump_figure` shows, in words."""
    flags = jump.flags
    parts = [f"Vertical force against time. {jump_title(jump)}."]
    for name, first, last in PHASES[:3]:
        start, stop = jump.events.get(first, math.nan), jump.events.get(last, math.nan)
        if math.isfinite(stop - start):
            parts.append(f"{name.capitalize()} {show(stop - start, 's')}.")
    depth = jump.metrics.get("countermovement_depth_m", math.nan)
    if math.isfinite(depth):
        parts.append(f"Depth {show(depth, 'm')}.")
    parts.append(
        f"{len(flags)} flag(s): " + "; ".join(c.reason for c in flags[:_MOST_FLAGS])
        if flags
        else "No flags."
    )
    return " ".join(parts)


def _view(jump: Jump) -> _View:
    time = jump.recording.time_s
    onset, landing = jump.events["onset"], jump.events["landing"]
    takeoff = jump.events["takeoff"]
    end = landing if math.isfinite(landing) else takeoff
    if not (math.isfinite(onset) and math.isfinite(end)):
        return _View(float(time[0]), float(time[-1]))
    return _View(
        max(float(time[0]), onset - _SECONDS_BEFORE), min(float(time[-1]), end + _SECONDS_AFTER)
    )


def _draw_whole(axes: Axes, jump: Jump, view: _View) -> None:
    time, force = jump.recording.time_s, jump.recording.total_n
    axes.plot(time, force, color=MUTED, linewidth=0.7)
    start, stop = jump.events["weighing_start"], jump.events["weighing_end"]
    if math.isfinite(stop - start):
        axes.axvspan(start, stop, color=TINTS[1], linewidth=0)
        axes.text(
            (start + stop) / 2, 0.93, "weighing", ha="center", va="top", fontsize=7.5,
            transform=axes.get_xaxis_transform(),
        )  # fmt: skip
    axes.plot([view.start, view.stop], [0, 0], color=INK, linewidth=2.2, solid_capstyle="butt",
              transform=axes.get_xaxis_transform(), clip_on=False)  # fmt: skip
    axes.set_xlim(float(time[0]), float(time[-1]))
    axes.set_yticks([])
    axes.set_ylabel("whole\nrecording", fontsize=7, rotation=0, ha="right", va="center")
    axes.tick_params(labelsize=7, pad=1)
    axes.spines["left"].set_visible(False)


def _draw_force(axes: Axes, jump: Jump, view: _View) -> None:
    rec = jump.recording
    mask = view.mask(rec.time_s)
    time = rec.time_s[mask]
    axes.plot(time, rec.total_n[mask], color=PALETTE[0], linewidth=1.7, label="both plates")
    for number, plate in enumerate(p for p in rec.plates if p != "total"):
        line = LIMB_LINES.get(plate, (0, (1 + number, 1.2)))
        name = plate.replace("_", " ")
        label = name if plate not in LIMB_LINES else f"{name} plate"
        axes.plot(
            time, rec.plate(plate)[mask], color=PALETTE[2], linestyle=line, linewidth=1.0, label=label
        )  # fmt: skip
    weight = jump.metrics.get("body_weight_n", math.nan)
    if math.isfinite(weight):
        axes.axhline(weight, color=MUTED, linewidth=0.8, linestyle=(0, (1, 2)), label="body weight")
    _mark_events(axes, jump, view)
    axes.set_ylabel("Vertical force (N)")
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, 0), high + 0.10 * (high - low))
    axes.legend(loc="lower left", bbox_to_anchor=(-0.01, 0.995), ncols=5, handlelength=2.6)


def _mark_events(axes: Axes, jump: Jump, view: _View) -> None:
    rec = jump.recording
    for key in EVENTS:
        when = jump.events.get(key, math.nan)
        if key not in _MARKED or not math.isfinite(when) or not view.start <= when <= view.stop:
            continue
        name, offset, side = _MARKED[key]
        level = float(np.interp(when, rec.time_s, np.nan_to_num(rec.total_n)))
        axes.plot([when], [level], marker="o", markersize=4.5, color="white",
                  markeredgecolor=INK, markeredgewidth=1.0, zorder=5)  # fmt: skip
        shift = when - jump.detected.get(key, when)
        if math.isfinite(shift) and abs(shift) > 1e-9:
            name += f"\n(moved by hand,\n{1000 * shift:+.0f} ms)"
        axes.annotate(name, (when, level), xytext=offset, textcoords="offset points", ha=side,
                      fontsize=7.5, zorder=6)  # fmt: skip


def _draw_motion(velocity: Axes, displacement: Axes, jump: Jump, view: _View) -> None:
    motion = jump.motion
    mask = view.mask(motion.time_s)
    time = motion.time_s[mask]
    velocity.plot(time, motion.velocity_m_per_s[mask], color=PALETTE[0])
    velocity.axhline(0, color=MUTED, linewidth=0.6)
    velocity.set_ylabel("Velocity\n(m/s)")
    displacement.plot(time, 100 * motion.displacement_m[mask], color=PALETTE[0])
    displacement.axhline(0, color=MUTED, linewidth=0.6)
    displacement.set_ylabel("Displace-\nment (cm)")
    for key, axes, series in (
        ("peak_downward_velocity", velocity, motion.velocity_m_per_s),
        ("takeoff", velocity, motion.velocity_m_per_s),
        ("zero_velocity", displacement, 100 * motion.displacement_m),
    ):
        when = jump.events.get(key, math.nan)
        if math.isfinite(when):
            axes.plot([when], [float(np.interp(when, motion.time_s, series))], marker="o",
                      markersize=4, color="white", markeredgecolor=INK, zorder=5)  # fmt: skip


def _phase_spans(jump: Jump, view: _View) -> list[tuple[str, float, float]]:
    spans = []
    for name, first, last in PHASES:
        start = jump.events.get(first, math.nan)
        stop = jump.events.get(last, math.nan) if last else view.stop
        if math.isfinite(start) and math.isfinite(stop) and stop > start:
            spans.append((name, start, min(stop, view.stop)))
    return spans


def _draw_phases(axes: Axes, jump: Jump, view: _View) -> None:
    for number, (_, start, stop) in enumerate(_phase_spans(jump, view)):
        axes.axvspan(start, stop, color=TINTS[(number + 1) % 2], linewidth=0, zorder=0)
        axes.axvline(start, color=MUTED, linewidth=0.5, alpha=0.7, zorder=0.5)


def _name_phases(axes: Axes, jump: Jump, view: _View) -> None:
    row = 0
    for name, start, stop in _phase_spans(jump, view):
        narrow = (stop - start) / (view.stop - view.start) < _NARROW
        row = 1 - row if narrow else 0
        axes.text((start + stop) / 2, 0.985 - 0.045 * row, name, ha="center", va="top", fontsize=7.5, color=INK,
                  style="italic", transform=axes.get_xaxis_transform())  # fmt: skip


def _flag_lines(jump: Jump) -> list[str]:
    """Return the flags as wrapped lines, worst first, and how many more there are."""
    order = {"fail": 0, "warn": 1, "note": 2}
    flags = sorted(jump.flags, key=lambda c: order[c.status])
    if not flags:
        return ["No flags: every rule that could be assessed passed."]
    lines = []
    for check in flags[:_MOST_FLAGS]:
        lines += wrapped(f"{STATUS_LABELS[check.status]}: {_flag_words(check)}", 100).split("\n")
    if len(flags) > _MOST_FLAGS:
        lines.append(f"… and {len(flags) - _MOST_FLAGS} more; see the table of checks.")
    return lines


def _flag_words(check: Check) -> str:
    label = CHECKS[check.code].label if check.code in CHECKS else check.code.replace("_", " ")
    return f"{label}: {check.reason}"
