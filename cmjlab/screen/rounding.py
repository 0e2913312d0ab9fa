"""Numbers with as many digits as their uncertainty allows.

The uncertainty (half the interval, or the standard error) keeps two digits, and the number ends where they
end: JCGM 100:2008 (GUM), 7.2.6 ("at most two significant digits"; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from cmjlab.units import show, shown_unit, to_shown

_MOST_DECIMALS = 6


def decimals_for(uncertainty: float) -> int | None:
    """Return the decimals of a number whose uncertainty is this; negative: tens, hundreds.

    None when there is no uncertainty to go by.

    Examples
    --------
    >>> decimals_for(1.3), decimals_for(0.042), decimals_for(120.0), decimals_for(0.0)
    (1, 3, -1, None)
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return None
    return min(_MOST_DECIMALS, 1 - math.floor(math.log10(uncertainty)))


def written(value: float, decimals: int) -> str:
    """Return a number with these decimals, minus as a minus sign and never a negative zero."""
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "\u2212")


def value_with_error(value: float, error: float, unit: str) -> str:
    """Return "33.41 ± 0.21 cm"; without an error the usual decimals.

    Parameters
    ----------
    value, error : float
        In the table's unit; the error may be nan.
    unit : str
        Unit of the table.
    """
    decimals = decimals_for(to_shown(error, unit))
    if decimals is None or not math.isfinite(value):
        return show(value, unit).replace("-", "\u2212")
    number, spread = (written(to_shown(v, unit), decimals) for v in (value, error))
    return f"{number} ± {spread} {shown_unit(unit)}".rstrip()


def estimate_cell(row: Mapping[str, Any], unit: str) -> str:
    """Return "2.2 (0.9 to 3.5) cm" of a row of the statistics table; "–" without a number.

    Parameters
    ----------
    row : mapping
        ``estimate``, ``ci_low``, ``ci_high``, ``se``.
    unit : str
        Unit of the table.
    """
    value, low, high, error = (
        float("nan") if v is None or v != v else to_shown(float(v), unit)
        for v in (row.get(c) for c in ("estimate", "ci_low", "ci_high", "se"))
    )
    if not math.isfinite(value):
        return "–"
    ends = [v for v in (low, high) if math.isfinite(v)]
    half = (high - low) / 2 if len(ends) == 2 else error
    decimals = decimals_for(half)
    if decimals is None:
        return show(float(row["estimate"]), unit).replace("-", "\u2212")
    interval = f" ({written(low, decimals)} to {written(high, decimals)})" if len(ends) == 2 else ""
    return f"{written(value, decimals)}{interval} {shown_unit(unit)}".rstrip()
