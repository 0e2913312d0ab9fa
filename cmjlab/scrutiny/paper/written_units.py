"""Units as papers print them, turned into those of our tables: cm, W·kg⁻¹, kN, N·s·kg^-1, ms."""

from __future__ import annotations

import math
import re

_SUPER = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻−–", "0123456789---")
_PREFIXES = {"": 1.0, "m": 1e-3, "c": 1e-2, "k": 1e3}
#: Units that may carry a prefix, and words that stand for a unit.
_BASE = ("m", "s", "N", "W", "J", "g", "kg", "Hz")
_WORDS = {"sec": "s", "msec": "ms", "seconds": "s", "metres": "m", "meters": "m", "percent": "%",
          "newton": "N", "watt": "W", "watts": "W"}  # fmt: skip
#: One unit of others.
_MADE = {"N": {"kg": 1, "m": 1, "s": -2}, "J": {"kg": 1, "m": 2, "s": -2},
         "W": {"kg": 1, "m": 2, "s": -3}, "Hz": {"s": -1}}  # fmt: skip
_TOKEN = re.compile(r"([A-Za-zµ%]+)\^?\(?(-?\d+)?\)?")


def factor(written: str, unit: str) -> float | None:
    """Return by what a number in a written unit is multiplied to be in a unit of ours.

    Parameters
    ----------
    written : str
        As a person types it from a paper.
    unit : str
        Unit of a table: "m", "N/kg", "kg·m/s", "%", "".

    Returns
    -------
    float or None
        None when it is no unit, or one of another quantity.

    Examples
    --------
    >>> factor("cm", "m"), factor("W·kg−1", "W/kg"), factor("m/s/s", "N/kg"), factor("ms", "m")
    (0.01, 1.0, 1.0, None)
    """
    if re.sub(r"\s", "", written) == re.sub(r"\s", "", unit):
        return 1.0
    mine, theirs = _parsed(unit), _parsed(written)
    if mine is None or theirs is None or mine[1] != theirs[1]:
        return None
    found = theirs[0] / mine[0]
    return float(f"{found:.12g}") if math.isfinite(found) else None


def _parsed(text: str) -> tuple[float, dict[str, int]] | None:
    """Return factor to base units and their exponents."""
    text = text.translate(_SUPER).strip().strip("[]").replace("**", "^")
    text = re.sub(r"[*⋅.×∙\s]+", "·", text).replace("(", "").replace(")", "")
    if text in ("", "1"):
        return 1.0, {}
    size, powers = 1.0, dict[str, int]()
    for place, part in enumerate(text.split("/")):
        for token in part.split("·"):
            if place == 0 and token == "1":
                continue
            one = _token(token)
            if one is None:
                return None
            sign = -1 if place else 1
            size *= one[0] ** sign
            for base, power in one[1].items():
                powers[base] = powers.get(base, 0) + sign * power
    return size, {b: p for b, p in powers.items() if p}


def _token(token: str) -> tuple[float, dict[str, int]] | None:
    found = _TOKEN.fullmatch(token)
    if not found:
        return None
    name = _WORDS.get(found[1].casefold(), found[1])
    power = int(found[2] or 1)
    if name == "%":
        return 1.0, {"%": power}
    for prefix, size in _PREFIXES.items():
        base = name.removeprefix(prefix)
        if name.startswith(prefix) and base in _BASE:
            if base == "g":
                base, size = "kg", size * 1e-3
            made = _MADE.get(base, {base: 1})
            return size**power, {b: p * power for b, p in made.items()}
    return None
