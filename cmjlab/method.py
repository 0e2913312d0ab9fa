"""Method: every signal choice that can change a number, with unit, allowed values and source.

The defaults are the recommended rules; each published recipe has a named preset. A study
has one Method for all its files, since a choice that differs between files is a confound.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

from cmjlab.checks import one_of
from cmjlab.method_limits import Limits
from cmjlab.settings import Settings, setting
from cmjlab.units import STANDARD_GRAVITY

OWEN = "Owen et al. 2014, J Strength Cond Res 28:1552 (abstract read)"
MEYLAN = "Meylan et al. 2011, J Strength Cond Res 25:1164 (abstract read)"
MCMAHON = "McMahon et al. 2018, Strength Cond J 40(4):96 (abstract read; event rules from memory)"


@dataclass(frozen=True, eq=False)
class Method(Settings):
    """All choices of the signal analysis; frozen, hashable, written to and read from TOML.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.Method(onset_rule="sd", onset_sd=5.0)
    Method(onset_rule='sd')
    >>> cj.Method() == cj.Method(onset_rule="fit")
    True
    >>> cj.Method().replace(integration_start="weighing_end").to_dict()["integration_start"]
    'weighing_end'
    >>> [row["unit"] for row in cj.Method.describe() if row["name"] == "gravity_m_per_s2"]
    ['m/s²']
    """

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
    weigh_before_offset: bool = setting(
        False, "read body weight before the offset is removed; only published recipes want this"
    )
    weighing: str = setting(
        "stillest",
        "where body weight is read: the stillest window before the movement (safe against"
        " restlessness), the window that ends just before the movement (a little better under"
        " even sway), or the start of the contact",
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
    weighing_search_s: float = setting(
        10.0, "the window lies at most this long before take-off", unit="s", low=1.0, high=600.0
    )
    weighing_gap_s: float = setting(
        0.1, "window 'last' ends this long before the onset", unit="s", low=0.0, high=2.0
    )
    body_weight: str = setting(
        "window",
        "body weight from the weighing window, or from the momentum balance between standing"
        " before and standing after the jump (from the window when there is no standing after);"
        " 'session': from the window, and where the athlete does not stand still, from the"
        " athlete's other jumps of the session (for jumps in a row and short waits)",
        allowed=("window", "rest_to_rest", "session"),
    )
    onset_rule: str = setting(
        "fit",
        "what marks the onset: 'fit' curves through the first part of the drop, weighed against"
        " noise and sway of standing (no threshold, no shift; its bias hardly depends on how an"
        " athlete starts); or a change of force by standard deviations of the weighing window"
        " (with the floor below), newtons, or percent of body weight",
        allowed=("fit", "sd", "newton", "percent"),
        source="our own, errors in tests/calibration; a threshold of 5 SD: " + OWEN,
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
        2.5, "onset threshold of rule 'percent'", unit="% of body weight", low=0.1, high=50.0,
        source=MEYLAN,
    )  # fmt: skip
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
    onset_rise: str = setting(
        "include",
        "a rise of more than 2 % of body weight directly before the drop: the beginning of the"
        " movement, or not part of it (backward search only). Ignoring a rise of 3 % costs 8 mm"
        " of height and 20 mm of depth in simulated jumps",
        allowed=("include", "ignore"),
        source="Owen et al. 2014 count a change in either direction (abstract read)",
    )
    onset_persistence_s: float = setting(
        0.010, "a forward search wants the change to last this long", unit="s", low=0.0, high=0.2
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
    event_placing: str = setting(
        "extrapolate",
        "take-off and landing between samples: on the line of the last loaded samples where it"
        " meets the unloaded level, where a straight line between two samples meets the"
        " threshold, or on the first and last sample below the threshold",
        allowed=("extrapolate", "linear", "none"),
    )
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
    filter_order: int = setting(
        4, "order of the zero-lag filter, both passes together", allowed=(2, 4, 6, 8)
    )
    integration: str = setting(
        "trapezoid", "rule of numerical integration", allowed=("trapezoid", "simpson"), source=OWEN
    )
    integration_start: str = setting(
        "onset",
        "where the body is taken to be at rest: at the onset, or at the end of weighing",
        allowed=("onset", "weighing_end"),
    )
    phase_model: str = setting(
        "velocity",
        "braking and propulsion: 'velocity' from peak downward velocity to the lowest point to"
        " take-off; 'downward' braking from the onset on; 'minimum_force' braking from the"
        " lowest force on; 'net_force' propulsion only while the force is above body weight",
        allowed=("velocity", "downward", "minimum_force", "net_force"),
        source=MCMAHON,
    )
    propulsion_start_m_per_s: float = setting(
        0.0,
        "upward velocity at which propulsion begins",
        unit="m/s",
        low=0.0,
        high=0.1,
        source="0.01 m/s in McMahon et al. 2018, Strength Cond J 40(4):96 (from memory)",
    )
    braking_rfd: str = setting(
        "mean",
        "braking rate of force development: rise from peak downward velocity to the lowest point"
        " over its time; the same from the lowest force; or the steepest moving window",
        allowed=("mean", "from_minimum", "steepest"),
        source="three definitions in use, see Harry et al. 2020 (abstract read)",
    )
    rfd_window_s: float = setting(
        0.020, "length of the moving window of 'steepest'", unit="s", low=0.002, high=0.2
    )
    braking_stiffness: str = setting(
        "line",
        "quasi-stiffness: rise of force above body weight over braking displacement; slope of the"
        " regression of force on displacement; peak force over braking displacement; or force at"
        " zero velocity over depth",
        allowed=("line", "regression", "peak", "depth"),
        source="four definitions in use; slope reviewed by Struzik 2019 (from memory)",
    )
    asymmetry: str = setting(
        "share_difference",
        "formula of the asymmetries, signed, + = right larger; formulas are not interchangeable",
        allowed=(
            "share_difference",
            "larger_limb",
            "symmetry_index",
            "right_reference",
            "left_reference",
            "symmetry_angle",
        ),
        source="Bishop et al. 2016 (abstract read); share of the total for bilateral tests",
    )
    after_landing_s: float = setting(
        6.0, "the motion is followed at most this long after landing", unit="s", low=0.5, high=60.0
    )
    stable_percent: float = setting(
        5.0, "time to stabilisation: the force stays this near to body weight",
        unit="% of body weight", low=0.5, high=50.0,
        source="Flanagan et al. 2008 (from memory)",
    )  # fmt: skip
    stable_s: float = setting(
        1.0, "time to stabilisation: for this long", unit="s", low=0.1, high=5.0,
        source="Flanagan et al. 2008 (from memory)",
    )  # fmt: skip
    limits: Limits = setting(Limits(), "limits of the quality rules")

    def _contradictions(self) -> list[str]:
        problems = []
        if self.weighing_minimum_s > self.weighing_duration_s:
            problems.append(
                f"weighing_minimum_s ({self.weighing_minimum_s:g} s) is above weighing_duration_s"
                f" ({self.weighing_duration_s:g} s)"
            )
        if self.minimum_flight_s >= self.maximum_flight_s:
            problems.append(
                f"minimum_flight_s ({self.minimum_flight_s:g} s) is not below maximum_flight_s"
                f" ({self.maximum_flight_s:g} s)"
            )
        if self.onset_direction == "either" and self.onset_search == "backward":
            problems.append("onset_direction 'either' needs onset_search 'forward'")
        if self.onset_rule == "fit" and self.onset_search == "forward":
            problems.append("onset_rule 'fit' needs onset_search 'backward'")
        if self.weigh_before_offset and self.offset_removal == "none":
            problems.append("weigh_before_offset needs offset_removal 'flight' or 'minimum'")
        return problems

    @classmethod
    def preset(cls, name: str) -> Self:
        """Return the Method of a published recipe; see :data:`PRESETS` for names and sources."""
        one_of("preset", name, PRESETS)
        settings: dict[str, Any] = PRESETS[name]["settings"]
        return cls.from_dict(settings)


#: Published recipes by name: settings that differ from the defaults, what they are, and their
#: source. A recipe covers what its source states; all else stays at the defaults.
PRESETS: dict[str, dict[str, Any]] = {
    "recommended": {
        "settings": {},
        "about": "defaults of cmjlab",
        "source": "each setting names its own",
    },
    "least_error": {
        "settings": {"body_weight": "rest_to_rest"},
        "about": "smallest errors in our simulations: momentum balance beside fitted onset; needs"
        " standing still after the landing",
        "source": "our own; errors against truth in tests/calibration, no paper prescribes it",
    },
    "owen_2014": {
        "settings": {
            "weighing": "last",
            "weighing_gap_s": 0.0,
            "onset_rule": "sd",
            "onset_floor_percent": 0.0,
            "onset_search": "forward",
            "onset_direction": "either",
            "integration": "simpson",
        },
        "about": "1 s weighing before the movement, 5 SD either way, 30 ms earlier, Simpson's rule",
        "source": OWEN,
    },
    "mcmahon_2018": {
        "settings": {
            "weighing": "last",
            "weighing_gap_s": 0.0,
            "onset_rule": "sd",
            "onset_floor_percent": 0.0,
            "onset_rise": "ignore",
            "takeoff_rule": "flight_sd",
            "event_placing": "linear",
            "propulsion_start_m_per_s": 0.01,
        },
        "about": "six phases; onset and take-off by 5 SD, propulsion above 0.01 m/s",
        "source": MCMAHON,
    },
    "meylan_2011": {
        "settings": {
            "onset_rule": "percent",
            "onset_percent": 2.5,
            "onset_search": "forward",
            "onset_shift_s": 0.0,
        },
        "about": "onset at 2.5 % of body weight without shift",
        "source": MEYLAN,
    },
    "duarte_watanabe_2021": {
        "settings": {
            "gravity_m_per_s2": 9.8,
            "offset_removal": "minimum",
            "weigh_before_offset": True,
            "weighing": "start",
            "weighing_duration_s": 0.1,
            "weighing_minimum_s": 0.1,
            "onset_rule": "percent",
            "onset_percent": 5.0,
            "onset_search": "forward",
            "onset_persistence_s": 0.0,
            "onset_shift_s": 0.0,
            "takeoff_rule": "newton",
            "takeoff_newton": 10.0,
            "event_placing": "none",
        },
        "about": "teaching recipe: smallest force subtracted, 10 N, start below 95 % of body weight",
        "source": "Duarte & Watanabe 2021, doi:10.5281/zenodo.4599319, VerticalJump notebook (read)",
    },
    "fixed_20_newton": {
        "settings": {
            "onset_rule": "newton",
            "onset_newton": 20.0,
            "onset_rise": "ignore",
            "onset_shift_s": 0.0,
            "takeoff_rule": "newton",
            "takeoff_newton": 20.0,
            "event_placing": "linear",
        },
        "about": "20 N for onset, take-off and landing",
        "source": "common practice, no source",
    },
}
