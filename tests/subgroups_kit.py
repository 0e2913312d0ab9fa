"""A squad with two baselines, rules for it, and what happens to squads."""

from __future__ import annotations

import numpy as np
import pandas as pd

RULES = pd.DataFrame(
    [("low", "relative_strength < 1.5", "", "strength first"), ("usual", "else", "", "")],
    columns=["subgroup", "rule", "athlete", "reason"],
)


def squad(n: int = 20, seed: int = 1, error: float = 0.08, sessions: int = 2) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    true = 1.5 + 0.2 * rng.standard_normal(n)
    rows = [
        {
            "athlete": f"A{i:02d}", "session": f"base{k + 1}", "role": "baseline",
            "sex": "female" if i % 2 else "male",
            "relative_strength": true[i] + error * rng.standard_normal(),
            "jump_height_m": 0.3 + 0.1 * (true[i] - 1.5) + 0.02 * rng.standard_normal(),
        }
        for i in range(n)
        for k in range(sessions)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def harder(data: pd.DataFrame, change: str) -> pd.DataFrame:
    """Return a squad with one of the things that happen to squads."""
    if change == "few":
        return data[data["athlete"].isin(["A00", "A01", "A02", "A03"])]
    if change == "one":
        return data[data["athlete"] == "A00"]
    if change == "once":
        return data[data["session"] == "base1"]
    if change == "holes":
        empty = data["athlete"].isin(["A03", "A04"])
        return data.assign(relative_strength=data["relative_strength"].where(~empty))
    if change == "equal":
        return data.assign(relative_strength=1.4 + 0.01 * (data["session"] == "base2"))
    return data
