"""Texts that a spreadsheet would run as a formula get an apostrophe in front.

Injection through tables is described by OWASP ("CSV Injection"; from memory).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

_FORMULA = re.compile(r"'*(?:\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n])")
_PLAIN_NUMBER = re.compile(r"'*\s*[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d+)?\s*")


def guarded(text: str) -> str:
    """Return text with an apostrophe in front when a spreadsheet would run it as a formula."""
    return "'" + text if _needs_guard(text) else text


def unguarded(text: str) -> str:
    """Take away the one apostrophe that :func:`guarded` put in front, if there is one."""
    return text[1:] if text.startswith("'") and _needs_guard(text[1:]) else text


def guarded_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a table whose texts and column names run nothing in a spreadsheet; numbers stay.

    Parameters
    ----------
    frame : pandas.DataFrame

    Examples
    --------
    >>> import pandas as pd
    >>> guarded_frame(pd.DataFrame({"reason": ["=1+1", "late"], "change": [-1.5, 2.0]}))
      reason  change
    0  '=1+1    -1.5
    1   late     2.0
    """
    import pandas as pd

    def cell(value: Any) -> Any:
        # A lone carriage return would end the row, and the rest of the text begin another.
        if not isinstance(value, str):
            return value
        return guarded(value.replace("\r\n", "\n").replace("\r", "\n"))

    out = frame.copy()
    for column in out:
        if not pd.api.types.is_numeric_dtype(out[column].dtype):
            out[column] = out[column].astype(object).map(cell)
    return out.rename(columns=cell)


def _needs_guard(text: str) -> bool:
    return bool(_FORMULA.match(text)) and not _PLAIN_NUMBER.fullmatch(text)
