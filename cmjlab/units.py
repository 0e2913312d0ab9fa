"""Gravity, unit conversions and the rounding used where a person looks.

Tables hold SI units. Centimetres, milliseconds and percent appear only in figures,
reports and printed text, and only through the functions here.
"""

from __future__ import annotations

import math

#: Standard acceleration of free fall, m/s². Source: CGPM 1901 (exact by definition).
STANDARD_GRAVITY = 9.80665

#: Factors to newtons. kgf and lbf: exact from the international pound and standard gravity.
FORCE_UNITS: dict[str, float] = {
    "N": 1.0,
    "kN": 1000.0,
    "kgf": STANDARD_GRAVITY,
    "lbf": 4.4482216152605,
}

#: Factors to seconds.
TIME_UNITS: dict[str, float] = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0}

#: table unit -> (unit shown, factor, decimals)
_SHOWN: dict[str, tuple[str, float, int]] = {
    "m": ("cm", 100.0, 1),
    "s": ("ms", 1000.0, 0),
    "N": ("N", 1.0, 0),
    "kg": ("kg", 1.0, 1),
    "W": ("W", 1.0, 0),
    "W/kg": ("W/kg", 1.0, 1),
    "N/kg": ("N/kg", 1.0, 2),
    "N·s": ("N·s", 1.0, 1),
    "N·s/kg": ("N·s/kg", 1.0, 3),
    "J": ("J", 1.0, 0),
    "J/kg": ("J/kg", 1.0, 2),
    "N/s": ("N/s", 1.0, 0),
    "N/s/kg": ("N/s/kg", 1.0, 1),
    "W/s": ("W/s", 1.0, 0),
    "W/s/kg": ("W/s/kg", 1.0, 1),
    "kg·m/s": ("kg·m/s", 1.0, 1),
    "N/m": ("N/m", 1.0, 0),
    "N/m/kg": ("N/m/kg", 1.0, 1),
    "m/s": ("m/s", 1.0, 2),
    "%": ("%", 1.0, 1),
    "": ("", 1.0, 3),
}


def shown_unit(unit: str) -> str:
    """Return the unit in which values of a table unit are shown to a person."""
    return _SHOWN.get(unit, (unit, 1.0, 3))[0]


def to_shown(value: float, unit: str) -> float:
    """Convert a value from its table unit to the unit shown to a person."""
    return value * _SHOWN.get(unit, (unit, 1.0, 3))[1]


def shown_step(unit: str) -> float:
    """Return the smallest difference that a person sees in values of a unit, in the shown unit.

    Examples
    --------
    >>> shown_step("m"), shown_step("s")  # tenths of a centimetre, whole milliseconds
    (0.1, 1.0)
    """
    return float(f"1e-{_SHOWN.get(unit, (unit, 1.0, 3))[2]}")


def show(value: float, unit: str, *, with_unit: bool = True, extra_decimals: int = 0) -> str:
    """Return a value in the unit and with the decimals that a person reads.

    Parameters
    ----------
    value : float
        Value in the table's unit.
    unit : str
        Unit of the table ("m", "s", "N", ...).
    with_unit : bool
        Append the unit.
    extra_decimals : int
        Decimals beyond the usual ones (typical errors need one more).

    Examples
    --------
    >>> show(0.3447, "m")
    '34.5 cm'
    >>> show(0.7805, "s", with_unit=False)
    '780'
    """
    if value is None or not math.isfinite(value):
        return "–"
    name, factor, decimals = _SHOWN.get(unit, (unit, 1.0, 3))
    text = f"{value * factor:.{decimals + extra_decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return f"{text} {name}".rstrip() if with_unit else text
