"""The answer to each target: its verdict, what it rests on, and how many athletes by themselves."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from cmjlab.results import Reason
from cmjlab.stats.common.noise import noise_or_reason
from cmjlab.stats.individual.individual import change_individual
from cmjlab.stats.planning.power import power_t
from cmjlab.stats.targets.found import DIFFERENCES, Found, Question
from cmjlab.stats.targets.wanted import Target, verdict

#: Power of the smallest detectable change.
POWER = 0.8


@dataclass(frozen=True)
class Athletes:
    """How many athletes of a subgroup moved the wanted way beyond their own noise, and of how many."""

    beyond: int
    known: int


@dataclass(frozen=True)
class Answer:
    """What is found about one target.

    Attributes
    ----------
    target : Target
    within : Found
    main : Found
        The estimate that the verdict rests on; the first of the two where neither leads.
    other : Found or None
        The other estimate of the difference, None where it may not be read (biased) or is not.
    basis : str
        "against" (the comparison group) or "within".
    code : str
    surely : bool
    other_code : str
        Verdict of the other estimate, "" without one.
    detectable : float
    athletes : Athletes or None
    """

    target: Target
    within: Found
    main: Found
    other: Found | None
    basis: str
    code: str
    surely: bool
    other_code: str
    detectable: float
    athletes: Athletes | None

    @property
    def agree(self) -> bool | None:
        """Whether both estimates give the same verdict; None without a second one."""
        if not self.other_code or self.other is None:
            return None
        main = self.main
        return verdict(self.target, main.estimate, main.low, main.high)[0] == self.other_code


def answer(
    question: Question,
    target: Target,
    found: tuple[Found, Mapping[str, Found]],
    athletes: Athletes | None,
) -> Answer:
    """Return the answer to one target.

    Parameters
    ----------
    question : Question
    target : Target
    found : (Found, mapping of statistic to Found)
        The change within the subgroup, and against the comparison group.
    athletes : Athletes or None

    Notes
    -----
    Against a comparison group the verdict rests on the estimate that leads. Where neither leads
    (groups formed on other grounds) both must give the same verdict; if they do not, it cannot
    be told. Without a comparison group, and for the comparison group itself, it rests on the
    change within.
    """
    inside, differences = found
    if not differences or target.subgroup == question.control:
        code, surely = verdict(target, inside.estimate, inside.low, inside.high)
        return Answer(target, inside, inside, None, "within", code, surely, "",
                      detectable(inside), athletes)  # fmt: skip
    leading = question.leading["statistic"]
    main = differences[leading or DIFFERENCES[0]]
    (other,) = (f for f in differences.values() if f is not main)
    code, surely = verdict(target, main.estimate, main.low, main.high)
    second, second_surely = verdict(target, other.estimate, other.low, other.high)
    if not leading:
        code = code if code == second and other.has_interval else "cannot_tell"
        surely = surely and second_surely
    readable = main.has_interval and other.has_interval and other.remark is None
    return Answer(target, inside, main, other if readable else None, "against", code, surely,
                  second if readable else "", detectable(main), athletes)  # fmt: skip


def detectable(found: Found) -> float:
    """Return the true change that this interval would leave zero out of in 80 % of studies.

    By the noncentral t with the standard error, the degrees of freedom and the level that the
    interval has; nan without an interval.
    """
    if not found.has_interval:
        return math.nan
    low, high = 0.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2
        enough = float(power_t(middle, found.df, found.level)) >= POWER
        low, high = (low, middle) if enough else (middle, high)
    return high * found.se


def count_athletes(
    question: Question, table: pd.DataFrame, targets: Sequence[Target], reliability: Any
) -> list[Athletes | None]:
    """Return for each target how many athletes changed as wanted beyond their own noise.

    For *unchanged*, how many changed in either direction. None where no noise is known.
    """
    prepared, level = question.prepared, question.plan.level
    metrics = []
    if reliability is not None:
        noise = {m: noise_or_reason(reliability, m) for m in prepared.metrics}
        metrics = [m for m, n in noise.items() if not isinstance(n, Reason)]
    if not metrics:
        return [None] * len(targets)
    result = change_individual(
        table, metrics, before=prepared.before, after=prepared.after, reliability=reliability,
        level=level,
    )  # fmt: skip
    rows = result.rows("individual_change").dropna(subset=["ci_low", "ci_high"])
    rows = rows.assign(group=rows["athlete"].map(prepared.groups))
    out: list[Athletes | None] = []
    for target in targets:
        mine = rows[(rows["metric"] == target.metric) & (rows["group"] == target.subgroup)]
        up, down = mine["ci_low"] > 0, mine["ci_high"] < 0
        beyond = {"more": up, "less": down, "unchanged": up | down}[target.wanted]
        known = target.metric in metrics and len(mine)
        out.append(Athletes(int(beyond.sum()), len(mine)) if known else None)
    return out
