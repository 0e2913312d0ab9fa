"""The rules table: a small readable table of conditions, first match wins, an else row always.

A condition is ``metric < 1.32``, ``metric >= median``, ``metric > percentile 66``,
``position = wing``; conditions of one rule are joined by ``and``. Two rows with the same
subgroup mean "or". The word ``else`` stands for everybody left; ``too close to call`` (optional)
for everybody whose placement is not sure enough. Rows with an athlete are a person's moves.

A rule ``time_to_takeoff_s > median within strong`` divides a subgroup that rules above it made:
it looks at the athletes of ``strong`` only, takes the median among them, and moves those for whom
it holds; whoever is left stays in ``strong``. ``median of strong`` means the same.
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
from cmjlab.stats.common.tables import refuse_no_table

ELSE = "else"
CLOSE = "too close to call"
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)(e[+-]?\d+)?", re.I)
_CONDITION = re.compile(
    r"^\s*(?P<metric>[A-Za-z_]\w*)\s*(?P<sign><=|>=|<|>|==|=)\s*(?P<cut>.+?)\s*$"
)
#: The end of a condition that looks at the athletes of one subgroup only.
_WITHIN = re.compile(r"^(?P<cut>.*\S)\s+(?P<word>within|of)\s+(?P<subgroup>\S.*)$", re.I)
_FORM = (
    "'metric < number', with <, <=, > or >=; instead of the number also 'median', 'mean' or"
    " 'percentile 33'; 'column = word' for the roster; joined by 'and'; or 'else'; behind it"
    " 'within SUBGROUP' for the athletes of a subgroup that a rule above makes"
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
    among: str = ""

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

    def cut_of(self, values: Array, members: NDArray[np.bool_] | None = None) -> Array:
        """Return the cut for values of one stratum; athletes in the last axis.

        Parameters
        ----------
        values : array, shape (..., n_athletes)
            nan where an athlete has no value.
        members : array of bool, shape (..., n_athletes), optional
            Athletes among whom a place is taken; default everybody.
        """
        if not self.is_relative:
            return np.full(values.shape[:-1], self.cut)
        if members is not None:
            return _place_among(values, members, self.relative)
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
        cut = self.place if self.is_relative else f"{self.cut:g}"
        return f"{self.metric} {self.sign} {cut}" + (f" within {self.among}" if self.among else "")


@dataclass(frozen=True)
class Rule:
    """One row of the table: a subgroup, what places somebody there, and why.

    ``within`` is the subgroup that the rule divides, "" for a rule that looks at everybody left.
    """

    subgroup: str
    conditions: tuple[Condition, ...]
    reason: str = ""
    is_else: bool = False
    within: str = ""

    def __str__(self) -> str:
        if not self.conditions:
            return f"{ELSE} within {self.within}" if self.within else ELSE
        return " and ".join(map(str, self.conditions))


@dataclass(frozen=True)
class Rules:
    """The whole table.

    Attributes
    ----------
    rules : tuple of Rule
        In order; the last one that looks at everybody is the else row.
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
    refuse_no_table("rules", table)
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
        else:
            rules.append(_rule(subgroup, rule, reason, where))
            _check_within(where, rules)
    general = [r for r in rules if not r.within]
    if not general or not general[-1].is_else:
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
    if rule.casefold() == ELSE or _else_within(rule):
        return ()
    parts = re.split(r"\s+and\s+", rule, flags=re.I)
    return tuple(_condition(p, where) for p in parts)


def read_rule(rule: str, where: str = "rule") -> Rule:
    """Return a rule as a table of rules shows it, without its subgroup and reason.

    Raises
    ------
    StatsError
        It cannot be read; ``where`` names its place.
    """
    return _rule("", rule, "", where)


def _rule(subgroup: str, rule: str, reason: str, where: str) -> Rule:
    if rule.casefold() == ELSE:
        return Rule(subgroup, (), reason, is_else=True)
    rest = _else_within(rule)
    if rest:
        return Rule(subgroup, (), reason, within=rest)
    conditions = read_conditions(rule, where)
    among = list(dict.fromkeys(c.among for c in conditions if c.among))
    if len(among) > 1:
        raise StatsError(
            f"{where}: {rule!r} looks within {' and within '.join(among)}; one rule can divide one"
            " subgroup only."
        )
    return Rule(subgroup, conditions, reason, within=among[0] if among else "")


def _else_within(rule: str) -> str:
    """Return the subgroup of ``else within SUBGROUP``, "" when the rule is another one."""
    found = _WITHIN.match(rule)
    return found["subgroup"] if found and found["cut"].casefold() == ELSE else ""


def _check_within(where: str, rules: list[Rule]) -> None:
    """Refuse a rule that divides a subgroup which no rule above makes, or makes one later."""
    rule, above = rules[-1], rules[:-1]
    made = list(dict.fromkeys(r.subgroup for r in above))
    if rule.within and rule.within not in made:
        raise StatsError(
            f"{where} ({rule.subgroup}): no rule above places anybody in {rule.within!r};"
            f"{suggestion(rule.within, made)} subgroups above are {', '.join(made) or 'none'}."
        )
    if rule.within == rule.subgroup:
        raise StatsError(
            f"{where}: {rule.subgroup} divides itself; give those who are taken out another name."
        )
    if rule.subgroup in [r.within for r in above if r.within]:
        raise StatsError(
            f"{where}: adds to {rule.subgroup} below a rule that divides it; move it above."
        )


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
    last = next((r for r in reversed(before) if not r.within), None)
    if rule and last and last.is_else and rule.casefold() != CLOSE and not _WITHIN.match(rule):
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
    inside = _WITHIN.match(cut)
    among = inside["subgroup"] if inside else ""
    cut = inside["cut"] if inside else cut
    if _NUMBER.fullmatch(cut):
        return Condition(metric, sign, cut=float(cut), among=among)
    place = cut.casefold()
    if place == "median":
        return Condition(metric, sign, relative=50.0, among=among)
    if place == "mean":
        return Condition(metric, sign, relative=-1.0, among=among)
    share = re.fullmatch(r"percentile\s+(\d+(\.\d+)?)", place)
    if share and 0 < float(share[1]) < 100:
        return Condition(metric, sign, relative=float(share[1]), among=among)
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


def _place_among(values: Array, members: NDArray[np.bool_], relative: float) -> Array:
    """Return the mean (-1) or a percentile of the members' values, nan without members.

    Percentiles are interpolated as by numpy; each row of leading axes has its own members.
    """
    there = members & np.isfinite(values)
    n = there.sum(axis=-1)
    if relative < 0:
        total = np.where(there, values, 0.0).sum(axis=-1)
        return np.where(n > 0, total / np.maximum(n, 1), np.nan)
    ranked = np.sort(np.where(there, values, np.inf), axis=-1)
    at = np.maximum(n - 1, 0) * relative / 100
    low = np.floor(at).astype(np.int64)
    high = np.minimum(low + 1, np.maximum(n - 1, 0))
    below, above = (np.take_along_axis(ranked, k[..., None], -1)[..., 0] for k in (low, high))
    with np.errstate(invalid="ignore"):
        return np.where(n > 0, below + (at - low) * (above - below), np.nan)
