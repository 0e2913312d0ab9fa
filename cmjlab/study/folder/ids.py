"""Ids of athletes and sessions: one written form, and what looks alike but differs.

An id is text. "07" and "sub-07" mean the same person; "07" and "7" do not, but they look
so much alike that one of them is probably a slip, often made by a spreadsheet.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache

_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DAMAGED = re.compile(
    rf"(\d{{1,2}}[-./ ]({_MONTHS})[a-z]*([-./ ]\d{{2,4}})?)"  # 01-Mar
    rf"|(({_MONTHS})[a-z]*[-./ ]\d{{1,4}})"  # Mar-01
    r"|(\d{4}-\d{2}-\d{2}([ T]\d{2}:\d{2}(:\d{2})?)?)"  # 2026-03-01 00:00:00
    r"|(\d{1,2}[./]\d{1,2}([./]\d{2,4})?)"  # 3/4, 03.04.2026
    r"|(\d+([.,]\d+)?e[+-]?\d+)"  # 1E+05
    r"|(#(n/a|name\?|ref!|value!|div/0!|num!|null!))"
    r"|(#+)",
    re.IGNORECASE,
)


def tidy_id(text: object) -> str:
    """Return an id in its one written form: NFC, no blanks around it, no "sub-" or "ses-"."""
    word = unicodedata.normalize("NFC", str(text)).replace("\ufeff", "").replace("\xa0", " ")
    word = word.strip()
    for prefix in ("sub-", "ses-"):
        if word.lower().startswith(prefix) and len(word) > len(prefix):
            word = word[len(prefix) :]
    return word


def likeness(text: str) -> str:
    """Return a form that is equal for ids which a person would take for the same.

    Case, accents' Unicode form, blanks, hyphens, dots and underscores, leading zeros of every
    number in it, full-width characters: none of these makes a difference here.
    """
    word = unicodedata.normalize("NFKC", str(text)).casefold()
    word = re.sub(r"[\s_.\-]+", "", word)
    return re.sub(r"\d+", lambda m: m.group().lstrip("0") or "0", word)


def looks_damaged(text: str) -> bool:
    """Return whether an id looks as if a spreadsheet had changed it (a date, 1E+05, #N/A)."""
    return bool(_DAMAGED.fullmatch(str(text).strip()))


def look_alikes(ids: Iterable[str]) -> list[list[str]]:
    """Return groups of different ids that look alike, each sorted, in order of appearance."""
    groups: dict[str, list[str]] = {}
    for word in dict.fromkeys(ids):
        groups.setdefault(likeness(word), []).append(word)
    return [sorted(g) for g in groups.values() if len(g) > 1]


def why_alike(first: str, second: str) -> str:
    """Return in words how two look-alike ids differ."""
    if unicodedata.normalize("NFC", first) == unicodedata.normalize("NFC", second):
        return "the same letters in two Unicode forms"
    if first.strip() == second.strip():
        return "blanks around the id"
    if first.casefold() == second.casefold():
        return "capital and small letters"
    if re.sub(r"\d+", lambda m: m.group().lstrip("0") or "0", first) == re.sub(
        r"\d+", lambda m: m.group().lstrip("0") or "0", second
    ):
        return "leading zeros"
    return "blanks, hyphens, dots or letter case"


def natural_order(text: object) -> tuple[tuple[int, int, str], ...]:
    """Return a sort key in which S2 stands before S10."""
    return _natural_order(str(text))


@lru_cache(maxsize=100_000)  # a file is sorted several times
def _natural_order(text: str) -> tuple[tuple[int, int, str], ...]:
    parts = re.findall(r"\d+|\D+", text)
    return tuple((0, int(p), p) if p.isdecimal() else (1, 0, p) for p in parts)
