"""Which choices move the estimate: shares of its variance, and who turns the verdict."""

from __future__ import annotations

from itertools import combinations
from math import comb

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: More choices than this are not averaged over all orders.
_MOST = 12


def variance_shares(estimates: Array, codes: NDArray[np.int_]) -> Array:
    """Return each choice's share of the variance of the estimates over specifications.

    Parameters
    ----------
    estimates : array, shape (n_specifications,)
    codes : array of int, shape (n_specifications, n_choices)
        Level of each choice.

    Returns
    -------
    array, shape (n_choices,)
        They add up to the share that single choices explain; the rest lies in how choices work
        together. All zero when the estimates do not differ.

    Notes
    -----
    Combinations that nobody would defend are left out, so choices are not balanced and their sums
    of squares depend on the order in which they are taken. Each share is what a choice adds to R²,
    averaged over all orders (Lindeman, Merenda & Gold 1980, from memory); in a balanced design it is
    the usual sum of squares of the choice over the total.
    """
    values = estimates - estimates.mean()
    total = float(values @ values)
    n_choices = codes.shape[1]
    if total <= 1e-24 * float(estimates @ estimates) or n_choices == 0 or n_choices > _MOST:
        return np.zeros(n_choices)
    blocks = [_columns(codes[:, j]) for j in range(n_choices)]
    sizes = np.cumsum([0, *(b.shape[1] for b in blocks)])
    design = np.hstack(blocks) if blocks else np.empty((len(values), 0))
    gram, pull = design.T @ design, design.T @ values
    spans = [np.arange(a, b) for a, b in zip(sizes[:-1], sizes[1:], strict=True)]

    def explained(chosen: tuple[int, ...]) -> float:
        columns = np.concatenate([spans[j] for j in chosen]) if chosen else np.empty(0, dtype=int)
        if not len(columns):
            return 0.0
        part = np.linalg.pinv(gram[np.ix_(columns, columns)], rcond=1e-10, hermitian=True)
        return float(pull[columns] @ part @ pull[columns]) / total

    known = {
        chosen: explained(chosen)
        for size in range(n_choices + 1)
        for chosen in combinations(range(n_choices), size)
    }
    shares = np.zeros(n_choices)
    for chosen, before in known.items():
        weight = (
            1.0 / (n_choices * comb(n_choices - 1, len(chosen))) if len(chosen) < n_choices else 0.0
        )
        for j in set(range(n_choices)) - set(chosen):
            shares[j] += weight * (known[tuple(sorted((*chosen, j)))] - before)
    return shares


def _columns(code: NDArray[np.int_]) -> Array:
    """Return the centred columns of the levels but the first."""
    levels = np.unique(code)[1:]
    columns = (code[:, None] == levels[None, :]).astype(np.float64)
    return np.asarray(columns - columns.mean(axis=0))


def same_by_level(choices: pd.DataFrame, same: NDArray[np.bool_]) -> pd.DataFrame:
    """Return the share of specifications with the same verdict, by choice and level.

    Parameters
    ----------
    choices : pandas.DataFrame
        One column per choice.
    same : array of bool, shape (n_specifications,)

    Returns
    -------
    pandas.DataFrame
        choice, level, specifications, share; choices with one level only are left out.
    """
    parts = []
    for choice in choices.columns:
        column = choices[choice]
        if column.nunique() < 2:
            continue
        found = pd.DataFrame({"level": column, "same": same}).groupby("level", sort=False)["same"]
        table = found.agg(specifications="size", share="mean").reset_index()
        table.insert(0, "choice", choice)
        parts.append(table)
    columns = ["choice", "level", "specifications", "share"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def spread_beyond_noise(estimates: Array, scores: Array) -> tuple[float, float]:
    """Return the SD of the estimates over specifications, and what is left of it without noise.

    Parameters
    ----------
    estimates : array, shape (n_specifications,)
    scores : array, shape (n_specifications, n_athletes)
        What each athlete adds to the error of each estimate; the squared standard error is its
        sum of squares.

    Notes
    -----
    Two specifications that mean the same differ by noise of their own. Its variance is that of the
    scores around their mean over specifications; what the estimates spread beyond it is how far
    apart the specifications' true effects lie. Zero when there is no more than noise.
    """
    total = float(estimates.var())
    noise = float(((scores - scores.mean(axis=0)) ** 2).sum(axis=1).mean())
    return float(np.sqrt(total)), float(np.sqrt(max(total - noise, 0.0)))
