"""The panels of the figure of one jump: force, power, velocity, displacement, names of phases."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text
from numpy.typing import NDArray

from cmjlab.catalog import MOVABLE_EVENTS
from cmjlab.jump_types import EVENTS, Jump
from cmjlab.plots.jump_words import PHASES, plate_name, sum_name
from cmjlab.plots.placing import Label, size_of
from cmjlab.plots.style import INK, LIMB_LINES, MUTED, PALETTE, TINTS
from cmjlab.units import show

#: Event -> name on the figure, and on which side of its mark it stands best.
_MARKED = {
    "onset": ("onset", (-1.0, -0.6)),
    "minimum_force": ("minimum force", (-1.0, -0.6)),
    "peak_downward_velocity": ("peak downward\nvelocity", (-1.0, 0.6)),
    "zero_velocity": ("zero velocity", (-1.0, 0.6)),
    "takeoff": ("take-off", (1.0, 0.6)),
    "landing": ("landing", (-1.0, 0.6)),
}
_SECONDS_BEFORE = 0.35
_SECONDS_AFTER = 0.45
#: Free space between the names of two phases, points.
_APART = 4.0


@dataclass(frozen=True)
class View:
    """What of the recording is shown, on the file's clock."""

    start: float
    stop: float

    def mask(self, time: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Return which instants are shown."""
        return np.asarray((time >= self.start) & (time <= self.stop))


def view_of(jump: Jump) -> View:
    """Return the part round the jump; the whole recording when there is none."""
    time = jump.recording.time_s
    onset, landing = jump.events["onset"], jump.events["landing"]
    takeoff = jump.events["takeoff"]
    end = landing if math.isfinite(landing) else takeoff
    if not (math.isfinite(onset) and math.isfinite(end)):
        return View(float(time[0]), float(time[-1]))
    return View(
        max(float(time[0]), onset - _SECONDS_BEFORE), min(float(time[-1]), end + _SECONDS_AFTER)
    )


def motion_known_until(jump: Jump) -> float:
    """Return until when the motion can be believed (s); nan when it cannot be at all.

    Without a height there is no velocity either. After take-off errors have grown: there the
    motion is shown only while the jump, its flight and its landing are what they should be.
    """
    takeoff = jump.events["takeoff"]
    if jump.motion.time_s.size < 2 or not math.isfinite(jump.metrics["jump_height_m"]):
        return math.nan
    failed = {c.scope for c in jump.checks if c.status == "fail"}
    if failed & {"jump", "flight"} or not math.isfinite(jump.events["landing"]):
        return takeoff
    return jump.events["landing"] if "landing" in failed else math.inf


def draw_whole(axes: Axes, jump: Jump, view: View) -> None:
    """Draw the whole recording, small, with the weighing window and what is shown below."""
    time, force = jump.recording.time_s, jump.recording.total_n
    axes.plot(time, force, color=MUTED, linewidth=0.7)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.8 * (high - low))
    start, stop = jump.events["weighing_start"], jump.events["weighing_end"]
    if math.isfinite(stop - start):
        axes.axvspan(start, stop, color=TINTS[1], linewidth=0)
        left = (start + stop) / 2 < (time[0] + time[-1]) / 2
        axes.text(
            start if left else stop, 0.97, "weighing", ha="left" if left else "right", va="top",
            fontsize=8, transform=axes.get_xaxis_transform(),
        )  # fmt: skip
    axes.plot([view.start, view.stop], [0, 0], color=INK, linewidth=2.2, solid_capstyle="butt",
              transform=axes.get_xaxis_transform(), clip_on=False)  # fmt: skip
    axes.set_xlim(float(time[0]), float(time[-1]))
    axes.set_yticks([])
    axes.set_ylabel("whole\nrecording", fontsize=8, rotation=0, ha="right", va="center")
    axes.tick_params(labelsize=8, pad=1)
    axes.spines["left"].set_visible(False)


def draw_force(axes: Axes, jump: Jump, view: View) -> list[Label]:
    """Draw the forces and mark the events; return what the marks are called."""
    rec = jump.recording
    mask = view.mask(rec.time_s)
    time = rec.time_s[mask]
    whole = sum_name(rec)
    axes.plot(time, rec.total_n[mask], color=PALETTE[0], linewidth=1.7, label=whole)
    for number, plate in enumerate(p for p in rec.plates if plate_name(p) not in ("total", whole)):
        line = LIMB_LINES.get(plate, (0, (1 + number, 1.2)))
        axes.plot(time, rec.plate(plate)[mask], color=PALETTE[2], linestyle=line, linewidth=1.0,
                  label=plate_name(plate))  # fmt: skip
    weight = jump.metrics.get("body_weight_n", math.nan)
    weight += jump.load_kg * jump.method.gravity_m_per_s2
    if math.isfinite(weight):
        name = "athlete and load" if jump.load_kg else "body weight"
        axes.axhline(weight, color=MUTED, linewidth=0.8, linestyle=(0, (1, 2)), label=name)
    axes.set_ylabel("Vertical force (N)")
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, 0) - 0.06 * (high - low), high + 0.06 * (high - low))
    axes.legend(loc="lower left", bbox_to_anchor=(-0.01, 0.995), ncols=5, handlelength=2.6)
    return _marks(axes, jump, view)


def _marks(axes: Axes, jump: Jump, view: View) -> list[Label]:
    rec = jump.recording
    labels = []
    for key in EVENTS:
        when = jump.events.get(key, math.nan)
        if key not in _MARKED or not math.isfinite(when) or not view.start <= when <= view.stop:
            continue
        name, side = _MARKED[key]
        level = float(np.interp(when, rec.time_s, np.nan_to_num(rec.total_n)))
        _dot(axes, when, level)
        shift = when - jump.detected.get(key, when)
        if key in MOVABLE_EVENTS and math.isfinite(shift) and abs(shift) > 1e-9:
            name += f"\n(moved by hand,\n{1000 * shift:+.0f} ms)"
        labels.append(Label(name, when, level, side))
    return labels


def draw_power(axes: Axes, jump: Jump, view: View) -> list[Label]:
    """Draw the power up to take-off; return the name of its peak."""
    time, power = _until(jump, jump.motion.force_n * jump.motion.velocity_m_per_s, view,
                         jump.events["takeoff"])  # fmt: skip
    _curve(axes, time, power, "Power\n(W)")
    peak = jump.metrics.get("peak_propulsion_power_w", math.nan)
    if not (math.isfinite(peak) and power.size):
        return []
    place = int(np.argmax(power))
    _dot(axes, float(time[place]), float(power[place]))
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.25 * (high - low))
    return [Label(f"peak {show(peak, 'W')}", float(time[place]), float(power[place]), (-1.0, 0.6))]


def draw_velocity(axes: Axes, jump: Jump, view: View) -> None:
    """Draw the velocity as far as it is known."""
    velocity = jump.motion.velocity_m_per_s
    _curve(axes, *_until(jump, velocity, view, motion_known_until(jump)), "Velocity\n(m/s)")
    for key in ("peak_downward_velocity", "takeoff"):
        _dot_at(axes, jump, key, velocity)


def draw_displacement(axes: Axes, jump: Jump, view: View) -> None:
    """Draw the displacement as far as it is known."""
    displacement = 100 * jump.motion.displacement_m
    known = _until(jump, displacement, view, motion_known_until(jump))
    _curve(axes, *known, "Displacement\n(cm)")
    _dot_at(axes, jump, "zero_velocity", displacement)


def _until(
    jump: Jump, values: NDArray[np.float64], view: View, end: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    time = jump.motion.time_s
    mask = view.mask(time) & (time <= end)
    return time[mask], values[mask]


def _curve(axes: Axes, time: NDArray[np.float64], values: NDArray[np.float64], label: str) -> None:
    axes.plot(time, values, color=PALETTE[0])
    axes.axhline(0, color=MUTED, linewidth=0.6)
    axes.set_ylabel(label)


def _dot_at(axes: Axes, jump: Jump, key: str, series: NDArray[np.float64]) -> None:
    when = jump.events.get(key, math.nan)
    if math.isfinite(when):
        _dot(axes, when, float(np.interp(when, jump.motion.time_s, series)))


def _dot(axes: Axes, x: float, y: float) -> None:
    axes.plot([x], [y], marker="o", markersize=4.5, color="white", markeredgecolor=INK,
              markeredgewidth=1.0, zorder=5)  # fmt: skip


def phase_spans(jump: Jump, view: View) -> list[tuple[str, float, float]]:
    """Return name, start and end of each phase within the view."""
    spans = []
    for name, first, last in PHASES:
        start = jump.events.get(first, math.nan)
        stop = jump.events.get(last, math.nan) if last else view.stop
        if math.isfinite(start) and math.isfinite(stop) and stop > start:
            spans.append((name, start, min(stop, view.stop)))
    return spans


def draw_phases(axes: Axes, jump: Jump, view: View) -> None:
    """Tint the phases of a panel."""
    for number, (_, start, stop) in enumerate(phase_spans(jump, view)):
        axes.axvspan(start, stop, color=TINTS[(number + 1) % 2], linewidth=0, zorder=0)
        axes.axvline(start, color=MUTED, linewidth=0.5, alpha=0.7, zorder=0.5)


def name_phases(axes: Axes, jump: Jump, view: View) -> list[Text]:
    """Write name and duration of each phase into a strip, in two rows where they are narrow.

    The figure is settled before.
    """
    figure = axes.get_figure(root=True)
    assert figure is not None
    points = axes.bbox.width * 72.0 / figure.dpi
    ends = [-math.inf, -math.inf]
    texts = []
    for name, start, stop in phase_spans(jump, view):
        last = "" if name == "landing" else f"\n{show(stop - start, 's')}"
        text = axes.text(0, 0, name + last, ha="center", va="top", fontsize=8, style="italic",
                         transform=axes.transAxes, linespacing=1.1)  # fmt: skip
        width = size_of(text)[0] / points
        middle = ((start + stop) / 2 - view.start) / (view.stop - view.start)
        middle = min(max(middle, width / 2), 1.0 - width / 2)
        free = [max(middle, end + _APART / points + width / 2) for end in ends]
        row = 0 if free[0] <= free[1] + 1e-9 else 1
        text.set_position((free[row], (0.97, 0.47)[row]))
        ends[row] = free[row] + width / 2
        texts.append(text)
    return texts
