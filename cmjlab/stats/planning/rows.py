"""Rows, points and sentences of a study plan for one metric."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from cmjlab.stats.common.estimate_rows import Row, not_estimable
from cmjlab.stats.common.noise import Noise
from cmjlab.stats.common.tables import unit_of
from cmjlab.stats.common.wording import name_of
from cmjlab.stats.planning import power as exact
from cmjlab.stats.planning.simulation import simulated_power
from cmjlab.units import show

if TYPE_CHECKING:
    from cmjlab.stats.planning.planning import Scenario

Array = NDArray[np.float64]

DESIGNS = {
    "one_group": "one group, paired t",
    "change": "two groups, change scores",
    "ancova": "two groups, ANCOVA",
}
#: Share of studies in which an assured half width is not exceeded.
ASSURANCE = 0.8


@dataclass(frozen=True)
class Spread:
    """Where the spread of changes comes from; response and drift in typical errors.

    Attributes
    ----------
    typical_error, between : float
        In the metric's unit; between = 0 when not known.
    response, drift : float
        In typical errors.
    baselines : int
    """

    typical_error: float
    between: float
    response: float
    drift: float
    baselines: int

    def change_sd(self, trained: bool) -> float:
        """Return the SD of change of one group."""
        parts = 1.0 + 1.0 / self.baselines + self.drift**2
        return self.typical_error * float(np.sqrt(parts + (self.response**2 if trained else 0.0)))

    def given_baseline_sd(self, trained: bool) -> float:
        """Return the SD of the outcome given the baseline mean (ANCOVA)."""
        noise = self.typical_error**2
        reliability = self.between**2 / (self.between**2 + noise / self.baselines)
        parts = self.between**2 * (1 - reliability) + noise * (1 + self.drift**2)
        return float(np.sqrt(parts + (noise * self.response**2 if trained else 0.0)))

    @property
    def words(self) -> str:
        """The assumptions in words."""
        base = "1 baseline" if self.baselines == 1 else f"mean of {self.baselines} baselines"
        drift = f", drift {self.drift:g} TE" if self.drift else ""
        return f"response spread {self.response:g} TE{drift}; {base}"

    def power(self, design: str, effect: float, n: Any, level: float) -> Array:
        """Return the power of a design with n athletes (per group)."""
        if design == "one_group":
            return exact.one_group(effect, self.change_sd(True), n, level)
        kernel, sd = (
            (exact.two_groups, self.change_sd)
            if design == "change"
            else (exact.two_groups_ancova, self.given_baseline_sd)
        )
        return kernel(effect, sd(True), sd(False), n, level)


def _designs(spread: Spread) -> list[str]:
    return [d for d in DESIGNS if d != "ancova" or spread.between > 0]


def needed_rows(
    spread: Spread, matters: float, power: float, level: float, attrition: float
) -> list[Row]:
    """Return the athletes needed (per group) in each design."""
    rows: list[Row] = []
    for design, words in DESIGNS.items():
        place: Row = {"unit": "", "level": level, "method": f"{words}; {spread.words}"}
        if design not in _designs(spread):
            why = "the spread between athletes is not known"
            rows.append(not_estimable(place, "n_needed", why))
            continue
        n = exact.smallest(_reached(spread, design, matters, level, power))
        if n is None:
            why = f"more than {exact.LARGEST} athletes would be needed"
            rows.append(not_estimable(place, "n_needed", why))
            continue
        row: Row = {**place, "statistic": "n_needed", "estimate": float(n), "n": n}
        if attrition > 0:
            tested = ceil(n / (1 - attrition))
            row["text"] = f"test {tested} before the block if {100 * attrition:g} % drop out"
        rows.append(row)
        reached = float(spread.power(design, matters, n, level))
        rows.append({**place, "statistic": "power", "estimate": reached, "n": n})
    return rows


def _reached(
    spread: Spread, design: str, matters: float, level: float, power: float
) -> Callable[[int], bool]:
    return lambda n: bool(spread.power(design, matters, n, level) >= power)


def simulated_rows(
    needed: list[Row], spread: Spread, matters: float, level: float, scenario: Scenario
) -> list[Row]:
    """Return simulated power with its Monte Carlo interval for each size that was found."""
    rows: list[Row] = []
    if scenario.simulations < 100:
        return rows
    for row in needed:
        if row["statistic"] != "n_needed" or "n" not in row or row["n"] > 500:
            continue
        design = next(d for d, words in DESIGNS.items() if row["method"].startswith(words))
        value = simulated_power(design, spread, matters, row["n"], level, scenario)
        half = 1.96 * float(np.sqrt(value * (1 - value) / scenario.simulations))
        rows.append(
            {
                "unit": "",
                "level": level,
                "statistic": "power_simulated",
                "estimate": value,
                "ci_low": value - half,
                "ci_high": value + half,
                "n": row["n"],
                "method": row["method"],
                "text": f"{scenario.simulations} simulated studies; limits are the Monte Carlo interval",
            }
        )
    return rows


def power_points(spreads: list[Spread], matters: float, level: float, largest: int) -> list[Row]:
    """Return power over the number of athletes per group: the planning picture."""
    n = np.arange(3, largest + 1)
    rows = []
    for spread in spreads:
        for design in _designs(spread):
            power = spread.power(design, matters, n, level)
            rows += [
                {
                    "design": DESIGNS[design],
                    "response_sd": spread.response,
                    "baselines": spread.baselines,
                    "n": int(k),
                    "power": float(p),
                }
                for k, p in zip(n, power, strict=True)
            ]
    return rows


def _errors(spread: Spread, design: str, n1: Any, n2: Any) -> tuple[Array, Array]:
    """Return standard error and df of a design for group sizes."""
    n1, n2 = np.asarray(n1, float), np.asarray(n2, float)
    if design == "one_group":
        return spread.change_sd(True) / np.sqrt(n1), n1 - 1
    if design == "change":
        a, b = spread.change_sd(True) ** 2 / n1, spread.change_sd(False) ** 2 / n2
        return np.sqrt(a + b), (a + b) ** 2 / (a**2 / (n1 - 1) + b**2 / (n2 - 1))
    total = n1 + n2
    inflate = (total - 3) / np.maximum(total - 4, 1e-9)
    a, b = spread.given_baseline_sd(True) ** 2 / n1, spread.given_baseline_sd(False) ** 2 / n2
    return np.sqrt((a + b) * inflate), total - 3


def precision_points(spreads: list[Spread], level: float, largest: int) -> list[Row]:
    """Return expected and assured half widths over the number of athletes per group."""
    n = np.arange(3, largest + 1)
    rows = []
    for spread in spreads:
        for design in _designs(spread):
            se, df = _errors(spread, design, n, n)
            expected = exact.half_width(se, df, level)
            assured = exact.half_width(se, df, level, ASSURANCE)
            rows += [
                {
                    "design": DESIGNS[design],
                    "response_sd": spread.response,
                    "baselines": spread.baselines,
                    "n": int(k),
                    "half_width": float(e),
                    "assured_half_width": float(a),
                }
                for k, e, a in zip(n, expected, assured, strict=True)
            ]
    return rows


def jumps_points(noise: Noise, level: float) -> list[Row]:
    """Return one athlete's typical error and half width over jumps and baselines, from components."""
    if not noise.has_components:
        return []
    rows = []
    for jumps in range(1, 11):
        for baselines in range(1, 5):
            se, df = noise.change_se_from_jumps(np.full(baselines, jumps), np.array([jumps]))
            error = float(np.sqrt(noise.between_days**2 + noise.between_jumps**2 / jumps))
            half = float(special.stdtrit(df, 0.5 + level / 2)) * se
            rows.append(
                {"jumps": jumps, "baselines": baselines, "typical_error": error, "half_width": half}
            )
    return rows


def precision_rows(spread: Spread, sizes: tuple[int, ...], noise: Noise, level: float) -> list[Row]:
    """Return half widths for given group sizes and for one athlete."""
    rows: list[Row] = []
    n2 = sizes[1] if len(sizes) == 2 else sizes[0]
    wanted = ["one_group"] if len(sizes) == 1 else _designs(spread)
    for design in wanted:
        if design == "ancova" and sum(sizes) < 5:
            continue
        se, df = _errors(spread, design, sizes[0], n2)
        n = sizes[0] if design == "one_group" else sum(sizes)
        rows += _half_rows(float(se), float(df), level, f"{DESIGNS[design]}; {spread.words}", n)
    se_one, df_one = noise.change_se(spread.baselines, 1)
    base = "1 baseline" if spread.baselines == 1 else f"mean of {spread.baselines} baselines"
    half = float(special.stdtrit(df_one, 0.5 + level / 2)) * se_one
    rows.append(
        {
            "statistic": "expected_half_width",
            "estimate": half,
            "n": 1,
            "df": df_one,
            "level": level,
            "method": f"one athlete; {base}",
        }
    )
    return rows


def _half_rows(se: float, df: float, level: float, method: str, n: int) -> list[Row]:
    expected = float(exact.half_width(se, df, level))
    assured = float(exact.half_width(se, df, level, ASSURANCE))
    place: Row = {"method": method, "n": n, "df": df, "level": level, "se": se}
    return [
        {**place, "statistic": "expected_half_width", "estimate": expected},
        {**place, "statistic": "assured_half_width", "estimate": assured},
    ]


def needed_sentence(
    metric: str, rows: list[Row], spread: Spread, matters: float, power: float
) -> str:
    """Return the athletes needed in plain words."""
    found = {r["method"].split(";")[0]: r for r in rows if r["statistic"] == "n_needed"}
    parts = []
    for words, row in found.items():
        each = "" if words.startswith("one") else " in each group"
        number = f"{row['n']} athletes{each}" if "n" in row else row["text"]
        parts.append(f"{number} ({words})")
    return (
        f"{name_of(metric)}: to see a true change of {show(matters, unit_of(metric))} in {100 * power:g} of 100"
        f" such studies ({spread.words}): {'; '.join(parts)}."
    )


def precision_sentence(metric: str, rows: list[Row], spread: Spread, sizes: tuple[int, ...]) -> str:
    """Return what this squad can show in plain words."""
    unit = unit_of(metric)
    parts = []
    for row in rows:
        if row["statistic"] == "expected_half_width":
            what = row["method"].split(";")[0]
            parts.append(f"±{show(row['estimate'], unit)} ({what})")
    counts = " and ".join(str(n) for n in sizes)
    return (
        f"{name_of(metric)}: with {counts} athletes ({spread.words}) a change will be known to about"
        f" {', '.join(parts)}."
    )
