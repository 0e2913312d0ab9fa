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
from cmjlab.results import Note, Result
from cmjlab.stats.change.paired import mean_estimate
from cmjlab.stats.change.pairs import make_pairs, prepare, session_values
from cmjlab.stats.common.estimate_rows import Row, estimate_fields
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.noise import maximum_modulus, noise_of
from cmjlab.stats.common.tables import (
    check_table,
    metric_names,
    session_order,
    statistics_frame,
    unit_of,
)
from cmjlab.stats.common.wording import interval_text, name_of, signed

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
    """
    level = checks.level(level)
    athlete = str(athlete).strip()
    bases = [baseline] if isinstance(baseline, str) else [str(b) for b in baseline]
    order, values = _values(table, metric, athlete, bases)
    used = [b for b in bases if np.isfinite(values[b])]
    if not used:
        raise StatsError(f"athlete {athlete} has no {metric} in {', '.join(bases)}; no baseline.")
    se, df = noise_of(reliability, metric).change_se(len(used), 1)
    start = float(np.mean([values[b] for b in used]))
    later = [s for s in order if s not in bases]
    looks = [s for s in later if np.isfinite(values[s])]
    half_all = maximum_modulus(level, max(len(looks), 1), df) * se
    names = used[0] if len(used) == 1 else f"mean({', '.join(used)})"
    rows: list[Row] = []
    points: list[Row] = []
    for session in looks:
        change = values[session] - start
        fields = estimate_fields(Estimate(change, se, df), level)
        low, high = change - half_all, change + half_all
        where: Row = {"metric": metric, "athlete": athlete, "session": session}
        row: Row = {**where, "statistic": "session_difference", "contrast": f"{session} - {names}"}
        row |= {"n": 1, "unit": unit_of(metric), "text": _look_text(low, high)}
        rows.append({**row, "method": f"t × typical error × √(1 + 1/{len(used)})", **fields})
        limits = {"ci_low": fields["ci_low"], "ci_high": fields["ci_high"]}
        both = {**limits, "all_low": low, "all_high": high}
        points.append(
            {**where, "value": values[session], "baseline": start, "change": change, **both}
        )
    return Result(
        kind="follow_athlete",
        table=statistics_frame(rows),
        points={"sessions": pd.DataFrame(points)},
        settings={"metric": metric, "athlete": athlete, "baseline": used, "level": level},
        notes=tuple(_follow_notes(metric, athlete, looks, later, level)),
        sentences=(_follow_sentence(metric, athlete, points, unit_of(metric)),),
    )


def _values(
    table: pd.DataFrame, metric: str, athlete: str, bases: list[str]
) -> tuple[list[str], dict[str, float]]:
    """Return the sessions in order and this athlete's value in each (nan when missing)."""
    checked = check_table(table)
    metric_names(checked, metric)
    order = session_order(checked)
    for base in bases:
        checks.one_of("baseline", base, order)
    checks.one_of("athlete", athlete, list(dict.fromkeys(checked["athlete"])))
    return order, {s: session_values(checked, metric, s).get(athlete, np.nan) for s in order}


def _follow_notes(
    metric: str, athlete: str, looks: list[str], later: list[str], level: float
) -> list[Note]:
    missed = len(looks) * (1 - level)
    notes = [
        Note(
            "many_looks",
            f"{len(looks)} sessions are compared with the baseline; of plain {100 * level:g} % intervals about"
            f" {missed:.1f} would miss by chance. The words use the interval for all at once.",
        )
    ]
    missing = [s for s in later if s not in looks]
    if missing:
        notes.append(Note("no_value", f"{athlete}: no {metric} in {', '.join(missing)}."))
    return notes


def _look_text(low: float, high: float) -> str:
    if low > 0:
        return "above the baseline, also with all looks counted"
    if high < 0:
        return "below the baseline, also with all looks counted"
    return "cannot be told from the baseline"


def _follow_sentence(metric: str, athlete: str, points: list[Row], unit: str) -> str:
    if not points:
        return f"{name_of(metric)}, {athlete}: no session after the baseline yet."
    above = [p["session"] for p in points if p["all_low"] > 0]
    below = [p["session"] for p in points if p["all_high"] < 0]
    last = points[-1]
    text = (
        f"{name_of(metric)}, {athlete}: last session {last['session']} {signed(last['change'], unit)} from the"
        f" baseline (all-looks interval {signed(last['all_low'], unit, with_unit=False)} to"
        f" {signed(last['all_high'], unit)})."
    )
    if above:
        text += f" Above the baseline beyond the noise of all looks: {', '.join(above)}."
    if below:
        text += f" Below the baseline beyond the noise of all looks: {', '.join(below)}."
    if not above and not below:
        text += " No session can be told from the baseline."
    return text


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
    """
    level = checks.level(level)
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
    place: Row = {"metric": "jump_height_m", "contrast": prepared.contrast, "n": n, "unit": "m"}
    parts = {"mean_change": pairs.change, "height_from_impulse": impulse, "height_from_mass": mass}
    rows = [
        {
            **place,
            "statistic": name,
            "method": "exact split of h = J²/(2 m² g); t over athletes",
            **estimate_fields(mean_estimate(value), level),
        }
        for name, value in parts.items()
    ]
    words = [
        f"{signed(r['estimate'], 'm')}"
        + (f" ({interval_text(r['ci_low'], r['ci_high'], 'm', level)})" if "ci_low" in r else "")
        for r in rows
    ]
    return Result(
        kind="height_and_mass",
        table=statistics_frame(rows),
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
        notes=tuple(Note("left_out", f"{a} left out: {reason}.") for a, reason in pairs.left_out),
        sentences=(
            f"Jump height, {prepared.before} to {prepared.after}: {words[0]}, of which {words[1]} came from net"
            f" impulse and {words[2]} from body mass (n = {n}).",
        ),
    )
