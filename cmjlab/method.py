"""Method: every signal choice that can change a number, with unit, allowed values and source.

The defaults are the recommended rules; each published recipe has a named preset. A study
has one Method for all its files, since a choice that differs between files is a confound.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from cmjlab.checks import one_of
from cmjlab.settings import Settings, setting
from cmjlab.units import STANDARD_GRAVITY

OWEN = "Owen et al. 2014, J Strength Cond Res 28:1552 (abstract read)"


@dataclass(frozen=True, eq=False)
class Method(Settings):
    """All choices of the signal analysis; frozen, hashable, written to and read from TOML."""

    gravity_m_per_s2: float = setting(
        STANDARD_GRAVITY,
        "acceleration of free fall",
        unit="m/s²",
        low=9.7,
        high=9.9,
        source="standard gravity, CGPM 1901; local values differ by up to 0.3 %",
    )
    offset_removal: str = setting(
        "none",
        "subtract an unloaded level before everything else: 'flight' its mean in the middle"
        " half of the flight, 'minimum' the smallest value of the recording",
        allowed=("none", "flight", "minimum"),
    )
    weighing: str = setting(
        "stillest",
        "where body weight is read: the stillest window before the movement, the window that"
        " ends just before the movement, or the start of the recording",
        allowed=("stillest", "last", "start"),
    )
    weighing_duration_s: float = setting(
        1.0, "length of the weighing window", unit="s", low=0.05, high=10.0, source=OWEN
    )
    weighing_minimum_s: float = setting(
        0.15,
        "shortest window that is still used, with a failed check, when there is less standing",
        unit="s",
        low=0.02,
        high=10.0,
    )
    body_weight: str = setting(
        "window",
        "body weight from the weighing window, or from the mean force still to still",
        allowed=("window", "rest_to_rest"),
    )
    onset_rule: str = setting(
        "sd",
        "force change that marks the onset: standard deviations of the weighing window"
        " (with the floor below), newtons, or percent of body weight",
        allowed=("sd", "newton", "percent"),
        source=OWEN,
    )
    onset_sd: float = setting(
        5.0, "onset threshold of rule 'sd'", unit="SD", low=1.0, high=20.0, source=OWEN
    )
    onset_floor_percent: float = setting(
        1.0, "least threshold of rule 'sd'", unit="% of body weight", low=0.0, high=20.0
    )
    onset_newton: float = setting(
        10.0, "onset threshold of rule 'newton'", unit="N", low=0.5, high=500.0
    )
    onset_percent: float = setting(
        2.5,
        "onset threshold of rule 'percent'",
        unit="% of body weight",
        low=0.1,
        high=50.0,
        source="Meylan et al. 2011, J Strength Cond Res 25:1164 (abstract read)",
    )
    onset_search: str = setting(
        "backward",
        "search backwards from the lowest force of unweighting, or forwards from the end of"
        " the weighing window",
        allowed=("backward", "forward"),
    )
    onset_direction: str = setting(
        "below",
        "a change below body weight only, or in either direction (forward search only)",
        allowed=("below", "either"),
    )
    onset_shift_s: float = setting(
        0.030, "the onset is put this much before the crossing", unit="s", low=0.0, high=0.2,
        source=OWEN,
    )  # fmt: skip
    takeoff_rule: str = setting(
        "larger",
        "force at take-off and landing: newtons, flight mean + SDs, or the larger of both",
        allowed=("newton", "flight_sd", "larger"),
    )
    takeoff_newton: float = setting(10.0, "fixed threshold", unit="N", low=0.0, high=200.0)
    takeoff_sd: float = setting(
        5.0,
        "standard deviations of the force in flight",
        unit="SD",
        low=1.0,
        high=20.0,
        source="Pérez-Castilla et al. 2021, Meas Phys Educ Exerc Sci 25:227 (abstract read)",
    )
    interpolate_events: bool = setting(True, "place events between samples by a straight line")
    minimum_flight_s: float = setting(
        0.15, "shorter unloaded runs are no flight", unit="s", low=0.02, high=0.5
    )
    maximum_flight_s: float = setting(
        0.95, "longer unloaded runs are no flight", unit="s", low=0.5, high=2.0
    )
    filter: str = setting(
        "none",
        "low-pass filter of the force before integration; events always use unfiltered force",
        allowed=("none", "butterworth"),
        source="Harry et al. 2022, J Strength Cond Res 36:1459 (abstract read): raw preferred",
    )
    filter_cutoff_hz: float = setting(
        100.0, "cut-off of the zero-lag filter", unit="Hz", low=5.0, high=1000.0
    )
    filter_order: int = setting(4, "order of the zero-lag filter", low=2, high=8)
    integration: str = setting(
        "trapezoid", "rule of numerical integration", allowed=("trapezoid", "simpson"), source=OWEN
    )
    propulsion_start_m_per_s: float = setting(
        0.0,
        "upward velocity at which propulsion begins",
        unit="m/s",
        low=0.0,
        high=0.1,
        source="0.01 m/s in McMahon et al. 2018, Strength Cond J 40(4):96 (from memory)",
    )

    @classmethod
    def preset(cls, name: str) -> Self:
        """Return the Method of a published recipe; see :data:`PRESETS` for names and sources."""
        one_of("preset", name, PRESETS)
        return cls.from_dict(PRESETS[name]["settings"])  # type: ignore[arg-type]


#: Published recipes by name: settings that differ from the defaults, and their source.
PRESETS: dict[str, dict[str, object]] = {
    "recommended": {"settings": {}, "source": "defaults of cmjlab (see each setting)"},
}
