"""Tests and effect sizes as journals print them: F(2, 25) = 5.76, p = .009, never p = .000.

Numbers that cannot pass one (p, shares of variance) go without the zero before their point, as
psychological journals ask; with a decimal comma the zero stays.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from cmjlab.words.fill import MINUS

_NBSP = "\u00a0"
#: A sign with what stands before and behind it, and the second of two numbers in brackets.
_SIGN, _SECOND = re.compile(r" ([=<>]) "), re.compile(r"(?<=\d), (?=[+\-−.\d]+[\])])")


@dataclass(frozen=True)
class PrintedTests:
    """Writes tests with a decimal sign ("." or ",")."""

    decimal: str = "."

    def p(self, value: float) -> str:
        """Return ``p = .009``, and ``p < .001`` for whatever is smaller."""
        if not math.isfinite(value):
            return "p not given"
        if value < 0.001:
            return f"p{_NBSP}<{_NBSP}{self._below_one(0.001, 3)}"
        if value > 0.9995:
            return f"p{_NBSP}>{_NBSP}{self._below_one(0.999, 3)}"
        return f"p{_NBSP}={_NBSP}{self._below_one(value, 3)}"

    def share(self, value: float) -> str:
        """Return a share of variance: ``.32``."""
        return self._below_one(value, 2) if math.isfinite(value) else "–"

    def f(self, value: float, df: float, df2: float) -> str:
        """Return ``F(2, 25) = 5.76``."""
        return f"F({_df(df)},{_NBSP}{_df(df2)}){_NBSP}={_NBSP}{_two(value)}"

    def t(self, value: float, df: float) -> str:
        """Return ``t(9) = 3.83``."""
        return f"t({_df(df)}){_NBSP}={_NBSP}{_two(value)}"

    def effect(self, numbers: tuple[float, float, float]) -> str:
        """Return ``1.09 [0.33, 1.81]``, or the number alone where it has no interval."""
        first, low, high = numbers
        if not math.isfinite(first):
            return "–"
        if not (math.isfinite(low) and math.isfinite(high)):
            return _two(first)
        return f"{_two(first)} [{_two(low)},{_NBSP}{_two(high)}]"

    def eta(self, numbers: tuple[float, float, float]) -> str:
        """Return ``.32 [.06, .48]``."""
        first, low, high = (self.share(v) for v in numbers)
        return f"{first} [{low},{_NBSP}{high}]"

    def _below_one(self, value: float, digits: int) -> str:
        text = f"{value:.{digits}f}"
        return text.removeprefix("0") if self.decimal == "." and text.startswith("0") else text


def kept_together(text: str) -> str:
    """Return a sentence in which no line breaks within ``p = .009`` or ``[0.33, 1.81]``."""
    text = _SIGN.sub(rf"{_NBSP}\1{_NBSP}", text)
    return _SECOND.sub(f",{_NBSP}", text)


def _df(value: float) -> str:
    return f"{value:.0f}" if abs(value - round(value)) < 1e-9 else f"{value:.1f}"


def _two(value: float) -> str:
    text = f"{value:.2f}".replace("-", MINUS)
    return text.removeprefix(MINUS) if text == f"{MINUS}0.00" else text
