"""One athlete over many sessions, and the exact split of a change of jump height.

Weekly values move by noise alone. Each is compared with the athlete's own baseline and the
interval of the noise; with many looks some will stand out by chance, so a second interval
holds for all looks at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.change.left_out import left_out_notes
from cmjlab.stats.change.paired import mean_estimate
from cmjlab.stats.change.pairs import Prepared, make_pairs, prepare, session_values
from cmjlab.stats.common.best_of import refuse_unequal_best
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.loads import loads_of
from cmjlab.stats.common.noise import maximum_modulus, noise_of
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.common.tables import check_table, metric_names, session_order
from cmjlab.stats.common.verdicts import estimate_says, side_of_zero
from cmjlab.stats.individual.rows import baseline_name

Array = NDArray[np.float64]


def follow_athlete(
    table: pd.DataFrame,
    metric: str,
    *,
    athlete: str,
    baseline: str | Sequence[str],
    reliability: Any,
    level: float = 0.95,
) -> Result:
    """Return one athlete's sessions against the own baseline, with the interval of the noise.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session, in protocol order (or ordered categories).
    metric : str
    athlete : str
    baseline : str or sequence of str
        Session(s) whose mean is the athlete's baseline.
    reliability : Result, or mapping of metric to (typical error, df)
    level : float

    Returns
    -------
    Result
        ``session_difference`` per later session: value - baseline ± t · TE √(1 + 1/b), and the
        interval for all looks at once (columns in points ``sessions``).

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> noise = cj.reliability(table, "jump_height_m", use=["base1", "base2"])
    >>> one = cj.follow_athlete(table, "jump_height_m", athlete="A01", baseline=["base1", "base2"],
    ...                         reliability=noise)
    >>> one.rows("session_difference")["session"].tolist()
    ['post']
    """
    level = checks.level(level)
    athlete = str(athlete).strip()
    bases = checks.names("baseline", baseline)
    order, values = _values(table, metric, athlete, bases)
    used = [b for b in bases if np.isfinite(values[b])]
    if not used:
        raise StatsError(f"athlete {athlete} has no {metric} in {', '.join(bases)}; no baseline.")
    se, df = noise_of(reliability, metric).change_se(len(used), 1)
    start = float(np.mean([values[b] for b in used]))
    later = [s for s in order if s not in bases]
    looks = [s for s in later if np.isfinite(values[s])]
    rows = Rows(level=level)
    points = pd.DataFrame({
        "metric": metric, "athlete": athlete, "session": looks,
        "value": [values[s] for s in looks], "baseline": start,
    })  # fmt: skip
    if looks:
        place = {"session": looks, "first": looks, "second": baseline_name(used)}
        here = rows.at(metric=metric, athlete=athlete, n=1, **place)
        change = points["value"].to_numpy() - start
        points = points.assign(change=change, **_add_looks(here, change, (se, df), len(used)))
    return Result(
        kind="follow_athlete",
        table=rows.frame(),
        points={"sessions": points},
        settings={"metric": metric, "athlete": athlete, "baseline": used, "level": level},
        notes=_follow_notes(metric, athlete, looks, later, level),
        sentences=(_follow_sentence(metric, athlete, points),),
    )


def _add_looks(
    here: Place, change: Array, noise: tuple[float, float], baselines: int
) -> dict[str, Array]:
    """Add each session's difference from the baseline; return its limits, alone and for all."""
    se, df = noise
    half = maximum_modulus(here.level, len(change), df) * se
    low, high = change - half, change + half
    estimate = Estimate(change, np.full(len(change), se), np.full(len(change), df))
    here.add_estimate(
        "session_difference",
        estimate,
        remark=[Reason(f"session_{side_of_zero(a, b)}") for a, b in zip(low, high, strict=True)],
        estimator="session_from_baseline",
        interval_kind="t",
        words={"baselines": baselines},
    )
    own = estimate.interval(here.level)
    return {"ci_low": own[0], "ci_high": own[1], "all_low": low, "all_high": high}


def _values(
    table: pd.DataFrame, metric: str, athlete: str, bases: list[str]
) -> tuple[list[str], dict[str, float]]:
    """Return the sessions in order and this athlete's value in each (nan when missing)."""
    checked = check_table(table)
    refuse_unequal_best(checked[checked["athlete"] == athlete])
    metric_names(checked, checks.one_name("metric", metric))
    order = session_order(checked)
    for base in bases:
        checks.one_of("baseline", base, order)
    checks.one_of("athlete", athlete, list(dict.fromkeys(checked["athlete"])))
    return order, {s: session_values(checked, metric, s).get(athlete, np.nan) for s in order}


def _follow_notes(
    metric: str, athlete: str, looks: list[str], later: list[str], level: float
) -> tuple[Note, ...]:
    missed = len(looks) * (1 - level)
    notes = [Note("many_looks", {"n": len(looks), "level": level, "missed": missed})]
    missing = [s for s in later if s not in looks]
    if missing:
        notes.append(
            Note("no_value", {"metric": metric, "athletes": [athlete], "sessions": missing})
        )
    return tuple(notes)


def _follow_sentence(metric: str, athlete: str, points: pd.DataFrame) -> Sentence:
    """Return where the last session lies, and which sessions lie beyond the noise of all."""
    values: dict[str, Any] = {"athlete": athlete}
    if points.empty:
        return Sentence("follow_athlete.no_session", metric, values=values)
    above = list(points.loc[points["all_low"] > 0, "session"])
    below = list(points.loc[points["all_high"] < 0, "session"])
    last = points.iloc[-1]
    values |= {"session": last["session"], "above": above, "below": below}
    values |= {"change": last["change"], "low": last["all_low"], "high": last["all_high"]}
    kinds = {
        (True, True): "above_and_below",
        (True, False): "above",
        (False, True): "below",
        (False, False): "open",
    }
    key = kinds[bool(above), bool(below)]
    return Sentence(f"follow_athlete.{key}", metric, values=values)


def split_height(
    height_1: Array, height_2: Array, mass_1: Array, mass_2: Array
) -> tuple[Array, Array]:
    """Split a change of take-off height into net impulse and body mass, exactly.

    Parameters
    ----------
    height_1, height_2 : array
        m, from take-off velocity, positive.
    mass_1, mass_2 : array
        kg, positive.

    Returns
    -------
    from_impulse, from_mass : arrays
        m; they add up to height_2 - height_1.

    Notes
    -----
    h = J² / (2 m² g) gives ln(h2/h1) = 2 ln(J2/J1) - 2 ln(m2/m1). Multiplied by the
    logarithmic mean of the two heights the parts add up exactly, in either order.
    """
    h1, h2 = np.asarray(height_1, float), np.asarray(height_2, float)
    log_h = np.log(h2 / h1)
    log_m = np.log(np.asarray(mass_2, float) / np.asarray(mass_1, float))
    near = np.abs(log_h) < 1e-8
    mean = np.where(near, (h1 + h2) / 2, (h2 - h1) / np.where(near, 1.0, log_h))
    from_mass = -2.0 * mean * log_m
    return (h2 - h1) - from_mass, from_mass


def height_and_mass(table: pd.DataFrame, *, before: str, after: str, level: float = 0.95) -> Result:
    """Return how much of the change of jump height came from impulse and how much from mass.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns ``athlete``, ``session``, ``jump_height_m`` (take-off velocity) and
        ``body_mass_kg``.
    before, after : str
    level : float

    Returns
    -------
    Result
        Rows ``mean_change`` of height, ``height_from_impulse`` and ``height_from_mass`` (t
        intervals over athletes); points ``athletes``.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> found = cj.height_and_mass(study.sessions_table(), before="base2", after="post")
    >>> parts = found.value("height_from_impulse") + found.value("height_from_mass")
    >>> bool(abs(found.value("mean_change") - parts) < 1e-6)
    True
    """
    level = checks.level(level)
    if (loads_of(table) > 0.0).any():
        raise StatsError("with a load the height does not follow from impulse and body mass alone.")
    prepared = prepare(table, ["jump_height_m", "body_mass_kg"], before=before, after=after)
    pairs = make_pairs(
        prepared,
        "jump_height_m",
        [("body_mass_kg", prepared.before), ("body_mass_kg", prepared.after)],
    )
    n = len(pairs.athletes)
    if n < 2:
        raise StatsError(f"{n} athlete(s) with height and mass in both sessions; 2 are needed.")
    if min(pairs.before.min(), pairs.after.min(), pairs.others.min()) <= 0:
        raise StatsError("jump_height_m and body_mass_kg must be positive for everybody.")
    impulse, mass = split_height(pairs.before, pairs.after, pairs.others[:, 0], pairs.others[:, 1])
    rows = Rows(level=level)
    where = {"first": prepared.after, "second": prepared.before}
    place = rows.at(metric="jump_height_m", n=n, **where)
    parts = {"mean_change": pairs.change, "height_from_impulse": impulse, "height_from_mass": mass}
    for name, value in parts.items():
        place.add_estimate(
            name, mean_estimate(value), estimator="exact_height_split", interval_kind="t"
        )
    return Result(
        kind="height_and_mass",
        table=rows.frame(),
        points={
            "athletes": pd.DataFrame(
                {
                    "athlete": list(pairs.athletes),
                    "change": pairs.change,
                    "from_impulse": impulse,
                    "from_mass": mass,
                    "mass_change_kg": pairs.others[:, 1] - pairs.others[:, 0],
                }
            )
        },
        settings={"before": prepared.before, "after": prepared.after, "level": level},
        notes=left_out_notes([pairs]),
        sentences=(_height_sentence(prepared, rows),),
    )


def _height_sentence(prepared: Prepared, rows: Rows) -> Sentence:
    """Return the change of height and its two parts, each with its interval where there is one."""
    change, impulse, mass = rows.records()
    return Sentence(
        "height_and_mass.split",
        "jump_height_m",
        values={
            "before": prepared.before,
            "after": prepared.after,
            "athletes": int(change["n"]),
            "change": estimate_says(change),
            "impulse": estimate_says(impulse),
            "mass": estimate_says(mass),
        },
    )
