"""Where the spread of changes comes from, and what each design makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Case
from cmjlab.stats.planning import power as exact

Array = NDArray[np.float64]

#: One group by a paired t test; two groups by their changes; two groups by ANCOVA.
ONE_GROUP, CHANGE, ANCOVA = DESIGNS = ("one_group", "two_groups_change", "two_groups_ancova")


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

    @property
    def designs(self) -> tuple[str, ...]:
        """The designs that can be planned: ANCOVA needs the spread between athletes."""
        return tuple(d for d in DESIGNS if d != ANCOVA or self.between > 0)

    def case(self, design: str) -> Case:
        """Return a design under these assumptions, as the case of a row."""
        assumed = {"response": self.response, "drift": self.drift, "baselines": self.baselines}
        return Case(design, assumed)

    def assumptions(self) -> dict[str, Any]:
        """Return the columns of a tidy table that say what is assumed."""
        return {
            "response_sd": self.response,
            "drift_sd": self.drift,
            "baselines": self.baselines,
        }

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

    def power(self, design: str, effect: float, n: Any, level: float) -> Array:
        """Return the power of a design with n athletes (per group)."""
        if design == ONE_GROUP:
            return exact.one_group(effect, self.change_sd(True), n, level)
        kernel, sd = (
            (exact.two_groups, self.change_sd)
            if design == CHANGE
            else (exact.two_groups_ancova, self.given_baseline_sd)
        )
        return kernel(effect, sd(True), sd(False), n, level)

    def error(self, design: str, n1: Any, n2: Any) -> tuple[Array, Array]:
        """Return standard error and df of a design for group sizes."""
        n1, n2 = np.asarray(n1, float), np.asarray(n2, float)
        if design == ONE_GROUP:
            return self.change_sd(True) / np.sqrt(n1), n1 - 1
        if design == CHANGE:
            a, b = self.change_sd(True) ** 2 / n1, self.change_sd(False) ** 2 / n2
            return np.sqrt(a + b), (a + b) ** 2 / (a**2 / (n1 - 1) + b**2 / (n2 - 1))
        total = n1 + n2
        inflate = (total - 3) / np.maximum(total - 4, 1e-9)
        a, b = self.given_baseline_sd(True) ** 2 / n1, self.given_baseline_sd(False) ** 2 / n2
        return np.sqrt((a + b) * inflate), total - 3
