"""Invented tables for the statistics of change: two sessions, chosen groups, many sessions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

#: Heights before and after of five invented athletes, in cm.
PRE = (31.2, 34.5, 28.9, 36.1, 30.4)
POST = (33.9, 36.8, 30.2, 38.4, 33.3)


def pre_post(
    before: Iterable[float],
    after: Iterable[float],
    group: Iterable[Any] | None = None,
    names: Iterable[str] | None = None,
) -> pd.DataFrame:
    """Return a sessions table with one metric ``value``; nan values stay as rows."""
    before, after = list(before), list(after)
    who = list(names) if names else [f"A{i + 1}" for i in range(len(before))]
    table = pd.DataFrame(
        {
            "athlete": who * 2,
            "session": ["pre"] * len(before) + ["post"] * len(before),
            "value": [float(v) for v in before + after],
        }
    )
    if group is not None:
        table["group"] = list(group) * 2
    return table


def chosen_squad(
    n: int = 20, *, effect: float = 0.0, seed: int = 0, sharp: bool = True
) -> pd.DataFrame:
    """Return a squad whose lowest third in base1 forms the group "low".

    Without a sharp cut the two athletes next to it change places, so that the groups overlap.
    """
    rng = np.random.default_rng(seed)
    trait = rng.normal(33.0, 3.0, n)
    wide = pd.DataFrame({s: trait + rng.normal(0, 1.5, n) for s in ("base1", "base2", "post")})
    rank = wide["base1"].rank()
    low = rank <= n // 3
    if not sharp:
        low = (low & (rank != n // 3)) | (rank == n // 3 + 1)
    wide["post"] += np.where(low, effect, 0.0)
    wide["athlete"] = [f"A{i:02d}" for i in range(n)]
    wide["group"] = np.where(low, "low", "rest")
    long = wide.melt(id_vars=["athlete", "group"], var_name="session", value_name="value")
    return long.assign(role=np.where(long["session"] == "post", "post", "baseline"))


def several_sessions(
    sizes: Sequence[int] = (4, 4),
    sessions: int = 3,
    sd: float = 1.0,
    seed: int = 1,
    labels: Sequence[str] = ("a", "b", "c"),
) -> pd.DataFrame:
    """Return athletes a0, a1, … of group a, and so on, in sessions s0, s1, …; metric ``h``."""
    rng = np.random.default_rng(seed)
    rows = []
    for label, size in zip(labels, sizes, strict=False):
        for i in range(size):
            level = 30 + 3 * rng.standard_normal()
            for j in range(sessions):
                value = level + sd * rng.standard_normal()
                rows.append(
                    {"athlete": f"{label}{i}", "group": label, "session": f"s{j}", "h": value}
                )
    return pd.DataFrame(rows)
