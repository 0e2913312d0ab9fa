"""Two works timed in turns within one run: on a shared machine only their ratio says anything."""

from __future__ import annotations

import statistics
from collections.abc import Callable
from time import perf_counter

ROUNDS = 200


def paired(first: Callable[[], object], second: Callable[[], object]) -> tuple[float, float, float]:
    """Return median times of both (ms) and the median of their paired ratios."""
    times = []
    for turn in range(ROUNDS + 10):
        order = (first, second) if turn % 2 else (second, first)
        spent = {}
        for call in order:
            start = perf_counter()
            call()
            spent[call] = perf_counter() - start
        times.append((spent[first], spent[second]))
    times = times[10:]
    return (
        1e3 * statistics.median(a for a, _ in times),
        1e3 * statistics.median(b for _, b in times),
        statistics.median(a / b for a, b in times),
    )
