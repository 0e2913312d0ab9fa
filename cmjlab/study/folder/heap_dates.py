"""Dates in file and folder names: read when there is one reading, else asked for.

Day and month are told apart by the whole heap: one date such as 31.08.2026 says that days stand
first. A year of two digits is never guessed; the order has to be stated.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterable

#: Orders that a person may state, with what they mean.
ORDERS = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}
_ISO = re.compile(r"(?<!\d)(20\d{2})[-_. ]?(\d{2})[-_. ]?(\d{2})(?!\d)")
_LONG = re.compile(r"(?<!\d)(\d{1,2})[-_. ](\d{1,2})[-_. ](20\d{2})(?!\d)")
_PACKED = re.compile(r"(?<!\d)(\d{2})(\d{2})(20\d{2})(?!\d)")
_SHORT = re.compile(r"(?<![\d.\-])(\d{1,2})([-.])(\d{1,2})\2(\d{2})(?![\d.\-])")
_SIX = re.compile(r"(?<!\d)(\d{2})[-_.]?(\d{2})[-_.]?(\d{2})(?!\d)")


def _iso(year: int, month: int, day: int) -> str:
    try:
        return dt.date(year, month, day).isoformat()
    except ValueError:
        return ""


def order_of(names: Iterable[str]) -> str:
    """Return "dmy" or "mdy" when the dates of a heap show it, "" when they do not.

    Examples
    --------
    >>> order_of(["a 31.08.2026", "b 01.09.2026"])
    'dmy'
    >>> order_of(["a 03.04.2026"])
    ''
    """
    day_first = month_first = False
    for name in names:
        for found in (*_LONG.finditer(name), *_PACKED.finditer(name)):
            if _ISO.search(found[0]):
                continue
            day_first |= int(found[1]) > 12
            month_first |= int(found[2]) > 12
    return "" if day_first == month_first else "dmy" if day_first else "mdy"


def day_in(part: str, order: str, days: Collection[str]) -> tuple[str, str]:
    """Return the day of a name (ISO, "" when there is none) and what is unclear about it.

    Parameters
    ----------
    part : str
        A file's name without ending, or a folder's.
    order : str
        "dmy", "mdy" or "ymd" where it is stated or known, else "".
    days : collection of str
        Days of the study's sessions: a date that fits only one of them is that day.

    Returns
    -------
    day : str
    unclear : str
        "" , "order" (day and month can be exchanged) or "century" (a year of two digits).
    """
    found = _ISO.search(part)
    if found and (day := _iso(*(int(g) for g in found.groups()))):
        return day, ""
    found = _LONG.search(part) or _PACKED.search(part)
    if found:
        first, second, year = (int(g) for g in found.groups())
        options = {"dmy": _iso(year, second, first), "mdy": _iso(year, first, second)}
        if options.get(order):
            return options[order], ""
        possible = {d for d in options.values() if d}
        fitting = possible if len(possible) == 1 else possible & set(days)
        return (fitting.pop(), "") if len(fitting) == 1 else ("", "order" if possible else "")
    return _short(part, order)


def _short(part: str, order: str) -> tuple[str, str]:
    """Return a day whose year has two digits: only in the order that is stated."""
    if order:
        for found in (
            _SIX if order == "ymd" else re.compile(_SIX.pattern.replace("{2}", "{1,2}", 2)),
        ):
            match = found.search(part)
            if match:
                a, b, c = (int(g) for g in match.groups())
                year, month, day = {"dmy": (c, b, a), "mdy": (c, a, b), "ymd": (a, b, c)}[order]
                if iso := _iso(2000 + year, month, day):
                    return iso, ""
    match = _SHORT.search(part)
    return "", "century" if match and int(match[1]) <= 31 and int(match[3]) <= 31 else ""


def without_dates(text: str) -> str:
    """Return a name with its dates blanked out."""
    for pattern in (_ISO, _LONG, _PACKED, _SHORT):
        text = pattern.sub(" ", text)
    return text
