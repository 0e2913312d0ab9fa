"""Calibration harness: do intervals cover and tests reject as often as they say.

One seeded harness for every method. A *cell* is a situation (n, sessions, missing values, …); a
*study function* simulates many studies of that situation at once and says for each whether its
interval covered the truth. The harness counts, adds the Monte Carlo interval (Clopper–Pearson,
Bonferroni over all judged rows) and compares with the bar:

    pass   the Monte Carlo interval overlaps the bar (94–96 % for intervals, 4.5–5.5 % for tests)
    fail   it does not
    shown  theory says that the method cannot hold here; the number is shown as it came out

Every cell has its own random stream, made from the seed and the cell's own description, so that
one cell can be run again alone and gives the same numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import special

from cmjlab.keys import key_of

Cell = Mapping[str, Any]
Outcome = Mapping[str, NDArray[np.float64]]
StudyFunction = Callable[[np.random.Generator, Cell, int], Outcome]

#: Bars: an interval of 95 %, a test at 5 %.
COVERAGE_BAR = (0.94, 0.96)
REJECTION_BAR = (0.045, 0.055)

#: Columns that :func:`calibrate` adds behind those of the cell.
COLUMNS = (
    "quantity", "studies", "not_estimable", "proportion", "mc_low", "mc_high",
    "bar_low", "bar_high", "verdict", "why", "first_batch_studies", "first_batch_hits",
)  # fmt: skip


def covers(low: ArrayLike, high: ArrayLike, truth: ArrayLike) -> NDArray[np.float64]:
    """Return 1 where low ≤ truth ≤ high, 0 where not, nan where there is no interval."""
    low, high, truth = np.broadcast_arrays(*(np.asarray(x, float) for x in (low, high, truth)))
    hit = ((low <= truth) & (truth <= high)).astype(float)
    return np.where(np.isnan(low) | np.isnan(high), np.nan, hit)


def rejects(p: ArrayLike, alpha: float = 0.05) -> NDArray[np.float64]:
    """Return 1 where p ≤ alpha, 0 where not, nan where there is no p."""
    p = np.asarray(p, float)
    return np.where(np.isnan(p), np.nan, (p <= alpha).astype(float))


def stream(seed: int, cell: Cell, batch: int = 0) -> np.random.Generator:
    """Return the random stream of one batch of one cell."""
    key = key_of({str(k): v.item() if isinstance(v, np.generic) else v for k, v in cell.items()})
    entropy = [seed, batch, int(key[:32], 16)]
    return np.random.default_rng(np.random.SeedSequence(entropy))


def proportion_limits(
    hits: ArrayLike, studies: ArrayLike, confidence: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the Clopper–Pearson interval of a proportion."""
    hits, studies = np.asarray(hits, float), np.asarray(studies, float)
    tail = (1 - confidence) / 2
    low = np.where(hits > 0, special.betaincinv(np.maximum(hits, 1), studies - hits + 1, tail), 0.0)
    short = np.maximum(studies - hits, 1)
    high = np.where(hits < studies, special.betaincinv(hits + 1, short, 1 - tail), 1.0)
    return low, high


def count(
    cell: Cell, study: StudyFunction, *, studies: int, seed: int, batch: int = 2000
) -> list[dict[str, Any]]:
    """Run one cell and return hits and studies per quantity.

    Parameters
    ----------
    cell : mapping
        The situation; plain values, they become columns of the table.
    study : callable
        ``study(rng, cell, size) -> {quantity: array (size,) of 1, 0 or nan}``; nan counts as
        "not estimable" and not as a miss.
    studies : int
        Number of simulated studies.
    seed : int
        Seed of the whole table.
    batch : int
        Studies per call of ``study``; fixes the random streams, so keep it when re-running.
    """
    totals: dict[str, list[int]] = {}
    done = number = 0
    while done < studies:
        size = min(batch, studies - done)
        for quantity, hit in study(stream(seed, cell, number), cell, size).items():
            hit = np.asarray(hit, float)
            if hit.shape != (size,):
                raise ValueError(f"{quantity}: shape {hit.shape} instead of ({size},)")
            defined = ~np.isnan(hit)
            hits, valid = int(hit[defined].sum()), int(defined.sum())
            total = totals.setdefault(quantity, [0, 0, valid, hits])
            total[0] += hits
            total[1] += valid
        done, number = done + size, number + 1
    return [
        {
            **cell,
            "quantity": quantity,
            "studies": valid,
            "not_estimable": studies - valid,
            "hits": hits,
            "first_batch_studies": first_n,
            "first_batch_hits": first_hits,
        }
        for quantity, (hits, valid, first_n, first_hits) in totals.items()
    ]


def calibrate(
    cells: Sequence[Cell],
    study: StudyFunction,
    *,
    studies: int,
    seed: int,
    bar: Callable[[Cell, str], tuple[float, float]] | tuple[float, float] = COVERAGE_BAR,
    shown: Callable[[Cell, str], str] | None = None,
    batch: int = 2000,
) -> pd.DataFrame:
    """Run all cells and judge them.

    Parameters
    ----------
    cells : sequence of mapping
        Situations.
    study : callable
        See :func:`count`.
    studies : int
        Studies a cell: 10,000 or more for intervals, 20,000 or more for tests.
    seed : int
        Seed.
    bar : tuple, or callable of (cell, quantity)
        Lowest and highest acceptable proportion.
    shown : callable of (cell, quantity), optional
        Returns why a row is only shown, or "" when it is judged.
    batch : int
        Studies per call.

    Returns
    -------
    pandas.DataFrame
        The cell's columns, then :data:`COLUMNS`.
    """
    rows = [
        row for cell in cells for row in count(cell, study, studies=studies, seed=seed, batch=batch)
    ]
    return judge(pd.DataFrame(rows), bar=bar, shown=shown)


def judge(
    counted: pd.DataFrame,
    *,
    bar: Callable[[Cell, str], tuple[float, float]] | tuple[float, float] = COVERAGE_BAR,
    shown: Callable[[Cell, str], str] | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Return counted rows with proportion, Monte Carlo interval, bar and verdict."""
    out = counted.copy()
    records = [{str(k): v for k, v in row.items()} for row in out.to_dict("records")]
    why = [shown(r, r["quantity"]) if shown else "" for r in records]
    bars = [bar(r, r["quantity"]) if callable(bar) else bar for r in records]
    judged = max(sum(not w for w in why), 1)
    out["proportion"] = out["hits"] / out["studies"].where(out["studies"] > 0)
    low, high = proportion_limits(out["hits"], out["studies"], 1 - (1 - confidence) / judged)
    out["mc_low"], out["mc_high"] = low, high
    out["bar_low"], out["bar_high"] = [b[0] for b in bars], [b[1] for b in bars]
    inside = (high >= out["bar_low"]) & (low <= out["bar_high"])
    out["verdict"] = np.where(inside, "pass", "fail")
    out.loc[[bool(w) for w in why], "verdict"] = "shown"
    out["why"] = why
    first = [c for c in out.columns if c not in (*COLUMNS, "hits")]
    return out[[*first, *COLUMNS]]
