"""A student's answer as a number, whatever form it was written in."""

from __future__ import annotations

import math
import re
from typing import Any

from cmjlab.words.catalog import read_words

#: Characters that people write for a minus.
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})


#: Units of one kind, each as a multiple of the same.
_SCALES = ({"m": 1000.0, "cm": 10.0, "mm": 1.0}, {"s": 1000.0, "ms": 1.0})
_UNIT_BEHIND = re.compile(r"(?<=[\d\s])[a-z]+$")


class NoNumberError(ValueError):
    """An answer that is no number.

    Attributes
    ----------
    key : str
        Of the sentence that says what to write, below ``exercise`` in the words.
    """

    def __init__(self, key: str) -> None:
        super().__init__(key)
        self.key = key


def read_answer(answer: Any, unit: str = "") -> float | None:
    """Return an answer as a number; None when nothing was answered yet.

    Parameters
    ----------
    answer : object
        A number of any kind, or a list, array or table with one; a text such as "4,0", "4.0 cm"
        or "four".
    unit : str
        Unit of the answer. It may stand behind the number of a text, and so may another unit of
        length or time, which is then converted.

    Raises
    ------
    NoNumberError
        It is none: what to write stands in its key.

    Examples
    --------
    >>> read_answer("4,0 cm", "cm"), read_answer("0.04 m", "cm"), read_answer([4])
    (4.0, 4.0, 4.0)
    """
    if answer is None or answer is ... or (isinstance(answer, str) and not answer.strip()):
        return None
    if isinstance(answer, str):
        number = _of_text(answer, unit)
    else:
        number = _of_object(answer)
    if not math.isfinite(number):
        raise NoNumberError("not_finite")
    return number


def read_choice(answer: Any, choices: tuple[str, ...]) -> str | None:
    """Return which of the choices an answer is; None when nothing was answered yet.

    Parameters
    ----------
    answer : object
        A text; capitals, blanks around it and a full stop do not matter.
    choices : tuple of str

    Raises
    ------
    NoNumberError
        It is none of them.

    Examples
    --------
    >>> read_choice(" Cannot tell. ", ("matters", "cannot tell"))
    'cannot tell'
    """
    if answer is None or answer is ... or (isinstance(answer, str) and not answer.strip()):
        return None
    plain = " ".join(str(answer).split()).rstrip(".").casefold()
    for choice in choices:
        if plain == choice.casefold():
            return choice
    raise NoNumberError("no_choice")


def _of_text(text: str, unit: str) -> float:
    """Return the number of a text: with point or comma, a minus of any kind, or as a word."""
    plain, times = _without_unit(text.strip().translate(_MINUS).casefold(), unit)
    names = read_words().say("exercise.number_words").split()
    if plain in names:
        return times * names.index(plain)
    try:
        return times * float(plain.replace(",", ".") if plain.count(",") == 1 else plain)
    except ValueError:
        raise NoNumberError("no_number") from None


def _without_unit(text: str, unit: str) -> tuple[str, float]:
    """Return a text without the unit behind its number, and the factor from that unit to ours."""
    if unit and text.endswith(unit.casefold()):
        return text.removesuffix(unit.casefold()).strip(), 1.0
    found = _UNIT_BEHIND.search(text)
    for scale in _SCALES:
        if found and unit in scale and found[0] in scale:
            return text[: found.start()].strip(), scale[found[0]] / scale[unit]
    return text, 1.0


def _of_object(answer: Any) -> float:
    """Return the number of a number, or of something that holds exactly one."""
    if isinstance(answer, bool):
        raise NoNumberError("no_number")
    if isinstance(answer, set | frozenset | tuple | list):
        held = list(answer)
    elif hasattr(answer, "tolist"):  # arrays, series, numbers of numpy
        held = answer.tolist()
    elif hasattr(answer, "to_numpy"):
        held = answer.to_numpy().ravel().tolist()
    else:
        held = answer
    if isinstance(held, list):
        if len(held) != 1:
            raise NoNumberError("several_numbers")
        return _of_object(held[0]) if not isinstance(held[0], str) else _of_text(held[0], "")
    try:
        return float(held)
    except (TypeError, ValueError):
        raise NoNumberError("no_number") from None
