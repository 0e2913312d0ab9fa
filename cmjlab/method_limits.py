"""Limits: what the quality rules of a jump are held against."""

from __future__ import annotations

from dataclasses import dataclass

from cmjlab.settings import Settings, setting

_COMMON = "common practice, no source"


@dataclass(frozen=True, eq=False)
class Limits(Settings):
    """Limits of the quality rules; part of :class:`cmjlab.Method`.

    A value beyond the warn limit is a warning, beyond the fail limit a fail. All limits are
    our own choices unless a source is named.
    """

    still_warn_percent: float = setting(
        0.5, "SD of the force while weighing", unit="% of body weight", low=0.0, high=20.0
    )
    still_fail_percent: float = setting(
        1.0, "SD of the force while weighing", unit="% of body weight", low=0.0, high=20.0
    )
    slope_warn_percent: float = setting(
        0.5, "trend of the force while weighing", unit="% of body weight per s", low=0.0, high=50.0
    )
    slope_fail_percent: float = setting(
        1.0, "trend of the force while weighing", unit="% of body weight per s", low=0.0, high=50.0
    )
    offset_warn_n: float = setting(
        5.0, "mean force in mid-flight, either sign", unit="N", low=0.0, high=500.0
    )
    offset_fail_n: float = setting(
        10.0, "mean force in mid-flight, either sign", unit="N", low=0.0, high=500.0
    )
    noise_warn_n: float = setting(
        3.0, "SD of the force in mid-flight", unit="N", low=0.0, high=500.0
    )
    noise_fail_n: float = setting(
        10.0, "SD of the force in mid-flight", unit="N", low=0.0, high=500.0
    )
    flight_low_s: float = setting(0.20, "flight time", unit="s", low=0.0, high=1.0)
    flight_high_s: float = setting(0.90, "flight time", unit="s", low=0.1, high=2.0)
    early_s: float = setting(
        0.050, "the force moves this much before the onset", unit="s", low=0.0, high=2.0
    )
    preload_warn_percent: float = setting(
        5.0,
        "rise above body weight in the half second before the onset",
        unit="% of body weight",
        low=0.0,
        high=100.0,
    )
    preload_fail_percent: float = setting(
        10.0,
        "rise above or fall below body weight in the half second before the onset",
        unit="% of body weight",
        low=0.0,
        high=100.0,
    )
    moving_fail_m_per_s: float = setting(
        0.10, "speed at the onset, from the end of weighing on", unit="m/s", low=0.0, high=2.0
    )
    dip_m_per_s: float = setting(
        0.05, "smaller swings of the velocity are no second dip", unit="m/s", low=0.0, high=1.0
    )
    landing_wait_s: float = setting(
        0.3, "body weight must be reached this soon after landing", unit="s", low=0.05, high=2.0
    )
    standing_after_percent: float = setting(
        5.0,
        "standing force after landing differs from body weight",
        unit="% of body weight",
        low=0.1,
        high=100.0,
    )
    clipping_samples: int = setting(
        3, "equal samples in a row at the largest force", low=2, high=1000
    )
    lost_isolated: int = setting(2, "lost samples that are bridged with a note", low=0, high=1000)
    lost_near_event_s: float = setting(
        0.05, "no sample may be lost this near to an event", unit="s", low=0.0, high=1.0
    )
    frozen_samples: int = setting(10, "equal samples in a row, not zero", low=3, high=10000)
    rate_warn_hz: float = setting(
        1000.0, "sampling rate below", unit="Hz", low=1.0, high=1e5,
        source="Owen et al. 2014, J Strength Cond Res 28:1552 (abstract read): 1000 Hz as criterion",
    )  # fmt: skip
    rate_fail_hz: float = setting(
        200.0, "sampling rate below", unit="Hz", low=1.0, high=1e5,
        source="Hori et al. 2009, J Strength Cond Res 23:874 (from memory): 200 Hz as floor",
    )  # fmt: skip
    sync_warn_s: float = setting(
        0.002, "one plate is unloaded or loaded before the other", unit="s", low=0.0, high=1.0
    )
    sync_fail_s: float = setting(
        0.010, "one plate is unloaded or loaded before the other", unit="s", low=0.0, high=1.0
    )
    side_share_percent: float = setting(
        10.0, "least load of one plate while weighing", unit="% of body weight", low=0.0, high=50.0
    )
    agree_low_warn_m: float = setting(
        -0.015, "height from flight time minus height from impulse, below", unit="m", low=-1, high=0
    )
    agree_low_fail_m: float = setting(
        -0.030, "height from flight time minus height from impulse, below", unit="m", low=-1, high=0
    )
    agree_high_warn_m: float = setting(
        0.040, "height from flight time minus height from impulse, above", unit="m", low=0, high=1
    )
    agree_high_fail_m: float = setting(
        0.060, "height from flight time minus height from impulse, above", unit="m", low=0, high=1
    )
    rest_warn_percent: float = setting(
        0.25, "body weight from rest to rest against weighing", unit="%", low=0.0, high=20.0
    )
    rest_fail_percent: float = setting(
        0.50, "body weight from rest to rest against weighing", unit="%", low=0.0, high=20.0
    )
    rest_still_percent: float = setting(
        1.5, "SD of the force after landing that still counts as standing",
        unit="% of body weight", low=0.0, high=20.0,
    )  # fmt: skip
    mass_low_kg: float = setting(
        15.0, "body mass; below it the force is hardly in newtons", unit="kg", low=0.0, high=500.0,
        source=_COMMON,
    )  # fmt: skip
    mass_high_kg: float = setting(
        250.0, "body mass; above it the force is hardly in newtons", unit="kg", low=1.0, high=1e4,
        source=_COMMON,
    )  # fmt: skip
    height_most_m: float = setting(
        1.2, "no person jumps higher from standing", unit="m", low=0.1, high=10.0, source=_COMMON
    )
    way_most_m: float = setting(
        1.5, "no body dips, or rises before take-off, by more", unit="m", low=0.1, high=10.0,
        source=_COMMON,
    )  # fmt: skip
    power_most_w_per_kg: float = setting(
        150.0, "no person pushes with more power", unit="W/kg", low=10.0, high=1e4, source=_COMMON
    )
    time_low_s: float = setting(0.35, "time to take-off", unit="s", low=0.0, high=5.0)
    time_high_s: float = setting(1.6, "time to take-off", unit="s", low=0.1, high=10.0)
    depth_low_m: float = setting(0.08, "countermovement depth", unit="m", low=0.0, high=1.0)
    depth_high_m: float = setting(0.60, "countermovement depth", unit="m", low=0.0, high=2.0)
    rise_low_m: float = setting(0.03, "rise at take-off", unit="m", low=-1.0, high=1.0)
    rise_high_m: float = setting(0.25, "rise at take-off", unit="m", low=0.0, high=1.0)
    force_low_bw: float = setting(1.3, "peak force", unit="body weights", low=0.0, high=10.0)
    force_high_bw: float = setting(4.0, "peak force", unit="body weights", low=0.0, high=20.0)
    velocity_low_m_per_s: float = setting(1.0, "take-off velocity", unit="m/s", low=0.0, high=10.0)
    velocity_high_m_per_s: float = setting(4.0, "take-off velocity", unit="m/s", low=0.0, high=10.0)
    pause_s: float = setting(
        0.15,
        "a longer stop at the bottom makes it a squat jump",
        unit="s",
        low=0.02,
        high=2.0,
    )
    standing_before_s: float = setting(
        0.8,
        "contact after an unloaded plate must last this long before take-off",
        unit="s",
        low=0.1,
        high=5.0,
    )
    height_se_warn_m: float = setting(
        0.010, "standard error of jump height from the weighing", unit="m", low=0.0, high=1.0
    )
    countermovement_m: float = setting(
        0.03, "a smaller dip is no countermovement", unit="m", low=0.0, high=0.5
    )
    weight_warn_percent: float = setting(
        1.0, "body weight against the athlete's session", unit="%", low=0.0, high=50.0
    )
    weight_fail_percent: float = setting(
        3.0, "body weight against the athlete's session", unit="%", low=0.0, high=50.0
    )
    below_best_percent: float = setting(
        10.0, "height below the athlete's best of the session", unit="%", low=0.0, high=100.0
    )
    far_below_best_percent: float = setting(
        20.0, "height below the athlete's best of the study", unit="%", low=0.0, high=100.0
    )

    def _contradictions(self) -> list[str]:
        pairs = (
            ("still_warn_percent", "still_fail_percent"),
            ("slope_warn_percent", "slope_fail_percent"),
            ("offset_warn_n", "offset_fail_n"),
            ("noise_warn_n", "noise_fail_n"),
            ("preload_warn_percent", "preload_fail_percent"),
            ("rate_fail_hz", "rate_warn_hz"),
            ("sync_warn_s", "sync_fail_s"),
            ("agree_low_fail_m", "agree_low_warn_m"),
            ("agree_high_warn_m", "agree_high_fail_m"),
            ("rest_warn_percent", "rest_fail_percent"),
            ("flight_low_s", "flight_high_s"),
            ("mass_low_kg", "mass_high_kg"),
            ("time_low_s", "time_high_s"),
            ("depth_low_m", "depth_high_m"),
            ("rise_low_m", "rise_high_m"),
            ("force_low_bw", "force_high_bw"),
            ("velocity_low_m_per_s", "velocity_high_m_per_s"),
            ("weight_warn_percent", "weight_fail_percent"),
            ("below_best_percent", "far_below_best_percent"),
        )
        return [
            f"{low} ({getattr(self, low):g}) is above {high} ({getattr(self, high):g})"
            for low, high in pairs
            if getattr(self, low) > getattr(self, high)
        ]
