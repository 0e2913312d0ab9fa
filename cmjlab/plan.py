"""Plan: the choices that are not signal choices, and how the groups of a study came about."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from cmjlab.settings import Settings, setting

#: Report metrics when a study names none. RSImod never stands without height and time.
DEFAULT_REPORT_METRICS = (
    "jump_height_m",
    "time_to_takeoff_s",
    "rsi_modified_m_per_s",
    "countermovement_depth_m",
    "peak_propulsion_power_w_per_kg",
    "mean_propulsion_force_n_per_kg",
    "force_at_zero_velocity_n_per_kg",
    "braking_duration_s",
)


@dataclass(frozen=True, eq=False)
class Selection(Settings):
    """Groups were chosen on observed values: which metrics, in which session.

    ``before="base2"`` in a change analysis with a Selection on "base1" is the clean change;
    an ANCOVA that leaves out a selecting variable is refused.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.Selection(("jump_height_m",), "base1").session
    'base1'
    """

    metrics: tuple[str, ...] = setting((), "metrics whose values decided the group")
    session: str = setting("", "session whose values were used")

    def _contradictions(self) -> list[str]:
        if not self.metrics or not self.session:
            return [
                "both metrics and session are needed, e.g. Selection(('jump_height_m',), 'base1')"
            ]
        return []


@dataclass(frozen=True, eq=False)
class Plan(Settings):
    """What was planned: summary of jumps, primary metric, change that matters, groups.

    Examples
    --------
    >>> import cmjlab as cj
    >>> plan = cj.Plan(change_that_matters={"jump_height_m": 0.015}, control_group="usual")
    >>> plan.primary_metric
    'jump_height_m'
    """

    summary: str = setting(
        "mean",
        "value of a session from its accepted jumps",
        allowed=("mean", "best", "median", "best_n_mean"),
        source="mean: Claudino et al. 2017 (abstract read), and order statistics",
    )
    best_n: int = setting(2, "jumps averaged by summary 'best_n_mean'", low=1, high=20)
    jumps_wanted: int = setting(3, "jumps wanted per athlete and session", low=1, high=50)
    load_kg: float = setting(
        0.0, "jumps with this load are analysed, those with other loads are kept apart", unit="kg",
        low=0.0, high=1000.0,
    )  # fmt: skip
    minimum_jumps: int = setting(2, "fewer accepted jumps are reported", low=1, high=50)
    primary_metric: str = setting("jump_height_m", "the one metric that answers the question")
    report_metrics: tuple[str, ...] = setting(
        DEFAULT_REPORT_METRICS, "metrics of the report; all but the primary are exploratory"
    )
    change_that_matters: dict[str, float] = setting(
        {}, "smallest change worth acting on, per metric, in the metric's unit"
    )
    typical_error: dict[str, Any] = setting(
        {},
        "typical error of a measure that is tested once, per metric, in the metric's unit: a"
        ' number, or { value = …, source = "…" }',
    )
    level: float = setting(0.95, "level of the intervals", low=0.5, high=0.999)
    before: str = setting("", "session before the block; empty: the last baseline session")
    after: str = setting("", "session after the block; empty: the last session with role post")
    groups_formed: str = setting(
        "other",
        "how the groups came about: at random, selected on observed values, or otherwise",
        allowed=("random", "selected", "other"),
    )
    selected_on: tuple[str, ...] = setting((), "metrics that decided the group")
    selected_in: str = setting("", "session whose values decided the group")
    control_group: str = setting("", "group that the others are compared with; empty: none")
    settled: tuple[str, ...] = setting(
        (), "doubts of the check that a person has looked into and found to be true, by their names"
    )
    block_weeks: float = setting(0.0, "length of the block; 0: not stated", low=0.0, high=200.0)

    def _contradictions(self) -> list[str]:
        if self.groups_formed == "selected" and not (self.selected_on and self.selected_in):
            return ["groups_formed is 'selected': selected_on and selected_in are needed"]
        return [p for m, v in self.typical_error.items() if (p := _error_problem(m, v))]

    @property
    def declared_errors(self) -> dict[str, tuple[float, str]]:
        """The stated typical errors: metric -> (value, source or "")."""
        return {
            metric: (float(v["value"]), str(v.get("source", ""))) if isinstance(v, dict) else (float(v), "")
            for metric, v in self.typical_error.items()
        }  # fmt: skip

    @property
    def assignment(self) -> str | Selection:
        """The record of how groups came about, as :func:`cmjlab.change_between` takes it."""
        if self.groups_formed == "selected":
            return Selection(self.selected_on, self.selected_in)
        return self.groups_formed


def _error_problem(metric: str, value: Any) -> str:
    """Return what is wrong with a stated typical error, "" when nothing is."""
    number, source = value, ""
    if isinstance(value, dict):
        strange = [k for k in value if k not in ("value", "source")]
        if strange or "value" not in value:
            found = f"found {strange[0]!r}" if strange else "'value' is missing"
            return f'typical_error.{metric}: {found}; write {{ value = 0.05, source = "…" }}'
        number, source = value["value"], value.get("source", "")
    if isinstance(number, bool) or not isinstance(number, int | float) or not 0 < number < math.inf:
        return f"typical_error.{metric}: a number above 0 is needed, found {number!r}"
    if not isinstance(source, str):
        return f"typical_error.{metric}: the source is text in quotation marks, found {source!r}"
    return ""
