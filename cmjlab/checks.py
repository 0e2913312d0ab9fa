"""Argument checks with one wording: which argument, what is allowed, what came, what to do."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from numbers import Real
from typing import Any, TypeVar

from cmjlab.errors import ArgumentError

T = TypeVar("T")
#: How alike in spelling a word must be to be nothing but mistyped.
_A_SLIP = 0.85
#: Score from which the search of the catalog is believed.
_MEANT = 0.25


def shown(value: object) -> str:
    """Return a short printed form of a value for an error message."""
    text = repr(value)
    return text if len(text) <= 80 else text[:77] + "..."


def listed(items: Iterable[object], *, most: int = 8) -> str:
    """Return things as a list for a sentence, the rest counted: "a, b, c and 4 more"."""
    names = [str(item) for item in items]
    text = ", ".join(names[:most])
    return text if len(names) <= most else f"{text} and {len(names) - most} more"


def closest(word: object, allowed: Iterable[object]) -> str | None:
    """Return the allowed word nearest to ``word``, in spelling or in meaning, or None.

    What is allowed and stands in the catalog (a metric, a statistic) is also found by the words
    of the trade: "eccentric_duration" means ``downward_duration_s``.
    """
    from cmjlab.catalog.search import find

    text, names = str(word), [str(a) for a in allowed]
    near = get_close_matches(text, names, n=1, cutoff=_A_SLIP)
    if not near:
        near = [f.key for f in find(text, among=names) if f.score >= _MEANT][:1]
    near = near or get_close_matches(text, names, n=1)
    return near[0] if near else None


def suggestion(word: object, allowed: Iterable[object]) -> str:
    """Return ``" Did you mean 'x'?"`` when an allowed word is close, else ``""``."""
    near = closest(word, allowed)
    return f" Did you mean {near!r}?" if near else ""


def one_of(name: str, value: Any, allowed: Iterable[Any]) -> Any:
    """Return ``value`` if it is one of ``allowed``, else raise ArgumentError."""
    choices = list(allowed)
    if value in choices:
        return value
    listed = ", ".join(repr(c) for c in choices)
    raise ArgumentError(
        f"{name}: found {shown(value)}, allowed are {listed}.{suggestion(value, choices)}"
    )


def number(
    name: str, value: Any, *, low: float | None = None, high: float | None = None, unit: str = ""
) -> float:
    """Return ``value`` as a finite float within [low, high], else raise ArgumentError."""
    unit = f" {unit}" if unit else ""
    try:
        result = math.nan if isinstance(value, bool | str) else float(value)
    except (TypeError, ValueError, OverflowError):  # no number, or an int of hundreds of digits
        result = math.nan
    if not math.isfinite(result):
        raise ArgumentError(f"{name}: a finite number{unit} is needed, found {shown(value)}.")
    if (low is not None and result < low) or (high is not None and result > high):
        span = f"{low if low is not None else '-inf'} to {high if high is not None else 'inf'}"
        raise ArgumentError(f"{name}: found {result:g}{unit}, allowed is {span}{unit}.")
    return result


def names(name: str, value: Any) -> list[str]:
    """Return one name or several as a list of text, else raise ArgumentError."""
    if isinstance(value, str):
        return [value]
    several = isinstance(value, Iterable) and not isinstance(value, bytes | Mapping)
    found = list(value) if several else [None]
    if all(isinstance(v, str | Real) and not isinstance(v, bool) for v in found):
        return [str(v) for v in found]
    raise ArgumentError(f"{name}: a name or a list of names is needed, found {shown(value)}.")


def numbers(
    name: str, value: Any, *, low: float | None = None, high: float | None = None
) -> list[float]:
    """Return several finite numbers within [low, high], else raise ArgumentError."""
    if not isinstance(value, Iterable) or isinstance(value, str | bytes | Mapping):
        raise ArgumentError(f"{name}: a list of numbers is needed, found {shown(value)}.")
    return [number(name, v, low=low, high=high) for v in value]


def one_name(name: str, value: Any) -> str:
    """Return a single name, else raise ArgumentError."""
    if isinstance(value, str):
        return value
    raise ArgumentError(f"{name}: one name is needed, found {shown(value)}.")


def given_or_default(name: str, value: T | None, kind: type[T]) -> T:
    """Return settings that were given, or those of the class when none were given."""
    if value is None:
        return kind()
    if isinstance(value, kind):
        return value
    raise ArgumentError(f"{name}: a {kind.__name__} is needed, found {shown(value)}.")


def level(value: Any) -> float:
    """Return a confidence level strictly between 0.5 and 1, else raise ArgumentError."""
    result = number("level", value)
    if not 0.5 < result < 1.0:
        raise ArgumentError(
            f"level: found {result:g}, allowed is between 0.5 and 1; write 0.95 for 95 %."
        )
    return result
