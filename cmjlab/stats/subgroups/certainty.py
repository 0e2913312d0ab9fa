"""How certain a placement is: where athletes' true values lie, drawn for whole squads at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.results import Reason
from cmjlab.stats.common.least_squares import is_constant
from cmjlab.stats.subgroups.draws import DRAWS, SEED, squad_draws
from cmjlab.stats.subgroups.noise import FoundNoise
from cmjlab.stats.subgroups.place import place, roster_words
from cmjlab.stats.subgroups.rules import Rules

Array = NDArray[np.float64]
#: Fewer athletes with every value give no spread to draw from.
FEWEST = 6
#: Fewer draws for very large squads, so that they fit into memory.
_FEWEST_DRAWS, _LARGEST = 500, 6_000_000


@dataclass(frozen=True)
class Stratum:
    """What is known of one stratum: who, where the rules place them, how sure."""

    name: str
    athletes: tuple[str, ...]
    code: NDArray[np.int64]
    probability: Array
    reason: tuple[Reason | None, ...]


def place_stratum(name: str, rows: pd.DataFrame, rules: Rules, noise: FoundNoise) -> Stratum:
    """Place the athletes of one stratum, and say how sure each placement is."""
    values = {m: rows[m].to_numpy(dtype=float, na_value=np.nan) for m in rules.metrics}
    words = {w: roster_words(rows[w]) for w in rules.words}
    athletes = tuple(rows["athlete"].astype(str))
    if not athletes:
        return Stratum(name, (), np.zeros(0, int), np.zeros((0, len(rules.rules))), ())
    if not values and not words:
        sure = np.ones((len(athletes), len(rules.rules)))
        return Stratum(name, athletes, np.zeros(len(athletes), int), sure, (None,) * len(athletes))
    code = place(rules, values, words)
    probability = np.full((len(athletes), len(rules.rules)), np.nan)
    matrix = np.column_stack([*values.values()]) if values else np.zeros((len(athletes), 0))
    complete = np.atleast_1d(np.isfinite(matrix).all(axis=1))
    reason = [None if c else _no_value(rules.metrics, matrix[i]) for i, c in enumerate(complete)]
    why = _why_not(rules, noise, int(complete.sum()))
    if why is not None:
        reason = [r or why for r in reason]
    else:
        part = {w: v[complete] for w, v in words.items()}
        probability[complete] = probabilities(matrix[complete], part, rules, noise)
        flat = np.isnan(probability).any(axis=1)
        reason = [r or (Reason("values_all_equal") if f else None) for r, f in zip(reason, flat, strict=True)]  # fmt: skip
    return Stratum(name, athletes, code, probability, tuple(reason))


def _no_value(metrics: tuple[str, ...], row: Array) -> Reason:
    missing = [m for m, v in zip(metrics, row, strict=True) if not np.isfinite(v)]
    return Reason("value_missing", {"metrics": missing})


def _why_not(rules: Rules, noise: FoundNoise, n: int) -> Reason | None:
    """Return why no placement can be called certain; None when at least one error is known."""
    if not rules.metrics:
        return None
    known = noise.known(rules.metrics)
    fewest = max(FEWEST, len(known) + 4)
    if not known:
        return noise.why_not(rules.metrics)
    return Reason("few_with_every_value", {"n": n, "needed": fewest}) if n < fewest else None


def probabilities(
    matrix: Array,
    words: dict[str, NDArray[np.object_]],
    rules: Rules,
    noise: FoundNoise,
    size: int = DRAWS,
) -> Array:
    """Return the probability of each rule for athletes with all values, (n, n_rules).

    A metric whose error is not known counts as measured exactly: the certainty of the other
    conditions stands, and the note of the result says that it is an upper limit.
    """
    n, rows = len(matrix), len(rules.rules)
    if not rules.metrics:
        return np.asarray(place(rules, {}, words)[:, None] == np.arange(rows), dtype=float)
    names = noise.known(rules.metrics)
    known = noise.part(names)
    assert known is not None
    noisy = matrix[:, [rules.metrics.index(m) for m in names]]
    if any(is_constant(column) for column in noisy.T):
        return np.full((n, rows), np.nan)
    size = max(_FEWEST_DRAWS, min(size, _LARGEST // matrix.size))
    true, _ = squad_draws(noisy, known, np.random.default_rng(SEED), size)
    drawn = {
        m: true[..., names.index(m)] if m in names else np.broadcast_to(matrix[:, j], (size, n))
        for j, m in enumerate(rules.metrics)
    }
    code = place(rules, drawn, words)
    return np.stack([(code == r).mean(axis=0) for r in range(rows)], axis=1)


def by_subgroup(rules: Rules, probability: Array) -> Array:
    """Add up rules that lead to the same subgroup; (n, n_subgroups)."""
    names = [r.subgroup for r in rules.rules]
    return np.stack(
        [probability[:, [i for i, n in enumerate(names) if n == g]].sum(axis=1) for g in rules.subgroups],
        axis=1,
    )  # fmt: skip
