"""The reader's decimal sign in a finished figure: ticks, labels and alt text."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import Any

from matplotlib.text import Text
from matplotlib.ticker import FixedFormatter, Formatter, NullFormatter

from cmjlab.checks import one_of
from cmjlab.plots.style import Picture

SIGNS = (".", ",")
#: A number with decimals that stands alone: no part of a version, a file name or an id.
_NUMBER = re.compile(r"(?<![\w.,/-])([+−\-±]?\d+)\.(\d+)(?!\.?\w)")


def with_decimal(text: str, sign: str, *, literal: Collection[str] = ()) -> str:
    """Return a text with its numbers in the reader's decimal style.

    Parameters
    ----------
    text : str
    sign : str
        "." or ",".
    literal : collection of str
        Texts that stay as they are wherever they occur (names of groups, sessions, people).

    Examples
    --------
    >>> with_decimal("+1.9 cm (0.8 to 3.0), cmjlab 0.1.0", ",")
    '+1,9 cm (0,8 to 3,0), cmjlab 0.1.0'
    """
    one_of("decimal", sign, SIGNS)
    if sign == ".":
        return text
    kept = sorted({t for t in literal if "." in t}, key=len, reverse=True)
    if not kept:
        return _NUMBER.sub(rf"\1{sign}\2", text)
    pieces = re.split("(" + "|".join(map(re.escape, kept)) + ")", text)
    return "".join(p if p in kept else _NUMBER.sub(rf"\1{sign}\2", p) for p in pieces)


class _Signed(Formatter):
    """Any formatter of tick labels, with another decimal sign."""

    def __init__(self, inner: Formatter, sign: str) -> None:
        self._inner, self._sign = inner, sign

    def set_axis(self, axis: Any) -> None:
        super().set_axis(axis)
        self._inner.set_axis(axis)

    def set_locs(self, locs: Any) -> None:
        super().set_locs(locs)
        self._inner.set_locs(locs)

    def __call__(self, x: float, pos: int | None = None) -> str:
        return with_decimal(self._inner(x, pos), self._sign)

    def format_ticks(self, values: list[float]) -> list[str]:
        return [with_decimal(t, self._sign) for t in self._inner.format_ticks(values)]

    def get_offset(self) -> str:
        return with_decimal(self._inner.get_offset(), self._sign)


def set_decimal(figure: Picture, sign: str, *, literal: Collection[str] = ()) -> Picture:
    """Change the decimal sign of a finished figure in place, and return it.

    Parameters
    ----------
    figure : Picture
    sign : str
        "." or ",".
    literal : collection of str
        Texts that stay as they are.
    """
    one_of("decimal", sign, SIGNS)
    if sign == ".":
        return figure
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            inner = axis.get_major_formatter()
            if not isinstance(inner, FixedFormatter | NullFormatter | _Signed):
                axis.set_major_formatter(_Signed(inner, sign))
    for text in figure.findobj(Text):
        shown = text.get_text()
        changed = with_decimal(shown, sign, literal=literal)
        if changed != shown:
            text.set_text(changed)
    figure.alt_text = with_decimal(figure.alt_text, sign, literal=literal)
    return figure
