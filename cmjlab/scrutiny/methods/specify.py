"""Every target of a study estimated by every specification."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.catalog import METRICS
from cmjlab.plan import Plan, Selection
from cmjlab.results import Reason
from cmjlab.scrutiny.methods.choices import Asked, Combination, LeftOut, analyses_of
from cmjlab.scrutiny.methods.values import Squad, session_values
from cmjlab.stats.change.design import selection_covariates
from cmjlab.stats.change.pairs import Covariate, Pairs, Prepared
from cmjlab.stats.specifications.estimates import (
    Fitted,
    adjusted_difference,
    change_difference,
    within,
)
from cmjlab.stats.targets.wanted import Target

if TYPE_CHECKING:
    from cmjlab.study.study import Study

Array = NDArray[np.float64]
#: All baselines together, as a level of the choice "baseline".
ALL_BASELINES = "all_baselines"
#: Level of the choice "height" -> metric.
HEIGHTS = {"takeoff_velocity": "jump_height_m", "flight_time": "jump_height_flight_m"}


@dataclass(frozen=True)
class Block:
    """What all specifications of a study share.

    Attributes
    ----------
    squad : Squad
    plan : Plan
    after : str
    control : str
        Comparison group, "" when there is none.
    fixed : mapping of (measure, session) to mapping of athlete to value
        Values that decided the groups and do not come from the recordings.
    baselines : tuple of str
        Sessions of role baseline that were tested.
    """

    squad: Squad
    plan: Plan
    after: str
    control: str
    fixed: Mapping[Covariate, Mapping[str, float]]
    baselines: tuple[str, ...]


@dataclass(frozen=True)
class Specification:
    """One target answered in one way."""

    target: int
    levels: Mapping[str, str]
    found: Fitted


@dataclass
class Specified:
    """All specifications, and those that are left out, with how many there are of each."""

    every: list[Specification] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)


def block_of(
    study: Study,
    sessions: pd.DataFrame,
    control: str,
    metrics: Sequence[str],
    baselines: Sequence[str],
) -> Block:
    """Return what all specifications of a study share, from its own sessions table."""
    order = [s for s in study.settings.session_order if s in set(sessions["session"].astype(str))]
    named = sessions.drop_duplicates("athlete")
    groups = dict(zip(named["athlete"].astype(str), named["group"].astype(str), strict=True))
    present = [g for g in study.groups if g in set(groups.values())] or list(
        dict.fromkeys(groups.values())
    )
    squad = Squad(tuple(groups), tuple(order), groups, tuple(present))
    plan: Plan = study.plan
    fixed = {}
    if isinstance(plan.assignment, Selection):
        rows = sessions[sessions["session"].astype(str) == plan.assignment.session]
        who = rows["athlete"].astype(str).tolist()
        for name in plan.assignment.metrics:
            if name not in metrics and name in rows:
                values = pd.to_numeric(rows[name]).astype(float).tolist()
                fixed[(name, plan.assignment.session)] = dict(zip(who, values, strict=True))
    return Block(squad, plan, study.after, control, fixed, tuple(baselines))


def metrics_needed(targets: Sequence[Target], asked: Asked, plan: Plan) -> list[str]:
    """Return the metrics that each jump has to give."""
    wanted = [t.metric for t in targets]
    if len(asked.analysis["height"]) > 1 and set(wanted) & set(HEIGHTS.values()):
        wanted += HEIGHTS.values()
    if isinstance(plan.assignment, Selection):
        wanted += [m for m in plan.assignment.metrics if m in METRICS]
    return list(dict.fromkeys(wanted))


def specify(
    jumps: pd.DataFrame,
    ways: Sequence[Combination],
    asked: Asked,
    targets: Sequence[Target],
    block: Block,
) -> Specified:
    """Return every target by every specification.

    Parameters
    ----------
    jumps : pandas.DataFrame
        Jumps of all Methods (:func:`cmjlab.scrutiny.methods.values.one_table`).
    ways : sequence of Combination
        The Methods, in the order of the column ``way``.
    asked : Asked
    targets : sequence of Target
    block : Block
    """
    metrics = metrics_needed(targets, asked, block.plan)
    out = Specified()
    seen: dict[Any, Fitted | Reason] = {}
    for how in analyses_of(asked):
        values = session_values(jumps, metrics, block.squad, block.plan, how)
        table = _Values(values, {m: i for i, m in enumerate(metrics)}, block)
        for number, target in enumerate(targets):
            for levels in _levels(target, asked, block):
                named = {**levels, "summary": how[0], "exclusion": how[1]}
                _add(out, (number, target), named, ways, asked, table, seen)
    return out


def _levels(target: Target, asked: Asked, block: Block) -> Iterator[dict[str, str]]:
    """Yield the levels of height, baseline and estimator for a target."""
    own_height = next((k for k, m in HEIGHTS.items() if m == target.metric), "")
    heights = asked.analysis["height"] if own_height else (asked.own["height"],)
    estimators = asked.analysis["estimator"] if _compared(target, block) else ("mean_change",)
    for height in dict.fromkeys((own_height or heights[0], *heights)):
        for baseline in asked.analysis["baseline"]:
            for estimator in estimators:
                yield {"height": height, "baseline": baseline, "estimator": estimator}


def _compared(target: Target, block: Block) -> bool:
    return bool(block.control) and target.subgroup != block.control


def _add(
    out: Specified,
    which: tuple[int, Target],
    named: Mapping[str, str],
    ways: Sequence[Combination],
    asked: Asked,
    table: _Values,
    seen: dict[Any, Fitted | Reason],
) -> None:
    """Add one target by every Method, the levels of all other choices being given."""
    number, target = which
    biased = _biased(named, table.block)
    if biased is not None and not _own(named, asked):
        levels = {k: named[k] for k in ("baseline", "estimator")}
        out.left_out.append(LeftOut(levels, biased))
        return
    for way, combination in enumerate(ways):
        pairs = table.pairs(way, target, named)
        key = (number, named["estimator"], pairs.athletes, pairs.before.tobytes(),
               pairs.after.tobytes(), pairs.others.tobytes())  # fmt: skip
        if key not in seen:
            seen[key] = _estimate(pairs, target, named, table.block)
        found = seen[key]
        levels = {**dict(zip(asked.signal, combination.levels, strict=True)), **named}
        if isinstance(found, Reason):
            out.left_out.append(LeftOut({"estimator": named["estimator"]}, found, target.subgroup))
        else:
            out.every.append(Specification(number, levels, found))


def _own(named: Mapping[str, str], asked: Asked) -> bool:
    return all(asked.own.get(k, v) == v for k, v in named.items())


def _biased(named: Mapping[str, str], block: Block) -> Reason | None:
    """Return why a baseline cannot be defended for groups that were chosen on its values."""
    assignment = block.plan.assignment
    if not isinstance(assignment, Selection):
        return None
    whole = named["baseline"] == ALL_BASELINES
    decided = named["baseline"] == assignment.session
    if whole or (decided and named["estimator"] != "adjusted_difference"):
        return Reason("choice_selected_baseline", {"session": assignment.session})
    return None


def _estimate(
    pairs: Pairs, target: Target, named: Mapping[str, str], block: Block
) -> Fitted | Reason:
    if named["estimator"] == "mean_change":
        return within(pairs, target.subgroup)
    pair = (target.subgroup, block.control)
    if named["estimator"] == "change_difference":
        return change_difference(pairs, pair)
    absent = _absent(pairs, named, block)
    if absent is not None:
        return absent
    before = _named_baseline(named, block)
    squad = block.squad
    prepared = Prepared(
        pd.DataFrame(), [pairs.metric], before, block.after, dict(squad.groups), squad.group_order
    )
    return adjusted_difference(pairs, prepared, pair, block.plan.assignment)


def _named_baseline(named: Mapping[str, str], block: Block) -> str:
    """Return the name of the session before, several sessions by all their names."""
    whole = named["baseline"] == ALL_BASELINES
    return " + ".join(block.baselines) if whole else named["baseline"]


def _absent(pairs: Pairs, named: Mapping[str, str], block: Block) -> Reason | None:
    covariates = selection_covariates(pairs.metric, named["baseline"], block.plan.assignment)
    if pairs.others.shape[1] == len(covariates):
        return None
    names = {"covariates": [m for m, _ in covariates], "covariates_session": covariates[0][1]}
    return Reason("ancova_refused", names)


@dataclass(frozen=True)
class _Values:
    """Values of one summary and exclusion, by Method, metric, session and athlete."""

    values: Array
    metric: Mapping[str, int]
    block: Block

    def pairs(self, way: int, target: Target, named: Mapping[str, str]) -> Pairs:
        """Return the pairs of a target by one Method, with the values that decided the groups."""
        metric = (
            HEIGHTS.get(named["height"], "") if target.metric in HEIGHTS.values() else target.metric
        )
        before, after = (
            self._baseline(way, metric, named["baseline"]),
            self._of(way, metric, self.block.after),
        )
        others = self._others(way, target, named)
        every = np.column_stack([before, after, *others])
        keep = np.asarray(np.isfinite(every).all(axis=1), dtype=bool)
        squad = self.block.squad
        who = tuple(a for a, k in zip(squad.athletes, keep, strict=True) if k)
        group = np.array([squad.groups[a] for a in who], dtype=np.str_)
        kept = every[keep]
        return Pairs(target.metric, who, kept[:, 0].copy(), kept[:, 1].copy(), group,
                     kept[:, 2:].copy(), ())  # fmt: skip

    def _of(self, way: int, metric: str, session: str) -> Array:
        place = self.block.squad.sessions.index(session)
        return np.asarray(self.values[way, self.metric[metric], place])

    def _baseline(self, way: int, metric: str, baseline: str) -> Array:
        if baseline != ALL_BASELINES:
            return self._of(way, metric, baseline)
        return np.mean([self._of(way, metric, s) for s in self.block.baselines], axis=0)

    def _others(self, way: int, target: Target, named: Mapping[str, str]) -> list[Array]:
        """Return the values that decided the groups; none where one of them is nowhere."""
        if named["estimator"] != "adjusted_difference":
            return []
        squad, out = self.block.squad, []
        assignment = self.block.plan.assignment
        for name, session in selection_covariates(target.metric, named["baseline"], assignment):
            if name in self.metric and session in squad.sessions:
                out.append(self._of(way, name, session))
            elif (name, session) in self.block.fixed:
                known = self.block.fixed[(name, session)]
                out.append(np.array([known.get(a, np.nan) for a in squad.athletes]))
            else:
                return []
        return out
