"""Known-truth error budget: how far are measured metrics from the exact ones, and why.

Simulated jumps with exact truth are measured, and every single error is kept: bias, spread
and the largest error per metric come from errors element by element, never from errors of
means. Sampling rate, plate noise and standing sway are varied; each recording has its own
random position of the sampling grid.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.catalog import METRICS
from cmjlab.checks import number
from cmjlab.jump.measure import measure
from cmjlab.jump_types import Jump
from cmjlab.keys import key_of
from cmjlab.method import Method
from cmjlab.results import Note, Result, Sentence
from cmjlab.simulate.jump import RecordingSettings, exact_truth, record
from cmjlab.simulate.profile import PROFILES, Profile, named_profile, solution
from cmjlab.truth.definitions import truth_by_method

#: Events whose time is compared, as ``event_<name>_s``.
EVENTS = ("onset", "minimum_force", "peak_downward_velocity", "zero_velocity", "takeoff", "landing")
_CELL = ["profile", "rate_hz", "noise_sd_n", "sway_sd_n"]


@dataclass(frozen=True)
class Design:
    """What is varied: every combination is one cell of ``repeats`` recordings."""

    profiles: tuple[str | Profile, ...] = tuple(PROFILES)
    rates_hz: tuple[float, ...] = (1000.0,)
    noise_sd_n: tuple[float, ...] = (0.0, 1.0, 2.0, 5.0)
    sway_sd_n: tuple[float, ...] = (0.0,)
    repeats: int = 25

    def cells(self) -> Iterator[tuple[str, Profile, float, float, float]]:
        """Yield name, profile, rate, noise and sway of every cell."""
        for which, rate, noise, sway in product(
            self.profiles, self.rates_hz, self.noise_sd_n, self.sway_sd_n
        ):
            profile = named_profile(which)
            name = which if isinstance(which, str) else f"profile {profile.key[:8]}"
            yield name, profile, float(rate), float(noise), float(sway)


def known_truth(
    method: Method | None = None,
    *,
    design: Design | None = None,
    recording: RecordingSettings | None = None,
    metrics: Sequence[str] | None = None,
    seed: int = 0,
) -> Result:
    """Measure simulated jumps whose metrics are known exactly, and return the errors.

    Parameters
    ----------
    method : Method, optional
        The signal choices to be judged.
    design : Design, optional
        Profiles, sampling rates, noise, sway, recordings per cell.
    recording : RecordingSettings, optional
        Standing times, plates, asymmetry, resolution; default two plates that differ.
    metrics : sequence of str, optional
        Metric keys and ``event_<name>_s``; default all that have a truth.
    seed : int
        The same seed gives the same numbers; every cell has a stream of its own.

    Returns
    -------
    Result
        ``table``: per cell and metric ``n`` (recordings), ``n_missing`` (no value), ``truth``,
        ``unit``, ``bias``, ``sd``, ``p99_abs`` and ``max_abs`` of the error measured − exact,
        and ``max_percent`` (of the truth). ``points["errors"]``: every single error.

    Notes
    -----
    Onset-dependent metrics are compared with the *true* onset: their bias is that of the
    onset rule. ``event_onset_rule_s`` is the error against where the rule should put it.

    Examples
    --------
    >>> import cmjlab as cj
    >>> from cmjlab.truth.budget import Design
    >>> few = Design(profiles=("typical",), noise_sd_n=(1.0,), repeats=2)
    >>> errors = cj.known_truth(design=few, metrics=["jump_height_m"]).table
    >>> bool(errors["max_abs"].iloc[0] < 0.005)  # metres
    True
    """
    how = checks.given_or_default("method", method, Method)
    plan = checks.given_or_default("design", design, Design)
    repeats = int(number("design.repeats", plan.repeats, low=1, high=100_000))
    plates = recording or RecordingSettings(
        quiet_after_s=2.0, asymmetry_standing_percent=2.0, asymmetry_braking_percent=6.0,
        asymmetry_propulsion_percent=4.0,
    )  # fmt: skip
    cells, unmeasured = [], 0
    for name, profile, rate, noise, sway in plan.cells():
        truth = truth_by_method(exact_truth(profile, plates), profile, how)
        stream = int(key_of([seed, profile.to_dict(), rate, noise, sway])[:15], 16)
        random = np.random.default_rng(stream)
        place = rule_exact_onset(profile, how, noise_sd_n=noise)
        errors = []
        for one in random.spawn(repeats):
            rec, events = record(
                profile, plates, rate_hz=rate, noise_sd_n=noise, sway_sd_n=sway, seed=one
            )
            jump = measure(rec, how)
            unmeasured += not np.isfinite(jump.events["takeoff"])
            errors.append(errors_of(jump, truth, events=events, rule_onset_s=place))
        part = pd.DataFrame(errors)
        part = part if metrics is None else part[[m for m in metrics if m in part]]
        part.insert(0, "repeat", np.arange(repeats))
        for column, value in zip(_CELL, (name, rate, noise, sway), strict=True):
            part.insert(0, column, value)
        cells.append((part, truth))
    every = pd.concat([part for part, _ in cells], ignore_index=True)
    table = pd.concat([_cell_table(part, truth) for part, truth in cells], ignore_index=True)
    settings = {"method": how.to_dict(), "recording": plates.to_dict(), "seed": seed,
                "repeats": repeats}  # fmt: skip
    return Result("known truth", table, {"errors": _long(every)}, settings,
                  _notes(every, unmeasured), _sentences(table))  # fmt: skip


def errors_of(
    jump: Jump, truth: Mapping[str, float], *, events: Mapping[str, float], rule_onset_s: float
) -> dict[str, float]:
    """Return measured − exact of every metric that has a truth, and of the events, by key.

    ``rule_onset_s``: where the onset rule should put the onset, after the true one.
    """
    out = {key: jump.metrics[key] - truth[key] for key in METRICS if key in truth}
    for name in EVENTS:
        out[f"event_{name}_s"] = jump.events[name] - events[name]
    out["event_onset_rule_s"] = jump.events["onset"] - events["onset"] - rule_onset_s
    return out


def rule_exact_onset(profile: Profile, method: Method, *, noise_sd_n: float) -> float:
    """Return where the onset rule puts the onset on the exact force, seconds after the true one.

    The force of the onset shape "quadratic" is below body weight by D at
    (T1/π) arccos(1 − 2 D / (α BW)); the rule's shift is subtracted. nan for other shapes. Fitted
    curves aim at the true onset itself: 0.
    """
    if method.onset_rule == "fit":
        return 0.0
    weight = profile.body_weight_n
    floor = method.onset_floor_percent / 100 * weight
    threshold = {
        "sd": max(method.onset_sd * noise_sd_n, floor),
        "newton": method.onset_newton,
        "percent": method.onset_percent / 100 * weight,
    }[method.onset_rule]
    if profile.onset_shape != "quadratic" or not threshold < profile.unweighting * weight:
        return float("nan")
    first = float(solution(profile).unloading_s)
    angle = np.arccos(1 - 2 * threshold / (profile.unweighting * weight))
    return float(first / np.pi * angle - method.onset_shift_s)


def unit_of(metric: str) -> str:
    """Return the unit of a metric or event."""
    return METRICS[metric].unit if metric in METRICS else "s"


def summary_of(errors: np.ndarray, truth: float | np.ndarray) -> dict[str, float]:
    """Return n, n_missing, bias, sd, p99_abs, max_abs, max_percent and p99_percent of errors.

    Parameters
    ----------
    errors : ndarray, shape (n,)
    truth : float or ndarray of shape (n,)
    """
    there = np.isfinite(errors)
    good = errors[there]
    out: dict[str, float] = {"n": errors.size, "n_missing": int(errors.size - good.size)}
    names = ("bias", "sd", "p99_abs", "max_abs", "p99_percent", "max_percent")
    if good.size == 0:
        return {**out, **dict.fromkeys(names, float("nan"))}
    size = np.abs(good)
    with np.errstate(divide="ignore", invalid="ignore"):
        percent = 100 * size / np.abs(np.broadcast_to(truth, errors.shape)[there])
    finite = percent[np.isfinite(percent)]
    values = (
        good.mean(), good.std(ddof=1) if good.size > 1 else float("nan"),
        np.quantile(size, 0.99), size.max(),
        np.quantile(finite, 0.99) if finite.size else float("nan"),
        finite.max() if finite.size else float("nan"),
    )  # fmt: skip
    return {**out, **{name: float(v) for name, v in zip(names, values, strict=True)}}


def pooled(result: Result) -> pd.DataFrame:
    """Return the errors of all profiles together, per rate, noise, sway and metric.

    Percent errors are of each recording's own truth; ``worst_profile`` has the largest error.
    """
    truth = result.table.set_index([*_CELL, "metric"])["truth"]
    errors = result.points["errors"].join(truth, on=[*_CELL, "metric"])
    rows: list[dict[str, Any]] = []
    keys = [*_CELL[1:], "metric"]
    for place, part in errors.groupby(keys, sort=False):
        summary = summary_of(part["error"].to_numpy(float), part["truth"].to_numpy(float))
        worst = part["error"].abs()
        where = part.loc[worst.idxmax(), "profile"] if worst.notna().any() else ""
        metric = str(place[-1])
        rows.append({**dict(zip(keys, place, strict=True)), "unit": unit_of(metric), **summary,
                     "worst_profile": where})  # fmt: skip
    return pd.DataFrame(rows)


def _cell_table(part: pd.DataFrame, truth: Mapping[str, float]) -> pd.DataFrame:
    place = {column: part[column].iloc[0] for column in _CELL}
    rows: list[dict[str, Any]] = []
    for metric in [c for c in part.columns if c not in (*_CELL, "repeat")]:
        exact = truth.get(metric, float("nan"))
        summary = summary_of(part[metric].to_numpy(float), exact)
        rows.append({**place, "metric": metric, "unit": unit_of(metric), "truth": exact, **summary})
    return pd.DataFrame(rows)


def _long(every: pd.DataFrame) -> pd.DataFrame:
    return every.melt([*_CELL, "repeat"], var_name="metric", value_name="error")


def _notes(every: pd.DataFrame, unmeasured: int) -> tuple[Note, ...]:
    notes = [Note("sway_is_added")]
    if unmeasured:
        notes.append(Note("not_measured", {"n": unmeasured, "of": len(every)}))
    return tuple(notes)


def _sentences(table: pd.DataFrame) -> tuple[Sentence, ...]:
    out = []
    for (rate, noise, sway), part in table[table["metric"] == "jump_height_m"].groupby(
        ["rate_hz", "noise_sd_n", "sway_sd_n"]
    ):
        values = {
            "rate": float(rate),
            "noise": float(noise),
            "sway": float(sway),
            "bias": float(np.average(part["bias"], weights=part["n"])),
            "largest": float(part["max_abs"].max()),
        }
        out.append(Sentence("truth.height", "jump_height_m", values=values))
    return tuple(out)
