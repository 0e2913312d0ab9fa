"""Statistics of one athlete's jumps with different loads."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_COMMON = "common practice, no source"
_MEMORY = " (from memory)"

LOADS: tuple[Statistic, ...] = (
    Statistic("velocity_at_zero_load", "Velocity without load (V0)", "metric", "a of v = a + b load, least squares over jumps, t interval", "how fast would this athlete push without load", _COMMON),
    Statistic("velocity_per_load", "Velocity lost per kilogram", "(m/s)/kg", "b of v = a + b load, least squares over jumps, t interval", "how much velocity does each kilogram cost", _COMMON),
    Statistic("load_at_zero_velocity", "Load without velocity (L0)", "kg", "-a / b, limits by Fieller's theorem", "which load could not be moved any more, if the line went on", "Fieller 1954, J R Stat Soc B 16:175" + _MEMORY),
    Statistic("line_r2", "Share of variance on the line (R²)", "", "1 - residual / total sum of squares, over jumps", "do velocity and load lie on a line", _COMMON, has_interval=False),
    Statistic("load_at_peak_power", "Load of the highest power", "kg", "-b / (2 c) of P = a + b load + c load², limits by Fieller's theorem", "with which load is power highest", "Fieller 1954, J R Stat Soc B 16:175" + _MEMORY),
)  # fmt: skip
