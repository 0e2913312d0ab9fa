"""What one cell of a text file is: a number, clock time, empty, an error word, or text."""

from __future__ import annotations

import re

#: Words that measuring programs and spreadsheets write where a number is missing, lower case.
_ERROR_TEXT = """
nan +nan -nan na n/a n.a. null none nil nv inf -inf +inf infinity -infinity 1.#ind -1.#ind
1.#qnan -1.#qnan 1.#inf -1.#inf 1.#ind00 -1.#ind00 1.#qnan0 1.#inf00 -1.#inf00 ovr ovf ovl
over overflow overload ol sat error err missing . - -- --- ---- * ** *** **** ? #n/a #na
#div/0! #value! #ref! #num! #name? #null! #nv #wert! #zahl! #bezug! #name #error! #valeur!
#nombre! #valor! #num #valore! #arg! #waarde! #getal! #verw! #liczba!
"""
ERROR_WORDS: frozenset[str] = frozenset(_ERROR_TEXT.split())

_PLAIN = {
    ".": re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][+-]?\d+)?"),
    ",": re.compile(r"[+-]?(?:\d+(?:,\d+)?|,\d+)(?:[eEdD][+-]?\d+)?"),
}
#: Blanks and marks that group thousands, beside the comma or point that is not the decimal mark.
_GROUP_MARKS = "'’ \u00a0\u2009\u202f"
_GROUPED = {
    decimal: re.compile(
        rf"[+-]?[1-9]\d{{0,2}}(?:(?:{other}\d{{3}})+|(?:[{_GROUP_MARKS}]\d{{3}})+)(?:{mark}\d+)?"
    )
    for decimal, mark, other in ((".", r"\.", ","), (",", ",", r"\."))
}
_CLOCK = re.compile(
    r"(?:(?P<date>\d{4}-\d\d-\d\d|\d{1,2}[./-]\d{1,2}[./-]\d{2,4})[T ]+)?"
    r"(?:(?P<h>\d{1,2}):)?(?P<m>\d{1,2}):(?P<s>\d{2}(?:[.,]\d+)?)(?P<half> ?[AaPp][Mm])?Z?"
)
_ERR_CODE = re.compile(r"err:\d+|\*+|#+", re.IGNORECASE)


def kind_of(cell: str, decimal: str) -> str:
    """Return "number", "grouped", "clock", "empty", "error" or "text"."""
    if not cell:
        return "empty"
    if "\u2212" in cell:
        cell = cell.replace("\u2212", "-")
    if _PLAIN[decimal].fullmatch(cell):
        return "number"
    if _GROUPED[decimal].fullmatch(cell):
        return "grouped"
    if ":" in cell and _CLOCK.fullmatch(cell):
        return "clock"
    if cell.lower() in ERROR_WORDS or _ERR_CODE.fullmatch(cell):
        return "error"
    return "text"


def number_of(cell: str, decimal: str) -> float | None:
    """Return the number in a cell, or None when it holds none."""
    cell = cell.strip().replace("\u2212", "-")
    if _PLAIN[decimal].fullmatch(cell):
        return float(cell.replace(",", ".").replace("d", "e").replace("D", "e"))
    if _GROUPED[decimal].fullmatch(cell):
        kept = re.sub(r"[^\d+\-" + decimal + "]", "", cell)
        return float(kept.replace(",", "."))
    return None


def clock_seconds(cell: str) -> float | None:
    """Return the seconds since midnight of a clock time, or None when it is none."""
    match = _CLOCK.fullmatch(cell.strip())
    if match is None:
        return None
    hours = int(match["h"] or 0)
    half = (match["half"] or "").strip().lower()
    if half == "pm" and hours < 12:
        hours += 12
    if half == "am" and hours == 12:
        hours = 0
    return hours * 3600.0 + int(match["m"]) * 60.0 + float(match["s"].replace(",", "."))
