"""``method_sensitivity``: does the answer to each target survive another way to analyse it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab import checks
from cmjlab.catalog import METRICS
from cmjlab.errors import StatsError
from cmjlab.results import Reason, Result
from cmjlab.scrutiny.methods.choices import (
    CHOICES,
    Asked,
    Combination,
    LeftOut,
    ask_for,
    combinations,
    summaries_left_out,
)
from cmjlab.scrutiny.methods.kept import asked_for, keep_found, kept_found
from cmjlab.scrutiny.methods.measured import tables_by_method
from cmjlab.scrutiny.methods.specify import (
    ALL_BASELINES,
    HEIGHTS,
    Specification,
    Specified,
    block_of,
    metrics_needed,
    specify,
)
from cmjlab.scrutiny.methods.values import one_table
from cmjlab.scrutiny.opened import opened
from cmjlab.stats.specifications.result import (
    Answered,
    Deals,
    Found,
    LeftOutFor,
    found_of,
    left_out_table,
    not_asked_table,
    survival_result,
)
from cmjlab.stats.targets.wanted import Target, read_targets
from cmjlab.study.analyses.defaults import baselines_with_values, grouped, has_groups
from cmjlab.study.store.batch import Progress, ProgressCallback

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: What a metric's direction asks of a change, where no target says it.
_WANTED = {"higher": "more", "lower": "less"}


@dataclass(frozen=True)
class Running:
    """How it is computed; nothing in it can change a number.

    Attributes
    ----------
    workers : int or "auto"
    progress : callable, optional
        Called with a Progress after each file.
    """

    workers: int | str = "auto"
    progress: ProgressCallback | None = None


def method_sensitivity(
    study: Study,
    choices: Mapping[str, Any] | None = None,
    *,
    deals: int = 999,
    seed: int = 0,
    keep: bool = False,
    workers: int | str = "auto",
    progress: Callable[[Progress], None] | None = None,
) -> Result:
    """Ask of each target whether its answer survives every other defensible way to analyse it.

    Each recording is read once and measured by every combination of onset rule, weighing, start of
    integration, source of body weight, take-off threshold and filter; sessions are summarised in
    four ways with four exclusion rules; the change starts from each baseline, and is estimated as
    page one may estimate it. What a reviewer would not defend is left out and named.

    Parameters
    ----------
    study : Study
    choices : mapping, optional
        Choice -> levels that are tried, e.g. ``{"onset": ["fit", "sd_5"]}``; a level of one's own
        has its settings of the Method: ``{"onset": {"sd_3": {"onset_rule": "sd", "onset_sd":
        3.0}}}``. What is not named keeps all its levels
        (``cmjlab.scrutiny.methods.choices``). The study's own way is always among them.
    deals : int
        Deals of the joint test; 0: no test.
    seed : int
        Of the deals.
    keep : bool
        Keep what was found in the study's results, where the report finds it; what is kept of just
        this question is used again in any case.
    workers : int or "auto"
        Processes that measure.
    progress : callable, optional
        Called with a Progress after each file.

    Returns
    -------
    Result
        Rows ``specification_median`` (limits: smallest and largest estimate),
        ``same_direction_share``, ``same_verdict_share``, ``specification_spread``,
        ``specification_spread_true``, ``choice_share`` (``case``: the choice) and ``joint_p`` for
        each target. Points ``specifications`` (columns of ``cmjlab.tables.SPECIFICATIONS``, the
        study's own first), ``levels`` (share of the same answer), ``choices`` (share of variance)
        and ``left_out``.

    Raises
    ------
    StatsError
        No target and no primary measure with a wanted direction, no session before or after, or
        what :func:`cmjlab.change_targets` refuses.
    ArgumentError
        A choice or level that does not exist.

    Notes
    -----
    The specification curve is that of Simonsohn, Simmons & Nelson 2020, Nat Hum Behav 4:1208 (from
    memory). Specifications share athletes and noise: how many agree is a description, the joint
    test is the inference. Specifications with the very same numbers count once.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> only = {c: [] for c in ("onset", "weighing", "rest", "body_weight", "filter", "baseline")}
    >>> survived = cj.method_sensitivity(study, only, deals=0, workers=1)
    >>> survived.points["specifications"]["takeoff"].unique().tolist()
    ['larger', 'flight_sd', 'newton_20']
    """
    study = opened(study)
    checks.number("deals", deals, low=0, high=100_000)
    checks.number("seed", seed, low=0)
    sessions = study.sessions_table()
    targets, answers, control = _targets(study, sessions)
    asked = _asked(study, sessions, choices, answers)
    drawn = Deals(int(deals), int(seed))
    kept = kept_found(study, asked, drawn)
    if kept is None:
        own = (targets, answers, control)
        kept = _found((study, sessions), own, asked, drawn, Running(workers, progress))
    if keep:
        keep_found(study, kept)
    return survival_result(kept, CHOICES)


def _found(
    asking_of: tuple[Study, pd.DataFrame],
    own: tuple[list[Target], pd.DataFrame, str],
    asked: Asked,
    drawn: Deals,
    running: Running,
) -> Found:
    """Return everything that takes long, as plain tables."""
    study, sessions = asking_of
    targets, answers, control = own
    asking, not_asked = _askable(targets, answers)
    ways, left_out = combinations(asked, study.method)
    specified, squad = Specified(), tuple[str, ...]()
    if asking:
        metrics = metrics_needed(asking, asked, study.plan)
        jumps = _jumps(study, ways, metrics, running)
        tested = baselines_with_values(study, sessions)
        block = block_of(study, _with_group(sessions), control, metrics, tested)
        specified, squad = specify(jumps, ways, asked, asking, block), block.squad.athletes
    level = {
        (str(a["subgroup"]), str(a["metric"])): float(a["level_of_each"])
        for a in answers.to_dict("records")
    }
    answered = [
        _answered(n, t, specified, asked, (level[t.subgroup, t.metric], control))
        for n, t in enumerate(asking)
    ]
    every, of_targets = found_of(answered, squad, CHOICES, drawn)
    left_out = [*left_out, *summaries_left_out(asked), *specified.left_out]
    settings = {
        "methods": len(ways), "control": control, "before": study.before, "after": study.after,
        "notes": _notes_of(study), **asked_for(study, asked, drawn),
    }  # fmt: skip
    return Found(
        every,
        of_targets,
        left_out_table(_by_reason(left_out)),
        not_asked_table(not_asked),
        settings,
    )


def _notes_of(study: Study) -> list[str]:
    """Return the codes of what else a reader has to know."""
    codes = ["specifications_weights"] if study.method.body_weight == "session" else []
    if any(events for moved in study.decided.moved.values() for events in moved.values()):
        codes.append("specifications_moved")
    return codes


def _targets(study: Study, sessions: pd.DataFrame) -> tuple[list[Target], pd.DataFrame, str]:
    """Return the targets, the study's own answers, and the comparison group ("" without one)."""
    from cmjlab.stats.targets.targets import change_targets

    stated = study.targets if len(study.targets) else _primary(study, sessions)
    table = _with_group(sessions)
    result = change_targets(table, stated, study.plan, before=study.before, after=study.after)
    targets = read_targets(stated, study.plan.change_that_matters)
    return targets, result.points["targets"], str(result.settings["control"] or "")


def _with_group(sessions: pd.DataFrame) -> pd.DataFrame:
    """Return a table whose athletes all have a group; a squad without groups is one."""
    return grouped(sessions) if has_groups(sessions) else sessions.assign(group="squad")


def _primary(study: Study, sessions: pd.DataFrame) -> pd.DataFrame:
    """Return the primary measure as the target of each group but the comparison group."""
    metric = study.plan.primary_metric
    wanted = _WANTED.get(METRICS[metric].direction) if metric in METRICS else None
    if wanted is None:
        raise StatsError(
            f"targets.csv states no target, and of the primary measure ({metric}) neither more nor less"
            " is wanted by itself: write a row per subgroup and measure into targets.csv."
        )
    groups = list(dict.fromkeys(_with_group(sessions)["group"].astype(str)))
    named = [g for g in groups if g != study.plan.control_group] or groups
    return pd.DataFrame({"subgroup": named, "metric": metric, "wanted": wanted})


def _asked(
    study: Study, sessions: pd.DataFrame, choices: Mapping[str, Any] | None, answers: pd.DataFrame
) -> Asked:
    """Return what is tried, by the study's own way and the choices that a person names."""
    baselines = tuple(baselines_with_values(study, sessions))
    several = (*baselines, ALL_BASELINES) if len(baselines) > 1 else baselines
    own = {
        "height": next(iter(HEIGHTS)), "summary": study.plan.summary, "exclusion": "rules",
        "baseline": study.before, "estimator": _own_estimator(answers),
    }  # fmt: skip
    given = {"baseline": several} if choices is None else choices
    if isinstance(given, Mapping):
        given = {"baseline": several, **given}
        for name in checks.names("choices['baseline']", given["baseline"]):
            checks.one_of("choices['baseline']", name, (*several, study.before))
    if study.method.body_weight == "session":
        given = {**given, "body_weight": {}}
    return ask_for(study.method, own, given)


def _own_estimator(answers: pd.DataFrame) -> str:
    against = answers.loc[answers["basis"] == "against", "statistic"]
    return str(against.iloc[0]) if len(against) else "change_difference"


def _askable(
    targets: Sequence[Target], answers: pd.DataFrame
) -> tuple[list[Target], list[tuple[Target, Reason]]]:
    """Return the targets that can be answered from the recordings, and the others with why not."""
    asking, not_asked = [], []
    for target, has in zip(targets, answers["change_low"].notna(), strict=True):
        if target.metric not in METRICS:
            not_asked.append((target, Reason("choice_not_from_force")))
        elif not has:
            not_asked.append((target, Reason("choice_no_answer")))
        else:
            asking.append(target)
    return asking, not_asked


def _jumps(
    study: Study, ways: Sequence[Combination], metrics: Sequence[str], running: Running
) -> pd.DataFrame:
    """Return the jumps of all Methods; each recording is read once."""
    tables = tables_by_method(
        study, [w.method for w in ways], metrics, workers=running.workers, progress=running.progress
    )
    wanted = list(dict.fromkeys(("jump_height_m", *metrics)))
    kept = ["athlete", "session", "load_kg", "accepted", "flags", "verdict", "error", *wanted]
    return one_table([t[kept] for t in tables])


def _answered(
    number: int, target: Target, specified: Specified, asked: Asked, how: tuple[float, str]
) -> Answered:
    """Return all specifications of a target, the study's own first."""
    level, control = how
    mine = [s for s in specified.every if s.target == number]
    compared = bool(control) and target.subgroup != control
    own = dict(asked.own)
    own["height"] = next((k for k, m in HEIGHTS.items() if m == target.metric), own["height"])
    if not compared:
        own["estimator"] = "mean_change"
    mine.sort(key=lambda s: not _is_own(s, own))
    if not mine or not _is_own(mine[0], own):
        raise StatsError(
            f"{target.subgroup}, {target.metric}: the study's own way gives no estimate here; run"
            " 'cmjlab check' on the study."
        )
    return Answered(target, level, control if compared else "", [s.levels for s in mine],
                    [s.found for s in mine])  # fmt: skip


def _is_own(one: Specification, own: Mapping[str, str]) -> bool:
    return all(one.levels[c] == own[c] for c in CHOICES)


def _by_reason(left_out: Sequence[LeftOut]) -> list[LeftOutFor]:
    """Return the combinations that were left out for each reason, with the groups it is about."""
    found: dict[str, tuple[dict[Any, Mapping[str, str]], Reason, dict[str, None]]] = {}
    for one in left_out:
        levels, _, groups = found.setdefault(repr(one.why), ({}, one.why, {}))
        levels[tuple(one.levels.items())] = one.levels
        if one.group:
            groups[one.group] = None
    return [(list(levels.values()), why, list(groups)) for levels, why, groups in found.values()]
