"""What a study wants of a measure in a subgroup, and what an interval says about it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.catalog.direction import reading
from cmjlab.errors import StatsError
from cmjlab.results import Sentence
from cmjlab.stats.common.tables import refuse_no_table

WANTED = ("more", "less", "unchanged")
_COLUMNS = ("subgroup", "metric", "wanted")


@dataclass(frozen=True)
class Target:
    """One row of targets.csv.

    Attributes
    ----------
    subgroup, metric : str
    wanted : str
        "more", "less" or "unchanged".
    amount : float
        Size in the metric's unit; nan when neither the row nor the study states one.
    why : str
    """

    subgroup: str
    metric: str
    wanted: str
    amount: float = math.nan
    why: str = ""

    @property
    def aim(self) -> Sentence:
        """What is wanted and by how much, for use within a sentence."""
        key = f"target.aim_{self.wanted}"
        known = math.isfinite(self.amount)
        return Sentence(
            key if known else f"{key}_open", self.metric, values={"amount": self.amount}
        )


def read_targets(targets: pd.DataFrame, declared: Mapping[str, float]) -> list[Target]:
    """Return the rows of a table of targets.

    Parameters
    ----------
    targets : pandas.DataFrame
        Columns subgroup, metric, wanted, and where there are any amount and why.
    declared : mapping of metric to float
        Changes that matter: the amount of a target that states none.

    Raises
    ------
    StatsError
        A column is missing, a cell is empty, a word or an amount is not allowed, or a measure
        stands twice for a subgroup.
    """
    refuse_no_table("targets", targets)
    for column in _COLUMNS:
        if column not in targets:
            raise StatsError(
                f"targets: no column {column!r}; columns {', '.join(_COLUMNS)} are needed,"
                " amount and why may be there."
            )
    out: list[Target] = []
    for number, row in enumerate(targets.to_dict("records"), start=1):
        target = _target(row, declared, f"targets, row {number}")
        if (target.subgroup, target.metric) in {(t.subgroup, t.metric) for t in out}:
            raise StatsError(
                f"targets, row {number}: {target.metric} stands twice for {target.subgroup};"
                " keep one row."
            )
        out.append(target)
    return out


def _target(row: Mapping[Any, Any], declared: Mapping[str, float], where: str) -> Target:
    subgroup, metric, wanted = (_text(row[c]) for c in _COLUMNS)
    if not subgroup or not metric:
        raise StatsError(f"{where}: subgroup and metric are needed; fill them in.")
    checks.one_of(f"{where}, wanted", wanted, WANTED)
    amount = row.get("amount")
    if amount is None or pd.isna(amount):
        amount = declared.get(metric) or math.nan
    elif not checks.number(f"{where}, amount", amount) > 0:
        raise StatsError(
            f"{where}, amount: found {amount:g}; a number above zero is needed, the direction"
            " stands in 'wanted'."
        )
    return Target(subgroup, metric, wanted, float(amount), _text(row.get("why")))


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value).strip()


def verdict(target: Target, estimate: float, low: float, high: float) -> tuple[str, bool]:
    """Return what an estimate and its interval say about a target, and whether beyond doubt.

    Parameters
    ----------
    target : Target
    estimate, low, high : float
        Of a change, or of a difference of changes, in the unit of the target's amount.

    Returns
    -------
    verdict : str
        For *more* and *less*, read in the wanted direction (d is the estimate, L and U the
        limits, A the amount; without an amount A is 0 where the estimate is compared with it):

        ==============  ==================================================================
        reached         L > 0 and d ≥ A: it moved the wanted way, and the best guess is enough
        partly          L > 0 and d < A: it moved the wanted way; the best guess is not enough
        opposite        U < 0: it moved the other way
        not_reached     L ≤ 0 ≤ U < A: the amount is ruled out
        cannot_tell     L ≤ 0 and U ≥ A: nothing, and the amount, are both possible
        ==============  ==================================================================

        For *unchanged*:

        ====================  ============================================================
        unchanged_shown       −A < L and U < A: whatever changed is smaller than A
        changed               the interval leaves out 0, and the estimate is at least A in size
        unchanged_not_shown   else: the interval reaches beyond ±A
        cannot_tell           no amount is stated
        ====================  ============================================================

        ``cannot_tell`` also when there is no interval.
    surely : bool
        For reached: L ≥ A. For opposite: U ≤ −A. For changed: the whole interval lies beyond A.
        ``unchanged_shown`` always.

    Notes
    -----
    Why *reached* rests on zero and not on the amount: the amount is the smallest change that
    is worth it, so a block planned to give just that amount has an estimate above it in half of
    all studies, and an interval wholly above it almost never. The interval decides whether it
    moved at all, the estimate is the best guess of how far; ``surely`` marks the stronger
    statement. *Unchanged* needs the whole interval inside ±A (equivalence), because an interval
    that includes zero shows nothing by itself. Two one-sided tests would use a narrower
    interval (90 % instead of 95 %), so this is the stricter of the two.
    """
    if not all(map(math.isfinite, (estimate, low, high))):
        return "cannot_tell", False
    if target.wanted == "unchanged":
        return _unchanged(target.amount, estimate, low, high)
    found = reading(target.metric, low, high, wanted=target.wanted)
    known = math.isfinite(target.amount)
    size, near, far = estimate, low, high
    if target.wanted == "less":
        size, near, far = -estimate, -high, -low
    if found == "worse":
        return "opposite", known and far <= -target.amount
    if found == "better":
        enough = size >= (target.amount if known else 0.0)
        return ("reached" if enough else "partly"), known and near >= target.amount
    return ("not_reached" if known and far < target.amount else "cannot_tell"), False


def _unchanged(amount: float, estimate: float, low: float, high: float) -> tuple[str, bool]:
    if not math.isfinite(amount):
        return "cannot_tell", False
    if -amount < low and high < amount:
        return "unchanged_shown", True
    if abs(estimate) >= amount and (low > 0 or high < 0):
        return "changed", low >= amount or high <= -amount
    return "unchanged_not_shown", False
