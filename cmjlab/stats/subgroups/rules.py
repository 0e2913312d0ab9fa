"""The rules table: a small readable table of conditions, first match wins, an else row always.

A condition is ``metric < 1.32``, ``metric >= median``, ``metric > percentile 66``,
``position = wing``; conditions of one rule are joined by ``and``. Two rows with the same
subgroup mean "or". The word ``else`` stands for everybody left; ``too close to call`` (optional)
for everybody whose placement is not sure enough. Rows with an athlete are a person's moves.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.checks import suggestion
from cmjlab.errors import StatsError

ELSE = "else"
CLOSE = "too close to call"
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)(e[+-]?\d+)?", re.I)
_CONDITION = re.compile(
    r"^\s*(?P<metric>[A-Za-z_]\w*)\s*(?P<sign><=|>=|<|>|==|=)\s*(?P<cut>.+?)\s*$"
)
_FORM = (
    "'metric < number', with <, <=, > or >=; instead of the number also 'median', 'mean' or"
    " 'percentile 33'; 'column = word' for the roster; joined by 'and'; or 'else'"
)
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Condition:
    """One comparison: of a metric with a cut, or of a roster column with a word."""

    metric: str
    sign: str
    cut: float = math.nan
    relative: float = math.nan
    word: str = ""

    @property
    def is_word(self) -> bool:
        """Whether a roster column is compared with a word (known without error)."""
        return bool(self.word)

    @property
    def is_relative(self) -> bool:
        """Whether the cut is a place in the squad: a percentile, or the mean (coded -1)."""
        return not math.isnan(self.relative)

    @property
    def place(self) -> str:
        """The place in the squad that a relative cut names, as a rule writes it."""
        return {-1.0: "mean", 50.0: "median"}.get(self.relative, f"percentile {self.relative:g}")

    def cut_of(self, values: Array) -> Array:
        """Return the cut for values of one stratum; athletes in the last axis.

        Parameters
        ----------
        values : array, shape (..., n_athletes)
            nan where an athlete has no value.
        """
        if not self.is_relative:
            return np.full(values.shape[:-1], self.cut)
        known = values[..., np.isfinite(values).reshape(-1, values.shape[-1]).all(axis=0)]
        if known.shape[-1] == 0:
            return np.full(values.shape[:-1], np.nan)
        if self.relative < 0:
            return np.asarray(known.mean(axis=-1))
        return np.asarray(np.percentile(known, self.relative, axis=-1))

    def holds(self, values: Array, cut: Array) -> NDArray[np.bool_]:
        """Return where the condition holds; never where a value is missing."""
        limit = cut[..., None]
        with np.errstate(invalid="ignore"):
            if self.sign == "<":
                return np.asarray(values < limit)
            if self.sign == "<=":
                return np.asarray(values <= limit)
            return np.asarray(values > limit if self.sign == ">" else values >= limit)

    def __str__(self) -> str:
        if self.is_word:
            return f"{self.metric} = {self.word}"
        if not self.is_relative:
            return f"{self.metric} {self.sign} {self.cut:g}"
        return f"{self.metric} {self.sign} {self.place}"


@dataclass(frozen=True)
class Rule:
    """One row of the table: a subgroup, what places somebody there, and why."""

    subgroup: str
    conditions: tuple[Condition, ...]
    reason: str = ""
    is_else: bool = False

    def __str__(self) -> str:
        return ELSE if self.is_else else " and ".join(map(str, self.conditions))


@dataclass(frozen=True)
class Rules:
    """The whole table.

    Attributes
    ----------
    rules : tuple of Rule
        In order; the last one is the else row.
    close : str
        Subgroup of those too close to call, "" when they stay where the rules place them.
    moves : dict of str to (subgroup, reason)
        Athletes moved by a person.
    """

    rules: tuple[Rule, ...]
    close: str
    moves: dict[str, tuple[str, str]]

    @property
    def subgroups(self) -> tuple[str, ...]:
        """Every subgroup in the order of the table, those of the rules only."""
        return tuple(dict.fromkeys(r.subgroup for r in self.rules))

    @property
    def every_subgroup(self) -> tuple[str, ...]:
        """Subgroups of rules, of those too close to call, and of moves."""
        moved = [group for group, _ in self.moves.values()]
        names = (*self.subgroups, *([self.close] if self.close else []), *moved)
        return tuple(dict.fromkeys(names))

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """Every condition, in order."""
        return tuple(c for r in self.rules for c in r.conditions)

    @property
    def metrics(self) -> tuple[str, ...]:
        """Metrics that decide, without roster columns."""
        return tuple(dict.fromkeys(c.metric for c in self.conditions if not c.is_word))

    @property
    def words(self) -> tuple[str, ...]:
        """Roster columns that decide."""
        return tuple(dict.fromkeys(c.metric for c in self.conditions if c.is_word))


def read_rules(table: pd.DataFrame) -> Rules:
    """Return the rules of a table with columns subgroup, rule, athlete, reason.

    Parameters
    ----------
    table : pandas.DataFrame
        As ``study.subgroups`` or subgroups.csv: rows with ``rule``, then rows with ``athlete``.

    Raises
    ------
    StatsError
        Names the row, what was found, what is allowed and what to do.
    """
    for column in ("subgroup", "rule"):
        if column not in table:
            raise StatsError(
                f"rules: no column {column!r}; columns subgroup, rule, athlete, reason are needed."
            )
    rules: list[Rule] = []
    close, moves = "", {}
    for number, row in enumerate(table.to_dict("records"), start=1):
        subgroup, rule, athlete, reason = (
            _text(row.get(c)) for c in ("subgroup", "rule", "athlete", "reason")
        )
        where = f"rules, row {number}"
        _check_row(where, (subgroup, rule, athlete, reason), rules)
        if athlete:
            if athlete in moves:
                raise StatsError(f"{where}: athlete {athlete} is moved twice; keep one row.")
            moves[athlete] = (subgroup, reason)
        elif rule.casefold() == CLOSE:
            close = subgroup
        elif rule.casefold() == ELSE:
            rules.append(Rule(subgroup, (), reason, is_else=True))
        else:
            rules.append(Rule(subgroup, read_conditions(rule, where), reason))
    if not rules or not rules[-1].is_else:
        raise StatsError(
            "rules: the last rule must be 'else', so that everybody is placed; add a row"
            " 'subgroup, else' below the others."
        )
    return Rules(tuple(rules), close, moves)


def read_conditions(rule: str, where: str = "rule") -> tuple[Condition, ...]:
    """Return the conditions of a rule other than else.

    Raises
    ------
    StatsError
        One of them cannot be read; ``where`` names its place.
    """
    parts = re.split(r"\s+and\s+", rule, flags=re.I)
    return tuple(_condition(p, where) for p in parts)


def _text(value: object) -> str:
    return "" if pd.isna(value) else " ".join(str(value).split())  # type: ignore[call-overload]


def _check_row(where: str, cells: tuple[str, str, str, str], before: list[Rule]) -> None:
    subgroup, rule, athlete, reason = cells
    if not subgroup:
        raise StatsError(f"{where}: the subgroup is empty; name it.")
    if bool(rule) == bool(athlete):
        raise StatsError(
            f"{where} ({subgroup}): found {'both a rule and an athlete' if rule else 'neither rule nor athlete'};"
            f" one of them is needed. A rule is {_FORM}."
        )
    if athlete and not reason:
        raise StatsError(
            f"{where}: athlete {athlete} is moved to {subgroup} without a reason; write one, it is"
            " part of the record."
        )
    if rule and before and before[-1].is_else and rule.casefold() != CLOSE:
        raise StatsError(
            f"{where} ({subgroup}): stands below 'else' and can never match; move it above."
        )


def _condition(text: str, where: str) -> Condition:
    found = _CONDITION.match(text)
    if not found:
        raise StatsError(f"{where}: {text!r} is no condition; allowed is {_FORM}.")
    metric, sign, cut = found["metric"], found["sign"], found["cut"]
    if sign in ("=", "=="):
        word = cut.strip("'\"").strip()
        if not word or _NUMBER.fullmatch(word):
            raise StatsError(
                f"{where}: {text!r}: = compares a roster column with a word; for numbers use <, <=, > or >=."
            )
        return Condition(metric, "=", word=word)
    if _NUMBER.fullmatch(cut):
        return Condition(metric, sign, cut=float(cut))
    place = cut.casefold()
    if place == "median":
        return Condition(metric, sign, relative=50.0)
    if place == "mean":
        return Condition(metric, sign, relative=-1.0)
    share = re.fullmatch(r"percentile\s+(\d+(\.\d+)?)", place)
    if share and 0 < float(share[1]) < 100:
        return Condition(metric, sign, relative=float(share[1]))
    raise StatsError(f"{where}: cut {cut!r} cannot be read; allowed is {_FORM}.")


def check_columns(rules: Rules, table: pd.DataFrame) -> None:
    """Raise StatsError when a rule names a column that the table does not have as needed."""
    for c in rules.conditions:
        if c.metric not in table:
            raise StatsError(
                f"rules: there is no column {c.metric!r} in the table (rule '{c}')."
                f"{suggestion(c.metric, list(map(str, table.columns)))} Values that are not from the"
                " plate belong into measures.csv."
            )
        if not c.is_word and not pd.api.types.is_numeric_dtype(table[c.metric]):
            raise StatsError(f"rules: column {c.metric!r} is not numeric (rule '{c}').")


def roster_words(column: pd.Series) -> NDArray[np.object_]:
    """Return a roster column as words without blanks around them; "" where it is empty."""
    return np.array(["" if pd.isna(w) else str(w).strip() for w in column], dtype=object)


def place(
    rules: Rules, values: dict[str, Array], words: dict[str, NDArray[np.object_]]
) -> NDArray[np.int64]:
    """Return the position of the first rule that matches, for one stratum.

    Parameters
    ----------
    rules : Rules
    values : dict of str to array, shape (..., n_athletes)
        True or measured values of each deciding metric.
    words : dict of str to array of str, shape (n_athletes,)
        Roster columns that decide (:func:`roster_words`).

    Returns
    -------
    array of int, shape (..., n_athletes)
        -1 where a rule cannot be decided because a value is missing: an athlete without a
        strength test is not "not weak".
    """
    shape = next(iter(values.values())).shape if values else next(iter(words.values())).shape
    code = np.full(shape, -2, dtype=np.int64)
    for position, rule in enumerate(rules.rules):
        match, unknown = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
        for c in rule.conditions:
            if c.is_word:
                column = words[c.metric]
                missing = np.array([w == "" for w in column], dtype=bool)
                holds = np.array([str(w).casefold() == c.word.casefold() for w in column], bool)
                match, unknown = match & (holds | missing), unknown | missing
                continue
            x = values[c.metric]
            missing = ~np.isfinite(x)
            match = match & (c.holds(x, c.cut_of(x)) | missing)
            unknown = unknown | missing
        free = code == -2
        code = np.where(free & match & unknown, -1, np.where(free & match, position, code))
    return code
