"""Rows of calibration tables that do not simply pass, so that none of them is hidden."""

from __future__ import annotations

from typing import Any

import pandas as pd
from committed import FOUND, counted, shown, text_of


def outside(table: pd.DataFrame) -> pd.Series:
    """Return which rows lie outside their bar with their whole Monte Carlo interval."""
    if "bar" in table:  # a bias: its size against the bar, beyond its Monte Carlo error
        return table["bias"].abs() - table["mc_error"] > table["bar"]
    return (table["mc_high"] < table["bar_low"]) | (table["mc_low"] > table["bar_high"])


def outside_bar(table: pd.DataFrame) -> dict[str, int]:
    """Return how many rows of each verdict lie outside their bar; none of a table that is not judged."""
    verdicts = ("pass", "shown", "fail")
    if "verdict" not in table:
        return dict.fromkeys(verdicts, 0)
    return {v: int((outside(table) & (table["verdict"] == v)).sum()) for v in verdicts}


def short_rows(table: pd.DataFrame, verdict: str) -> dict[str, Any] | None:
    """Return every row with this verdict: situation, what came out, its interval, bar and why.

    Rows outside their bar come first, the farthest of them at the top.
    """
    if "verdict" not in table or not (table["verdict"] == verdict).any():
        return None
    rows = table[table["verdict"] == verdict]
    value = counted(rows)
    away = _distance(rows)
    cells = [c for c in rows.columns if c not in FOUND]
    out = pd.DataFrame({
        "situation": [", ".join(f"{c} {text_of(v)}" for c, v in zip(cells, row, strict=True) if text_of(v))
                      for row in rows[cells].itertuples(index=False)],
        "quantity": rows["quantity"].to_numpy(),
        value: rows[value].to_numpy(),
        "simulation_interval": _interval(rows),
        "bar": _bar(rows),
        "outside": ["yes" if o else "" for o in outside(rows)],
        "why": rows["why"].astype(object).fillna("").to_numpy(),
    })  # fmt: skip
    order = away.reset_index(drop=True).sort_values(ascending=False, kind="stable").index
    return shown(out.loc[order])


def _interval(rows: pd.DataFrame) -> list[str]:
    if "mc_low" in rows:
        return [f"{a:.4f} to {b:.4f}" for a, b in zip(rows["mc_low"], rows["mc_high"], strict=True)]
    return [f"± {e:.3g}" for e in rows["mc_error"]]


def _bar(rows: pd.DataFrame) -> list[str]:
    if "bar_low" in rows:
        return [f"{a:g} to {b:g}" for a, b in zip(rows["bar_low"], rows["bar_high"], strict=True)]
    return [f"± {b:g}" for b in rows["bar"]]


def _distance(rows: pd.DataFrame) -> pd.Series:
    """Return how far each row lies beyond its bar; below zero inside it."""
    if "bar" in rows:
        return rows["bias"].abs() - rows["bar"]
    return pd.concat(
        [rows["bar_low"] - rows["proportion"], rows["proportion"] - rows["bar_high"]], axis=1
    ).max(axis=1)
