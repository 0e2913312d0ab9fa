"""Rows, points and sentences of individual changes for one metric."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.results import Note
from cmjlab.stats.change.pairs import Pairs
from cmjlab.stats.common.estimate_rows import Row, estimate_fields, not_estimable
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.noise import Noise, maximum_modulus
from cmjlab.stats.common.tables import unit_of
from cmjlab.stats.common.wording import interval_text, name_of, percent, range_text, signed
from cmjlab.stats.individual.response import Shrinkage, response_limits, shrinkage, signed_root
from cmjlab.units import show

Array = NDArray[np.float64]

#: Below this many athletes per group the spread of responses cannot name responders.
ENOUGH = 20
_SEED = 40_427
ALL_AT_ONCE = "holds for all athletes at once (studentised maximum modulus)"


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
    level : float
    """

    pairs: Pairs
    noise: Noise
    sessions: list[str]
    after: str
    jumps: dict[str, Any]
    control: str | None
    level: float

    @property
    def unit(self) -> str:
        """Unit of the metric."""
        return unit_of(self.pairs.metric)

    @property
    def contrast(self) -> str:
        """``after - before``; several baselines are joined."""
        first = self.sessions[0] if len(self.sessions) == 1 else f"mean({', '.join(self.sessions)})"
        return f"{self.after} - {first}"

    def noise_of(self, athlete: str) -> tuple[float, float]:
        """Return standard error and df of one athlete's change."""
        if athlete in self.jumps and self.noise.has_components:
            return self.noise.change_se_from_jumps(*self.jumps[athlete])
        return self.noise.change_se(len(self.sessions), 1)


@dataclass
class Found:
    """What :func:`individual_rows` returns."""

    rows: list[Row] = field(default_factory=list)
    points: list[Row] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    response: dict[str, Row] = field(default_factory=dict)
    shrunk: dict[str, Shrinkage] = field(default_factory=dict)
    multipliers: dict[float, float] = field(default_factory=dict)


def individual_rows(people: Individuals) -> Found:
    """Return all rows of one metric."""
    out = Found()
    place: Row = {
        "metric": people.pairs.metric,
        "contrast": people.contrast,
        "unit": people.unit,
    }
    names = list(dict.fromkeys(str(g) for g in people.pairs.group))
    for group in names:
        part = people.pairs.take(people.pairs.group == group)
        here = {**place, "group": group or None, "n": len(part.athletes)}
        if group != people.control:
            out.response[group] = _response_row(people, part, here)
            out.rows.append(out.response[group])
            shrunk = _shrinkage(people, part, out.response[group])
            if shrunk is not None:
                out.shrunk[group] = shrunk
        _athlete_rows(people, part, here, out)
    return out


def _response_row(people: Individuals, part: Pairs, place: Row) -> Row:
    """Return the spread of true responses of one trained group."""
    if people.control is None:
        why = "the spread of true responses needs a control group tested over the same weeks"
        return not_estimable(place, "response_sd", why)
    other = people.pairs.take(people.pairs.group == people.control)
    n1, n2 = len(part.athletes), len(other.athletes)
    if min(n1, n2) < 3:
        why = f"{n1} and {n2} athletes with both sessions; at least 3 in each group are needed"
        return not_estimable(place, "response_sd", why)
    v1, v2 = float(part.change.var(ddof=1)), float(other.change.var(ddof=1))
    if not (v1 > 0 and v2 > 0):
        return not_estimable(place, "response_sd", "the changes of a group have no spread")
    low, high = response_limits(v1, v2, n1 - 1, n2 - 1, people.level)
    row: Row = {**place, "statistic": "response_sd", "estimate": float(signed_root(v1 - v2))}
    row |= {"ci_low": float(low), "ci_high": float(high), "level": people.level, "n": n1 + n2}
    row |= {"df": float(n1 - 1), "df2": float(n2 - 1)}
    row["method"] = "signed root of the variance of change, trained - control; MLS limits"
    row["text"] = _response_text(row, min(n1, n2))
    return row


def _response_text(row: Row, smallest: int) -> str:
    negative = row["estimate"] < 0
    text = (
        "The changes of the control group spread more than those of the trained group. "
        if negative
        else ""
    )
    if row["ci_low"] <= 0 <= row["ci_high"]:
        text += "The interval holds zero: these data cannot tell whether athletes responded differently."
    elif row["ci_low"] > 0:
        text += "The interval holds only a larger spread in the trained group."
    else:
        text += "The interval holds only a smaller spread in the trained group."
    if smallest < ENOUGH:
        text += (
            f" With fewer than {ENOUGH} athletes per group nobody can be named a responder from it."
        )
    return text


def _shrinkage(people: Individuals, part: Pairs, response: Row) -> Shrinkage | None:
    """Return the shrinkage of one trained group; None below three athletes or without spread."""
    if len(part.athletes) < 3 or part.change.var(ddof=1) <= 0:
        return None
    found = [people.noise_of(a) for a in part.athletes]
    noise = (float(np.mean([f[0] ** 2 for f in found])), float(np.mean([f[1] for f in found])))
    control = None
    if "estimate" in response:
        other = people.pairs.change[people.pairs.group == people.control]
        control = (float(other.var(ddof=1)), len(other) - 1.0)
    return shrinkage(part.change, noise, control)


def _athlete_rows(people: Individuals, part: Pairs, place: Row, out: Found) -> None:
    count = len(people.pairs.athletes)
    group = str(part.group[0]) if len(part.athletes) else ""
    shrunk = out.shrunk.get(group)
    slope, squad_mean = _baseline_slope(people)
    limits = None
    if shrunk is not None:
        rng = np.random.default_rng(_SEED)
        limits = shrunk.limits(part.change, people.level, rng)
    for i, athlete in enumerate(part.athletes):
        change = float(part.change[i])
        se, df = people.noise_of(athlete)
        here = {**place, "athlete": athlete, "n": 1}
        plain = {
            **here,
            "statistic": "individual_change",
            "method": _noise_words(people, athlete),
            **estimate_fields(Estimate(change, se, df), people.level),
        }
        half = _multiplier(people.level, count, df, out) * se
        together = {**plain, "ci_low": change - half, "ci_high": change + half}
        together |= {"statistic": "individual_change_all", "p": None}
        together["method"] = f"{plain['method']}; {ALL_AT_ONCE}"
        out.rows += [plain, together]
        point = {
            "metric": part.metric,
            "athlete": athlete,
            "group": group,
            "before": float(part.before[i]),
            "after": float(part.after[i]),
            "change": change,
            "ci_low": plain["ci_low"],
            "ci_high": plain["ci_high"],
            "all_low": change - half,
            "all_high": change + half,
        }
        if shrunk is not None:
            assert limits is not None
            own = (float(limits[0][i]), float(limits[1][i]))
            with_control = "estimate" in out.response[group]
            row = _shrunken_row(shrunk, (change, *own), here, people, with_control)
            out.rows.append(row)
            point |= {"shrunken": row["estimate"], "shrunken_low": row.get("ci_low")}
            point |= {"shrunken_high": row.get("ci_high")}
        if np.isfinite(slope):
            drift = (slope - 1.0) * (float(part.before[i]) - squad_mean)
            words = f"(slope - 1) × (baseline - mean); slope {slope:.2f} = 1 - noise / spread of the baseline"
            out.rows.append(
                {**here, "statistic": "drift_expected", "estimate": drift, "method": words}
            )
            point["drift_expected"] = drift
        out.points.append(point)


def _multiplier(level: float, count: int, df: float, out: Found) -> float:
    """Return the simultaneous multiplier; computed once per df within one metric."""
    if df not in out.multipliers:
        out.multipliers[df] = maximum_modulus(level, max(count, 1), df)
    return out.multipliers[df]


def _noise_words(people: Individuals, athlete: str) -> str:
    if athlete in people.jumps and people.noise.has_components:
        return "t × √(day and jump components for this athlete's jumps), Satterthwaite df"
    if len(people.sessions) == 1:
        return "t × √2 × typical error"
    return f"t × √(1 + 1/{len(people.sessions)}) × typical error"


def _shrunken_row(
    shrunk: Shrinkage,
    change: tuple[float, float, float],
    place: Row,
    people: Individuals,
    with_control: bool,
) -> Row:
    """Return one athlete's shrunken change; ``change`` is (observed change, low, high)."""
    estimate = float(shrunk.estimate(np.array(change[0])))
    df = shrunk.n - 1.0
    source = "control group" if with_control else "spread of changes minus noise: an upper bound"
    row: Row = {
        **place,
        "statistic": "shrunken_change",
        "estimate": estimate,
        "level": people.level,
    }
    row |= {"ci_low": change[1], "ci_high": change[2], "df": df}
    row["se"] = (change[2] - change[1]) / 2 / float(special.stdtrit(df, 0.5 + people.level / 2))
    row["method"] = (
        f"drawn to the group mean, share kept {shrunk.share:.2f} (response spread from {source}); limits with"
        " the share uncertain"
    )
    if shrunk.share == 0:
        row["method"] += "; no true spread of responses was found, so everyone gets the group mean"
    row["text"] = athlete_sentence(row, place["athlete"], people.unit)
    return row


def athlete_sentence(row: Row, athlete: str, unit: str) -> str:
    """Return one athlete's shrunken change in plain words."""
    low, high = row["ci_low"], row["ci_high"]
    start = f"{athlete}: {signed(row['estimate'], unit)} ({interval_text(low, high, unit, row['level'])})"
    if low > 0:
        return f"{start}; the interval holds only increases."
    if high < 0:
        return f"{start}; the interval holds only decreases."
    return f"{start}; these data cannot tell whether this athlete changed."


def _baseline_slope(people: Individuals) -> tuple[float, float]:
    """Return the slope of a re-test on this baseline, 1 - noise variance / variance, and the mean."""
    before = people.pairs.before
    if len(before) < 3 or before.var(ddof=1) <= 0:
        return float("nan"), float("nan")
    noise = people.noise.typical_error**2 / len(people.sessions)
    return float(np.clip(1.0 - noise / before.var(ddof=1), 0.0, 1.0)), float(before.mean())


def individual_sentences(people: Individuals, found: Found) -> list[str]:
    """Return how well one athlete's change is known, who stands out, and the spread of responses."""
    pairs = people.pairs
    name = name_of(pairs.metric)
    if not pairs.athletes:
        return [f"{name}: nobody has all the sessions; see points 'left_out'."]
    unit = people.unit
    plain = [r for r in found.rows if r["statistic"] == "individual_change"]
    half = float(np.median([(r["ci_high"] - r["ci_low"]) / 2 for r in plain]))
    out = [
        f"{name}: one athlete's change ({people.contrast}) is known to ±{show(half, unit)}"
        f" ({percent(people.level)} interval, {people.noise.df:g} df)."
    ]
    together = [r for r in found.rows if r["statistic"] == "individual_change_all"]
    for word, row in (
        ("largest", max(together, key=lambda r: r["estimate"])),
        ("smallest", min(together, key=lambda r: r["estimate"])),
    ):
        span = range_text(row["ci_low"], row["ci_high"], unit)
        out.append(
            f"{name}: the {word} change is {row['athlete']}'s, {signed(row['estimate'], unit)}; because it was picked"
            f" for being the {word} of {len(together)}, its interval is the one for all at once, {span}."
        )
    for group, row in found.response.items():
        who = f" in group {group}" if group else ""
        if "estimate" not in row:
            out.append(f"{name}: spread of true responses{who}: {row['text']}.")
            continue
        interval = interval_text(row["ci_low"], row["ci_high"], unit, people.level)
        out.append(
            f"{name}: spread of true responses{who}: SD {signed(row['estimate'], unit)} ({interval}). {row['text']}"
        )
    return out
