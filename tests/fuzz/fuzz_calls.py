"""Public functions called with odd arrays, settings and tables, as a person at a prompt would."""

from __future__ import annotations

import inspect
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from change_kit import chosen_squad, several_sessions
from fuzz_values import odd_number, odd_text, odd_value
from study_kit import jump_bytes

import cmjlab as cj


def _as_float(value: float) -> float:
    return float(min(max(value, -1e308), 1e308)) if value == value else value


def _array(rng: random.Random) -> Any:
    base = np.asarray(cj.simulate_jump(rate_hz=500.0, seed=rng.randrange(3)).recording.force_n)
    how = rng.randrange(10)
    if how == 0 and rng.random() < 0.5:
        return odd_value(rng)
    force = base.copy()
    for _ in range(rng.choice((1, 1, 2, 5))):
        a, b = sorted(rng.randrange(len(force)) for _ in range(2))
        spoil = rng.randrange(6)
        if spoil == 0:
            force[a:b] = _as_float(odd_number(rng))
        elif spoil == 1:
            force[a:b] *= rng.choice((-1, 0, 1e-12, 1e12, 1e200))
        elif spoil == 2:
            force = force[a : b + 1]
        elif spoil == 3:
            force = np.concatenate([force[a:], force[:a]])
        elif spoil == 4:
            force = force[::-1]
        if len(force) < 2:
            break
    if how == 1:
        return force.astype(
            rng.choice(("float16", "int8", "int64", "complex", "object", "U8", "bool", "float32")),
            casting="unsafe",
        )
    if how == 2:
        return force.tolist()
    if how == 3:
        return force.T
    if how == 4:
        return force[:, :, None]
    if how == 5:
        return pd.DataFrame(force)
    return force


def _settings_of(cls: type, rng: random.Random) -> dict[str, Any]:
    names = list(cls.__dataclass_fields__)
    chosen = rng.sample(names, min(rng.choice((1, 1, 2, 4)), len(names)))
    return {
        n: _near(getattr(cls(), n), rng) if rng.random() < 0.6 else odd_value(rng) for n in chosen
    }


def _near(value: Any, rng: random.Random) -> Any:
    """Return a value of the same type that may pass the first look."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return odd_value(rng)
    return value * rng.choice((0, 0.1, 0.5, 0.9, 1.1, 2, 10, -1)) + rng.choice((0, 0, 0.01, 1))


def _rules(rng: random.Random) -> dict[str, Any]:
    """Return valid choices among the allowed words of a Method."""
    fields = cj.Method.__dataclass_fields__.items()
    words = {n: f.metadata["allowed"] for n, f in fields if f.metadata.get("allowed")}
    return {n: rng.choice(allowed) for n, allowed in words.items() if rng.random() < 0.3}


def _arrays(rng: random.Random, folder: Path) -> None:
    rate = rng.choice((500, 500, 500, 500, 500.0, 1000, 50, 0.1, 3, odd_number(rng)))
    labels = {"plates": ("left", "right")} | ({} if rng.random() < 0.8 else _labels(rng))
    recording = cj.Recording(_array(rng), rate, **labels)
    settings = _rules(rng) if rng.random() < 0.5 else {}
    if rng.random() < 0.4:
        settings |= {n: v for n, v in _settings_of(cj.Method, rng).items() if n != "limits"}
    method = cj.Method(**settings)
    if rng.random() < 0.3:
        cj.split_jumps(recording, method)
    jump = cj.measure(recording, method)
    repr(jump), jump.metrics, jump.events


def _labels(rng: random.Random) -> dict[str, Any]:
    names = ("plates", "athlete", "session", "trial", "jump", "start_s", "source", "notes")
    return {n: odd_value(rng) for n in rng.sample(names, rng.choice((1, 2)))}


def _settings(rng: random.Random, folder: Path) -> None:
    cls = rng.choice((cj.Method, cj.Plan, cj.Layout, cj.Selection, cj.FollowSettings, cj.Scenario))
    made = cls(**_settings_of(cls, rng))
    repr(made)
    if isinstance(made, cj.Layout):
        path = folder / "jump.csv"
        path.write_bytes(jump_bytes(2))
        cj.read_recording(path, layout=made)


def _squad(rng: random.Random) -> pd.DataFrame:
    frame = (
        chosen_squad(rng.choice((3, 6, 12)), seed=rng.randrange(9))
        if rng.random() < 0.7
        else several_sessions()
    )
    return frame.reset_index(drop=True)


def _spoiled(frame: pd.DataFrame, rng: random.Random) -> pd.DataFrame:
    """Return a table with some cells, columns and rows spoiled, or none of them."""
    frame = frame.copy()
    for _ in range(rng.choice((0, 1, 1, 2, 4))):
        column = rng.choice(list(frame.columns))
        how = rng.randrange(9)
        if how < 3 and len(frame):
            cells = frame[column].astype(object).tolist()
            for _ in range(rng.choice((1, 1, 3))):
                cells[rng.randrange(len(cells))] = odd_value(rng)
            frame[column] = pd.Series(cells, dtype=object)
        elif how == 3:
            frame = frame.drop(columns=column)
        elif how == 4:
            frame = frame.rename(columns={column: odd_text(rng)})
        elif how == 5:
            frame = frame.iloc[: rng.randrange(len(frame) + 1)]
        elif how == 6:
            frame = pd.concat([frame, frame.iloc[:3]])
        elif how == 7 and pd.api.types.is_numeric_dtype(frame[column]):
            frame[column] = frame[column] * rng.choice((0, -1, 1e-200, 1e200, np.nan, np.inf))
        elif how == 8:
            frame[column] = odd_number(rng) if rng.random() < 0.5 else odd_text(rng)
        if not len(frame.columns):
            break
    return frame


RULES = pd.DataFrame(
    {"subgroup": ["low"], "rule": ["value < 33"], "athlete": [""], "reason": ["the weaker half"]}
)
TARGETS = pd.DataFrame(
    {"subgroup": ["low"], "metric": ["value"], "wanted": ["more"], "amount": [1.0], "why": ["it"]}
)
_QUICK = cj.Scenario(simulations=0, largest=12)
_NOISE = {"value": (1.2, 20)}
_BLOCK = {"metrics": ["value"], "before": "base2", "after": "post"}
#: Function -> arguments that are right for the tables of :func:`_squad`.
STATISTICS: dict[str, dict[str, Any]] = {
    "reliability": {"metrics": ["value"], "use": ["base1", "base2"]},
    "change_within": _BLOCK,
    "change_between": _BLOCK | {"control": "rest"},
    "change_between_corrected": _BLOCK | {"control": "rest", "reliability": _NOISE},
    "change_individual": _BLOCK | {"reliability": _NOISE},
    "change_mixed": {"metrics": ["value"], "order": ["base1", "base2", "post"]},
    "association": {"x": "value", "metrics": ["value"], "use": ["base1"]},
    "follow": {"metrics": ["value"], "stable": ["base1", "base2"], "reliability": _NOISE},
    "drift_expected": {
        "metrics": ["value"], "selection": cj.Selection(("value",), "base1"),
        "after": "post", "baseline": "base2",
    },
    "metric_repeatability": {"metrics": ["value"], "sessions": ("base1", "base2")},
    "assign_randomly": {"groups": ["a", "b"], "seed": 1, "minimise": ["value"]},
    "squad_places": {"metrics": ["value"], "session": "base1", "reliability": _NOISE, "within": None},
    "athlete_standing": {"metrics": ["value"], "session": "base1", "within": None},
    "follow_athlete": {
        "metric": "value", "athlete": "A01", "baseline": ["base1", "base2"], "reliability": _NOISE,
    },
    "threshold_evidence": {
        "cut": 33.0, "metric": "value", "outcome": "value", "session": "base1", "within": None,
    },
    "link_measures": {"measures": ["value"], "metrics": ["value"], "within": None},
    "summarise_sessions": {},
    "jumps_needed": {"metrics": ["value"]},
    "lineup": {"metric": "value", "before": "base2", "after": "post"},
    "drift_from_outside": {
        "metric": "value", "selection_session": "base1", "after": "post", "group": "low",
        "slope": (0.6, 0.4, 0.8),
    },
    "subgroup_athletes": {"rules": RULES, "session": "base1", "reliability": _NOISE, "within": None},
    "split_repeatability": {"rules": RULES, "sessions": ("base1", "base2"), "within": None},
    "change_targets": {"targets": TARGETS, "before": "base2", "after": "post", "reliability": _NOISE},
    "plan_study": {"metric": "value", "reliability": _NOISE, "matters": 1.5, "scenario": _QUICK},
    "what_squad_shows": {
        "metric": "value", "reliability": _NOISE, "group_sizes": (8, 8), "scenario": _QUICK,
    },
}  # fmt: skip


def _statistics(rng: random.Random, folder: Path) -> None:
    name = rng.choice(list(STATISTICS))
    function, asked = getattr(cj, name), dict(STATISTICS[name])
    if rng.random() < 0.4 and asked:
        asked[rng.choice(list(asked))] = odd_value(rng)
    others = [n for n in list(inspect.signature(function).parameters)[1:] if n not in asked]
    if rng.random() < 0.2 and others:
        asked[rng.choice(others)] = odd_value(rng)
    tables = {n: _spoiled(v, rng) for n, v in asked.items() if isinstance(v, pd.DataFrame)}
    if "table" in inspect.signature(function).parameters:
        tables["table"] = _spoiled(_squad(rng), rng)
    result = function(**asked | tables)
    repr(result)
    if isinstance(result, cj.Result):
        _ = [str(s) for s in (*result.sentences, *result.notes)]


CALLS: dict[str, Callable[[random.Random, Path], None]] = {
    "arrays": _arrays,
    "settings": _settings,
    "statistics": _statistics,
}
