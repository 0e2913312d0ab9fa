"""Rows and points of individual changes for one metric."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from cmjlab.results import Reason
from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.noise import Noise, maximum_modulus
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.verdicts import side_of_zero
from cmjlab.stats.individual.own_noise import OwnNoise
from cmjlab.stats.individual.own_rows import add_own
from cmjlab.stats.individual.response import Shrinkage, response_limits, shrinkage, signed_root

Array = NDArray[np.float64]

#: Below this many athletes per group the spread of responses cannot name responders.
ENOUGH = 20
_SEED = 40_427


@dataclass(frozen=True)
class Individuals:
    """One metric's pairs with their noise.

    Attributes
    ----------
    pairs : Pairs
    noise : Noise
    sessions : list of str
        Baseline sessions.
    after : str
    jumps : dict
        Athlete to (jumps per baseline session, jumps after), when known.
    control : str or None
    own : OwnNoise or Reason
        The noise of each athlete, or why it is not known.
    """

    pairs: Pairs
    noise: Noise
    sessions: list[str]
    after: str
    jumps: dict[str, Any]
    control: str | None
    own: OwnNoise | Reason = Reason("own_noise_unknown")

    @property
    def baseline(self) -> str:
        """Name of what the change is counted from: a session, or the mean of several."""
        return baseline_name(self.sessions)

    @property
    def groups(self) -> list[str]:
        """Groups in the order of the athletes; "" when there are none."""
        return list(dict.fromkeys(str(g) for g in self.pairs.group))

    def of_group(self, group: str) -> Pairs:
        """Return the pairs of one group."""
        return self.pairs.take(self.pairs.group == group)

    def uses_components(self, athlete: str) -> bool:
        """Whether the noise of an athlete's change comes from day and jump components."""
        return athlete in self.jumps and self.noise.has_components

    def noise_of(self, athletes: tuple[str, ...]) -> tuple[Array, Array]:
        """Return standard errors and df of the athletes' changes, shape (n,) each."""
        plain = self.noise.change_se(len(self.sessions), 1)
        found = [
            self.noise.change_se_from_jumps(*self.jumps[a]) if self.uses_components(a) else plain
            for a in athletes
        ]
        both = np.array(found, dtype=np.float64).reshape(len(athletes), 2)
        return both[:, 0], both[:, 1]


def baseline_name(sessions: list[str]) -> str:
    """Return the name of a baseline; several sessions are averaged."""
    return sessions[0] if len(sessions) == 1 else f"mean({', '.join(sessions)})"


def add_individuals(rows: Rows, people: Individuals, role: str) -> pd.DataFrame:
    """Add all rows of one metric and return the points: one row per athlete.

    Parameters
    ----------
    rows : Rows
    people : Individuals
    role : str
        "primary" or "exploratory".
    """
    metric = people.pairs.metric
    squad = rows.at(metric=metric, first=people.after, second=people.baseline, role=role)
    return pd.concat(
        [pd.DataFrame(), *(_add_group(squad, people, g) for g in people.groups)],
        ignore_index=True,
    )


def _add_group(squad: Place, people: Individuals, group: str) -> pd.DataFrame:
    """Add the rows of one group: its spread of responses, then its athletes."""
    part = people.of_group(group)
    here = squad.at(group=group or None)
    shrunk = None
    if group != people.control:
        without = _add_response(here, people, part)
        shrunk = _shrinkage(people, part, without)
    points = pd.DataFrame({
        "metric": part.metric, "athlete": list(part.athletes), "group": group,
        "before": part.before, "after": part.after, "change": part.change,
    })  # fmt: skip
    athletes = here.at(athlete=list(part.athletes), n=1)
    points = points.assign(**_add_changes(athletes, people, part))
    if shrunk is not None:
        points = points.assign(**_add_shrunken(athletes, people, part, shrunk))
    return points.assign(**_add_drift(athletes, people, part))


def _add_response(here: Place, people: Individuals, part: Pairs) -> tuple[float, float] | None:
    """Add the spread of true responses of a trained group.

    Returns
    -------
    (variance, df) of the changes without responses, None where the spread cannot be had.
    """
    place = here.at(n=len(part.athletes))
    if people.control is None:
        place.none("response_sd", Reason("no_control_group"))
        return None
    other = people.of_group(people.control)
    n1, n2 = len(part.athletes), len(other.athletes)
    if min(n1, n2) < 3:
        place.none("response_sd", Reason("few_for_response", {"trained": n1, "control": n2}))
        return None
    v1, v2 = float(part.change.var(ddof=1)), float(other.change.var(ddof=1))
    if not (v1 > 0 and v2 > 0):
        place.none("response_sd", Reason("no_spread_of_changes"))
        return None
    low, high = response_limits(v1, v2, n1 - 1, n2 - 1, here.level)
    few = "_few" if min(n1, n2) < ENOUGH else ""
    side = side_of_zero(float(low), float(high))
    here.at(n=n1 + n2).add(
        "response_sd",
        signed_root(v1 - v2),
        limits=(low, high),
        df=n1 - 1,
        df2=n2 - 1,
        estimator="signed_root_of_variances",
        interval_kind="mls",
        remark=Reason(f"response_{side}{few}", {"enough": ENOUGH} if few else {}),
    )
    return v2, n2 - 1.0


def _shrinkage(
    people: Individuals, part: Pairs, without: tuple[float, float] | None
) -> Shrinkage | None:
    """Return the shrinkage of one trained group; None below three athletes or without spread."""
    if len(part.athletes) < 3 or part.change.var(ddof=1) <= 0:
        return None
    se, df = people.noise_of(part.athletes)
    return shrinkage(part.change, (float(np.mean(se**2)), float(np.mean(df))), without)


def _add_changes(athletes: Place, people: Individuals, part: Pairs) -> dict[str, Array]:
    """Add each athlete's change with its own interval and the one for all at once."""
    se, df = people.noise_of(part.athletes)
    words = {"baselines": len(people.sessions)}
    kinds = [_noise_kind(people, a) for a in part.athletes]
    change = part.change
    athletes.add_estimate(
        "individual_change",
        Estimate(change, se, df),
        estimator=kinds,
        interval_kind="t",
        words=words,
    )
    count = max(len(people.pairs.athletes), 1)
    factor = {d: maximum_modulus(athletes.level, count, float(d)) for d in np.unique(df)}
    half = np.array([factor[d] for d in df]) * se
    low, high = change - half, change + half
    athletes.add(
        "individual_change_all",
        change,
        limits=(low, high),
        df=df,
        se=se,
        test_value=change / se,
        estimator=kinds,
        interval_kind="all_at_once",
        words=words,
    )
    plain = Estimate(change, se, df).interval(athletes.level)
    own = add_own(athletes, people.own, people.noise, part, se)
    return {"ci_low": plain[0], "ci_high": plain[1], "all_low": low, "all_high": high, **own}


def _noise_kind(people: Individuals, athlete: str) -> str:
    if people.uses_components(athlete):
        return "change_with_jump_components"
    return "change_of_two_sessions" if len(people.sessions) == 1 else "change_from_mean"


def _add_shrunken(
    athletes: Place, people: Individuals, part: Pairs, shrunk: Shrinkage
) -> dict[str, Array]:
    """Add each athlete's change drawn towards the group mean."""
    level = athletes.level
    low, high = shrunk.limits(part.change, level, np.random.default_rng(_SEED))
    df = shrunk.n - 1.0
    sides = [side_of_zero(a, b) for a, b in zip(low, high, strict=True)]
    source = "control" if shrunk.from_control else "noise"
    estimate = shrunk.estimate(part.change)
    athletes.add(
        "shrunken_change",
        estimate,
        limits=(low, high),
        df=df,
        se=(high - low) / 2 / float(special.stdtrit(df, 0.5 + level / 2)),
        estimator="group_mean_only" if shrunk.share == 0 else f"drawn_in_by_{source}",
        interval_kind="share_uncertain",
        remark=[Reason(f"athlete_{side}") for side in sides],
        words={"share": shrunk.share},
    )
    return {"shrunken": estimate, "shrunken_low": low, "shrunken_high": high}


def _add_drift(athletes: Place, people: Individuals, part: Pairs) -> dict[str, Array]:
    """Add the drift to be expected of an extreme baseline, where the squad shows a slope."""
    slope, squad_mean = _baseline_slope(people)
    if not np.isfinite(slope):
        return {}
    drift = (slope - 1.0) * (part.before - squad_mean)
    athletes.add(
        "drift_expected",
        drift,
        reason=Reason("slope_taken_as_known"),
        estimator="slope_of_a_second_test",
        words={"slope": slope},
    )
    return {"drift_expected": drift}


def _baseline_slope(people: Individuals) -> tuple[float, float]:
    """Return the slope of a re-test on this baseline, 1 - noise variance / variance, and the mean."""
    before = people.pairs.before
    if len(before) < 3 or before.var(ddof=1) <= 0:
        return float("nan"), float("nan")
    noise = people.noise.typical_error**2 / len(people.sessions)
    return float(np.clip(1.0 - noise / before.var(ddof=1), 0.0, 1.0)), float(before.mean())
