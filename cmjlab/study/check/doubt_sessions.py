"""Doubts about whole sessions: implausible jumps, sampling rate, force scale, sides exchanged.

Limits without a source are common practice: they lie far outside what a squad can show, so that
they find faults of recording and not unusual people. How often each rule is wrong, and how often
it finds its fault, stands in ``tests/calibration/session_doubts.csv``.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from cmjlab.study.check.doubt import Doubt
from cmjlab.study.check.doubt_numbers import common_shift, odd_sessions, sign_agreement

#: More rejected or implausible jumps than this share stop a session of at least so many jumps.
_MOST, _ENOUGH_JUMPS = 0.5, 6
#: What nearly every jump of every squad lies in (common practice, no source).
_HUMAN = {"jump_height_m": (0.03, 0.90), "time_to_takeoff_s": (0.20, 3.0)}
#: Rates that differ by less than this factor are never told apart from training.
_LEAST_RATE_FACTOR = 1.2
#: How near to the factor of the rates the change of the times must be (1 = exactly).
_NEAR = 0.35
#: A common change of body mass beyond this cannot be training, meals or clothes of everybody.
MASS_SHIFT_PERCENT = 1.5
#: Sessions on either side that masses are compared with; sides are compared with all.
_MASS_REACH = 2
#: The level at which exchanged sides are sure; higher than usual, because many pairs are looked at.
_SIDES_LEVEL = 0.995
#: Asymmetries that may show exchanged sides; the first that most athletes have is used.
_SIDES = ("propulsion_impulse_asymmetry_percent", "mean_propulsion_force_asymmetry_percent",
          "braking_impulse_asymmetry_percent", "peak_landing_force_asymmetry_percent")  # fmt: skip


def session_doubts(jumps: pd.DataFrame) -> list[Doubt]:
    """Return doubts about whole sessions.

    Parameters
    ----------
    jumps : pandas.DataFrame
        The jumps table at one load; ``session`` is an ordered category.
    """
    return [
        *_rejected(jumps),
        *_implausible(jumps),
        *_rates(jumps),
        *mass_shift(jumps),
        *sides_exchanged(jumps),
    ]


def by_athlete(jumps: pd.DataFrame, column: str, *, counted: bool = False) -> pd.DataFrame:
    """Return medians of a column: one row per athlete, one column per session in order.

    Parameters
    ----------
    jumps : pandas.DataFrame
        The jumps table.
    column : str
        A column of it; one that is missing gives an empty table.
    counted : bool
        Only jumps that count.
    """
    if column not in jumps or not jumps[column].notna().any():
        return pd.DataFrame()
    rows = jumps["accepted"].astype(bool) if counted else slice(None)
    usable = jumps.loc[rows, ["athlete", "session", column]].dropna()
    wide = usable.groupby(["athlete", "session"], observed=True)[column].median().unstack()
    return wide.set_axis([str(c) for c in wide.columns], axis=1)


def _rejected(jumps: pd.DataFrame) -> list[Doubt]:
    """Most jumps of a session do not count: what is left over is a chance selection."""
    out = []
    for session, part in jumps.groupby("session", observed=True, sort=False):
        n, counted = len(part), int(part["accepted"].sum())
        if n >= _ENOUGH_JUMPS and (n - counted) / n > _MOST:
            values = {"n": n - counted, "of": n}
            out.append(Doubt("most_jumps_out", "fail", (str(session),), (), "plate", values))
    return out


def _implausible(jumps: pd.DataFrame) -> list[Doubt]:
    """Most jumps of a session are higher, lower, quicker or slower than people jump."""
    out = []
    for metric, (low, high) in _HUMAN.items():
        for session, part in jumps.groupby("session", observed=True, sort=False):
            values = part[metric].dropna()
            outside = int((~values.between(low, high)).sum())
            if len(values) >= _ENOUGH_JUMPS and outside / len(values) > _MOST:
                said = {"metric": metric, "n": outside, "of": len(values),
                        "middle": float(values.median()), "low": low, "high": high}  # fmt: skip
                out.append(Doubt("implausible", "fail", (str(session),), (), "plate", said))
    return out


def _rates(jumps: pd.DataFrame) -> list[Doubt]:
    """Return sessions whose times are longer or shorter by just the factor of their sampling rate.

    A rate that is stated wrongly stretches every time by one factor, and every height by its
    square. Sessions recorded at truly different rates do not: they are left to the list of checks.
    """
    rates = by_athlete(jumps, "rate_hz").round(0)
    if rates.empty or rates.stack().nunique() < 2:
        return []
    usual = float(rates.stack().mode().iloc[0])
    times = [by_athlete(jumps, m) for m in ("flight_time_s", "time_to_takeoff_s")]
    out = []
    for session in rates.columns:
        for rate in rates[session].dropna().unique():
            factor = usual / float(rate)
            if abs(math.log(factor)) < math.log(_LEAST_RATE_FACTOR):
                continue
            who = rates.index[rates[session] == rate]
            ratios = [_times_against(t, rates, (session, usual), who) for t in times]
            if all(_is_near(r, factor) for r in ratios):
                values = {"rate": float(rate), "usual": usual, "factor": factor,
                          "times": math.exp(ratios[0]), "n": len(who)}  # fmt: skip
                everybody = len(who) == rates[session].notna().sum()
                athletes = () if everybody else tuple(map(str, who))
                out.append(
                    Doubt("rate_stated_wrong", "fail", (session,), athletes, "plate", values)
                )
    return _both_if_even(out, rates, usual)


def _times_against(
    times: pd.DataFrame, rates: pd.DataFrame, place: tuple[str, float], who: pd.Index
) -> float:
    """Return the middle log ratio of athletes' times to their own at the usual rate."""
    session, usual = place
    if session not in times:
        return math.nan
    there = rates.reindex(index=times.index, columns=times.columns)
    own = times.where(there == usual).drop(columns=session).median(axis=1)
    ratio = (times[session] / own).reindex(who)
    return float(np.log(ratio).median())


def _is_near(log_ratio: float, factor: float) -> bool:
    return abs(log_ratio / math.log(factor) - 1.0) < _NEAR if math.isfinite(log_ratio) else False


def _both_if_even(found: list[Doubt], rates: pd.DataFrame, usual: float) -> list[Doubt]:
    """Where as many sessions have the one rate as the other, nobody knows which is stated wrong."""
    at_usual = [s for s in rates.columns if (rates[s].dropna() == usual).all()]
    others = [d for d in found if not d.athletes]
    if not others or len(at_usual) > len(others):
        return found
    first = others[0]
    sessions = tuple(s for s in rates.columns if s in {*at_usual, *(d.sessions[0] for d in others)})
    both = Doubt(first.key, "fail", sessions, (), "plate", first.values)
    return [both, *(d for d in found if d.athletes)]


def mass_shift(jumps: pd.DataFrame) -> list[Doubt]:
    """Return sessions in which everybody weighs more, or less, than in the sessions beside.

    Athletes change one by one; a plate that is off changes all of them alike. The whole interval
    of the common change must lie beyond ``MASS_SHIFT_PERCENT``.
    """
    wide = by_athlete(jumps, "body_mass_kg", counted=True)

    def against(here: np.ndarray, beside: np.ndarray) -> dict[str, float] | None:
        shift, low, high = common_shift(100.0 * (here / beside - 1.0))
        beyond = max(low, -high) > MASS_SHIFT_PERCENT
        return {"size": shift, "low": low, "high": high} if beyond else None

    return [
        Doubt("mass_shift", "fail", sessions, (), "forces", values)
        for sessions, values in odd_sessions(wide, against, _MASS_REACH)
    ]


def sides_exchanged(jumps: pd.DataFrame) -> list[Doubt]:
    """Return sessions in which the squad's asymmetries point the other way.

    People keep their side: between two sessions asymmetries agree or, where they are small,
    have nothing to do with each other. Sure disagreement means that plates or cables were exchanged.
    """
    tables = [by_athlete(jumps, m, counted=True) for m in _SIDES]
    wide = max(tables, key=lambda t: int(t.notna().to_numpy().sum()) if len(t) else 0)

    def against(here: np.ndarray, beside: np.ndarray) -> dict[str, float] | None:
        r, upper = sign_agreement(here, beside, _SIDES_LEVEL)
        return {"size": r, "upper": upper} if upper < 0.0 else None

    return [
        Doubt("sides_exchanged", "fail", sessions, (), "sides", values)
        for sessions, values in odd_sessions(wide, against, len(wide.columns))
    ]
