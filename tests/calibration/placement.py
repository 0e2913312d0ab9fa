"""Calibration of placements: of those said to be 75 to 85 % sure, how many are right.

Truth is the athlete's own true value against the cut. Squads of n athletes are measured twice
(the first test places, both give the typical error). Run

    python tests/calibration/placement.py

to write placement.csv anew (ten CPU minutes), and placement_shown.csv with situations outside the
assumptions; ``test_subgroups_calibration.py`` checks the tables and repeats a small part.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.stats.subgroups.certainty import by_subgroup, probabilities
from cmjlab.stats.subgroups.draws import Noise, second_test, squad_draws
from cmjlab.stats.subgroups.noise import FoundNoise
from cmjlab.stats.subgroups.place import place
from cmjlab.stats.subgroups.rules import Rules, read_rules

HERE = Path(__file__).parent
TABLE = HERE / "placement.csv"
SHOWN = HERE / "placement_shown.csv"
SEED = 20260
ENOUGH = 5000
BIN = (0.75, 0.85)
#: Fewer than the library draws: the extra Monte Carlo noise works against us.
DRAWS = 500

#: name -> rows of the rules table; metrics a, b have mean 0 and total variance 1.
RULES: dict[str, list[tuple[str, str]]] = {
    "cut at the mean": [("low", "a < 0"), ("high", "else")],
    "cut at 0.8 SD": [("low", "a < 0.8"), ("high", "else")],
    "cut at 1.2 SD": [("low", "a < 1.2"), ("high", "else")],
    "squad median": [("low", "a < median"), ("high", "else")],
    "two metrics": [("low", "a < -0.4"), ("high", "b > 0.2"), ("rest", "else")],
    "both metrics": [("high", "a > 0 and b > 0"), ("rest", "else")],
    "median within a subgroup": [
        ("low", "a < -0.2"), ("rest", "else"), ("deep", "b > median within rest"),
    ],
}  # fmt: skip


def cells() -> list[dict[str, Any]]:
    """Return the situations: rules, athletes in the squad, ICC, correlation of errors."""
    single = ["cut at the mean", "cut at 0.8 SD", "cut at 1.2 SD"]
    out = [(rule, n, icc) for rule in single for n in (12, 20, 40) for icc in (0.7, 0.85)]
    out += [(rule, 20, 0.95) for rule in single]
    out += [(rule, n, icc) for rule in [*RULES][3:] for n in (12, 24) for icc in (0.7, 0.85)]
    return [{"rule": rule, "n": n, "icc": icc} for rule, n, icc in out]


def rules_of(name: str) -> Rules:
    """Return the rules of a cell."""
    return read_rules(pd.DataFrame(RULES[name], columns=["subgroup", "rule"]))


def shown_cells() -> list[dict[str, Any]]:
    """Return situations outside the assumptions: shown in a table of their own, not passed."""
    kinds = ("two kinds of athletes", "heavy-tailed noise", "noise differs between athletes")
    rules = ("cut at the mean", "cut at 0.8 SD")
    return [{"rule": r, "n": 20, "icc": 0.75, "kind": k} for k in kinds for r in rules]


def squad(
    rng: np.random.Generator, n: int, icc: float, p: int, kind: str = "normal"
) -> tuple[np.ndarray, np.ndarray]:
    """Return true values (n, p) and two tests (2, n, p); true r .3, errors r .5; variance 1."""
    traits = np.linalg.cholesky(icc * (0.3 + 0.7 * np.eye(p)))
    errors = np.linalg.cholesky((1 - icc) * (0.5 + 0.5 * np.eye(p)))
    true = rng.standard_normal((n, p)) @ traits.T
    noise = rng.standard_normal((2, n, p))
    if kind == "two kinds of athletes":  # two narrow clusters, the same variance as a whole
        side = np.where(rng.random((n, 1)) < 0.5, -1.0, 1.0)
        true = np.sqrt(icc) * (0.9 * side + np.sqrt(1 - 0.81) * rng.standard_normal((n, p)))
    elif kind == "heavy-tailed noise":
        noise = rng.standard_t(5, (2, n, p)) * np.sqrt(3 / 5)
    elif kind == "noise differs between athletes":  # log SD 0.4, mean variance 1
        noise = noise * np.exp(0.4 * rng.standard_normal((1, n, 1)) - 0.16)
    return true, true + noise @ errors.T


def noise_of(tests: np.ndarray, metrics: tuple[str, ...]) -> FoundNoise:
    """Return the typical errors of two tests, as the library finds them in a table."""
    change = tests[1] - tests[0]
    change = change - change.mean(axis=0)
    products = change.T @ change / 2
    df = len(change) - 1
    root = np.sqrt(np.diag(products))
    noise = Noise(
        root / np.sqrt(df), np.full(len(root), float(df)), products / np.outer(root, root)
    )
    return FoundNoise(metrics, noise, {}, (), {})


def one_squad(rng: np.random.Generator, cell: dict[str, Any], rules: Rules) -> np.ndarray:
    """Return probability, side and whether right of every athlete of one squad, (n, 3)."""
    metrics = rules.metrics
    true, tests = squad(rng, cell["n"], cell["icc"], len(metrics), cell.get("kind", "normal"))
    found = noise_of(tests, metrics)
    columns = {m: tests[0][:, j] for j, m in enumerate(metrics)}
    names = np.array([rules.subgroups.index(r.subgroup) for r in rules.rules])
    placed = names[place(rules, columns, {})]
    chance = by_subgroup(rules, probabilities(tests[0], {}, rules, found, DRAWS))
    # The truth of a squad-relative cut is the squad's own true median.
    truth = names[place(rules, {m: true[:, j] for j, m in enumerate(metrics)}, {})]
    return np.column_stack([chance[np.arange(len(placed)), placed], placed, placed == truth])


def run_cell(cell: dict[str, Any], seed: int = SEED, enough: int = ENOUGH) -> list[dict[str, Any]]:
    """Return one row pooled and one per side, with squads until the bin is full."""
    rules = rules_of(cell["rule"])
    rng = np.random.default_rng(np.random.SeedSequence([seed, *_numbers(cell)]))
    parts, filled = [], 0
    while filled < enough:
        part = one_squad(rng, cell, rules)
        parts.append(part)
        filled += int(((part[:, 0] >= BIN[0]) & (part[:, 0] <= BIN[1])).sum())
    found = pd.DataFrame(np.concatenate(parts), columns=["p", "side", "right"])
    return list(_rows(cell, found.astype({"right": bool}), rules))


def _numbers(cell: dict[str, Any]) -> list[int]:
    kind = [ord(c) for c in cell.get("kind", "")]
    return [list(RULES).index(cell["rule"]), cell["n"], round(100 * cell["icc"]), *kind]


def _rows(cell: dict[str, Any], found: pd.DataFrame, rules: Rules) -> Iterator[dict[str, Any]]:
    inside = found[found["p"].between(*BIN)]
    clear = found["p"] >= 0.75
    whole = {
        "athletes": len(found), "clear_right": round(found.loc[clear, "right"].mean(), 4),
        "too_close": round(1 - clear.mean(), 4),
        "too_close_right": round(found.loc[~clear, "right"].mean(), 4),
    }  # fmt: skip
    sides: list[tuple[str, pd.DataFrame]] = [("pooled", inside)]
    sides += [(g, inside[inside["side"] == i]) for i, g in enumerate(rules.subgroups)]
    for side, part in sides:
        yield cell | {
            "side": side, "in_bin": len(part), "right": int(part["right"].sum()),
            "said": round(part["p"].mean(), 4), "share": round(part["right"].mean(), 4), **whole,
        }  # fmt: skip


def count_coverage(squads: int, seed: int = SEED) -> dict[str, float]:
    """Return how often the number of athletes who change group lies in its 95 % limits."""
    rules = rules_of("two metrics")
    names = np.array([rules.subgroups.index(r.subgroup) for r in rules.rules])
    rng = np.random.default_rng(seed)
    hits, seen, said = 0, 0.0, 0.0
    for _ in range(squads):
        _, tests = squad(rng, 24, 0.85, 2)
        found = noise_of(tests, rules.metrics)
        assert found.noise is not None
        true, errors = squad_draws(tests[0], found.noise, rng, 1000)
        again = second_test(true, errors, rng)
        now = names[place(rules, dict(zip("ab", tests[0].T, strict=True)), {})]
        then = names[place(rules, {"a": again[..., 0], "b": again[..., 1]}, {})]
        count = (then != now).sum(axis=1)
        real = int((names[place(rules, dict(zip("ab", tests[1].T, strict=True)), {})] != now).sum())
        low, high = np.quantile(count, [0.025, 0.975], method="inverted_cdf")
        hits += int(low <= real <= high)
        seen, said = seen + real, said + float(count.mean())
    return {"coverage": hits / squads, "seen": seen / squads, "expected": said / squads}


def main() -> None:
    """Write both tables."""
    for path, situations in ((TABLE, cells()), (SHOWN, shown_cells())):
        rows = [row for cell in situations for row in run_cell(cell)]
        pd.DataFrame(rows).to_csv(path, index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
