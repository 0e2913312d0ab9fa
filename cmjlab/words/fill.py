"""Filling the named gaps of a sentence: each gap says in which form its value is shown.

A gap is ``{name}`` or ``{name:form}``. Forms:

==================  =====================================================================
``value``           a number in the unit a person reads: ``4.0 cm``
``signed``          the same with its sign: ``+1.2 cm``
``bare``            without the unit: ``4.0``; ``bare_signed`` likewise
``…1``, ``…2``      one or two decimals more: ``value1``
``percent``         a share as percent: 0.95 becomes ``95 %``; ``whole_percent`` without decimals
``p``               a p value: ``0.012``, ``< 0.001``
``label``           a metric's or measure's words
``labels``          several of them: ``a, b and c``
``mid``             one or several within a sentence: ``jump height``, but ``RSImod``
``list``            names: ``a, b and c``; ``any`` joins with "or", ``commas`` with commas only
``first8``          the first eight names and how many more there are (any number)
``labels8``         the same for metrics or measures, in words; ``mid8`` within a sentence;
                    joined with semicolons, because labels hold commas
``word``            the value is itself the last part of a key below ``word.``
anything else       a format of Python: ``+.2f``, ``g``
==================  =====================================================================

The unit of a number is that of the sentence's metric; a value named ``unit`` replaces it. The
gap ``{subject}`` is the metric's label, with the group where there is one. Names in a list may be
phrases or numbers.
"""

from __future__ import annotations

import math
import re
import string
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from cmjlab.catalog import METRICS
from cmjlab.units import show

MINUS = "\u2212"
_NUMBER = re.compile(r"(value|signed|bare|bare_signed)([0-9])?\Z")
_FIRST = re.compile(r"(first|labels|mid)([0-9]+)\Z")
#: Digits shown of a number whose column has no unit that we know.
_DIGITS = 3


def amount(
    value: float, unit: str, *, signed: bool = False, with_unit: bool = True, extra: int = 0
) -> str:
    """Return a number as a person reads it, with a real minus sign.

    Parameters
    ----------
    value : float
        In the unit of the table.
    unit : str
        Unit of the table; "" gives three significant digits.
    signed : bool
        Put + before a number above zero.
    with_unit : bool
    extra : int
        Decimals beyond the usual ones; two more are used where a size other than zero would be
        shown as zero (a change that rounds to zero is shown as zero).
    """
    if value is None or not math.isfinite(value):
        return "–"
    text = _digits(value, unit, extra, with_unit)
    if float(text.split(" ")[0]) == 0 and value != 0 and not signed:
        text = _digits(value, unit, extra + 2, with_unit)
    if text.startswith("-"):
        return MINUS + text[1:]
    return f"+{text}" if signed and float(text.split(" ")[0]) > 0 else text


def _digits(value: float, unit: str, extra: int, with_unit: bool) -> str:
    if unit or value == 0:
        return show(value, unit, with_unit=with_unit, extra_decimals=extra)
    decimals = max(0, _DIGITS - 1 - math.floor(math.log10(abs(value)))) + extra
    return f"{value:.{min(decimals, 12)}f}"


def p_text(p: float) -> str:
    """Return a p value, never as zero."""
    if p is None or not math.isfinite(p):
        return "–"
    return "< 0.001" if p < 0.001 else f"{p:.3f}"


def joined(names: Iterable[Any], last: str = "and") -> str:
    """Return "a, b and c"."""
    parts = [str(n) for n in names]
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def _in_mid_sentence(label: str) -> str:
    """Return a label without its capital, unless it begins with an abbreviation."""
    return label[0].lower() + label[1:] if label[1:2].islower() else label


class Filler(string.Formatter):
    """Fills one sentence.

    Parameters
    ----------
    values : mapping
        Values of the gaps.
    label : callable
        From a metric's or measure's key to its words.
    say : callable
        From a phrase, or a key, to its words.
    """

    def __init__(
        self, values: Mapping[str, Any], label: Callable[[str], str], say: Callable[[Any], str]
    ) -> None:
        self._values, self._label, self._say = values, label, say
        unit, metric = values.get("unit"), values.get("metric")
        known = METRICS.get(str(metric))
        self._unit = str(unit) if unit is not None else known.unit if known else ""

    def get_value(self, key: int | str, args: Any, kwargs: Any) -> Any:
        """Return the value of a gap; the metric's label for ``{metric}``."""
        if key == "subject" and key not in self._values:
            return self._subject()
        value = self._values[str(key)]
        return self._label(value) if key == "metric" and isinstance(value, str) else value

    def format_field(self, value: Any, format_spec: str) -> str:
        """Return a value in the form that its gap asks for."""
        if hasattr(value, "word_key"):
            return self._say(value)
        number = _NUMBER.match(format_spec)
        if number:
            form, extra = number[1], int(number[2] or 0)
            return amount(
                float(value),
                self._unit,
                signed=form.endswith("signed"),
                with_unit=not form.startswith("bare"),
                extra=extra,
            )
        return self._other(value, format_spec)

    def _other(self, value: Any, form: str) -> str:
        first = _FIRST.match(form)
        if first:
            comma = ", " if first[1] == "first" else "; "
            names = [self._in_form(v, first[1]) for v in value]
            return self._shortened(names, int(first[2]), comma)
        forms: dict[str, Callable[[], str]] = {
            "percent": lambda: f"{100 * value:g} %",
            "whole_percent": lambda: f"{100 * value:.0f} %",
            "p": lambda: p_text(value),
            "label": lambda: self._label(str(value)),
            "mid": lambda: self._mid(value),
            "labels": lambda: self._and(self._label(str(v)) for v in value),
            "list": lambda: self._and(value),
            "any": lambda: joined(map(self._name, value), self._say("word.or")),
            "commas": lambda: ", ".join(map(self._name, value)),
            "word": lambda: self._say(f"word.{value}"),
        }
        if form in forms:
            return forms[form]()
        text = format(value, form if form or not isinstance(value, float) else "g")
        if not (isinstance(value, float) and text.startswith("-")):
            return text
        rounded_to_zero = not any(digit in text for digit in "123456789")
        return text[1:] if rounded_to_zero else MINUS + text[1:]

    def _mid(self, value: Any) -> str:
        several = [value] if isinstance(value, str) else value
        return self._and(_in_mid_sentence(self._label(str(v))) for v in several)

    def _and(self, names: Iterable[Any]) -> str:
        return joined(map(self._name, names), self._say("word.and"))

    def _in_form(self, name: Any, form: str) -> str:
        if form == "first":
            return self._name(name)
        return self._mid(str(name)) if form == "mid" else self._label(str(name))

    def _shortened(self, names: list[str], most: int, comma: str) -> str:
        shown = comma.join(names[:most])
        rest = len(names) - most
        return f"{shown} {self._say('word.more').format(n=rest)}" if rest > 0 else shown

    def _name(self, name: Any) -> str:
        if hasattr(name, "word_key"):
            return self._say(name)
        return f"{name:g}" if isinstance(name, float) else str(name)

    def _subject(self) -> str:
        label, group = self._label(str(self._values["metric"])), self._values.get("group")
        return self._say("word.subject").format(label=label, group=group) if group else label
