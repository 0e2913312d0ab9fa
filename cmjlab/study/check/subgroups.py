"""Checks of subgroups.csv and block.csv: rules that can be read, names that fit together."""

from __future__ import annotations

from cmjlab.catalog import METRICS
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.stats.common.measures import BALANCE, FORCE_SHARE, STRENGTH
from cmjlab.stats.subgroups.rules import Rules, read_rules
from cmjlab.study.decide.sessions_table import measures_wide
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.study_folder import StudyFolder

#: Word in block.csv for a row that every subgroup does.
EVERYBODY = "all"


def check_subgroups(study: StudyFolder, problems: Problems) -> None:
    """Add what is wrong with the rules of subgroups and the block; nothing when there are none."""
    rules: Rules | None = None
    if not study.subgroups.empty:
        try:
            rules = read_rules(study.subgroups)
        except StatsError as error:
            problems.add(
                "warn", "bad_rules", where=("subgroups", "", "rule"), found=str(error),
                expected="rules, first match wins, an else row last",
                remedy="Correct subgroups.csv; until then nobody is placed.",
            )  # fmt: skip
    _check_errors(study, problems)
    if rules is not None:
        _check_columns(study, rules, problems)
        _check_names(study, rules, problems)


def _numbers(study: StudyFolder) -> set[str]:
    """Return every number that a rule may use."""
    measured = set(measures_wide(study.measures).columns) - {"athlete", "session"}
    return {*METRICS, *measured, STRENGTH, FORCE_SHARE, BALANCE}


def _check_errors(study: StudyFolder, problems: Problems) -> None:
    """A typical error of the plan must belong to a measure that this study has."""
    known = _numbers(study)
    for metric in study.plan.typical_error:
        if metric not in known:
            problems.add(
                "warn", "unknown_measure", where=("study.toml", "", f"plan.typical_error.{metric}"),
                found=metric, expected="a measure that this study has",
                remedy=f"Correct the name; until then it is not used.{suggestion(metric, known)}",
            )  # fmt: skip


def _check_columns(study: StudyFolder, rules: Rules, problems: Problems) -> None:
    """A rule must name a measure of the plate, of measures.csv, or a column of the roster."""
    numbers = _numbers(study)
    people = study.athletes
    filled = {str(c) for c in people.columns if people[c].notna().any()}
    for condition in rules.conditions:
        known = filled if condition.is_word else numbers | filled
        if condition.metric in known:
            continue
        kind = "a filled column of athletes.csv" if condition.is_word else "a measure"
        problems.add(
            "warn", "unknown_measure", where=("subgroups", "", "rule"), found=str(condition),
            expected=f"{kind} that this study has",
            remedy=f"Correct the rule, or add the values to measures.csv.{suggestion(condition.metric, known)}",
        )  # fmt: skip


def _check_names(study: StudyFolder, rules: Rules, problems: Problems) -> None:
    """block.csv must use the names of subgroups.csv."""
    names = [*rules.every_subgroup, EVERYBODY]
    for name in dict.fromkeys(study.block["subgroup"].dropna().astype(str)):
        if name not in names:
            problems.add(
                "warn", "unknown_subgroup", where=("block", "", "subgroup"), found=name,
                expected=", ".join(names),
                remedy=f"Use a name of subgroups.csv, or '{EVERYBODY}'.{suggestion(name, names)}",
            )  # fmt: skip
    used = set(study.block["subgroup"].dropna().astype(str))
    missing = [g for g in rules.every_subgroup if g not in used]
    if len(study.block) and missing and EVERYBODY not in used:
        problems.add(
            "note", "subgroup_without_block", where=("block", "", "subgroup"),
            found=", ".join(missing), expected="exercises for every subgroup",
            remedy="Add rows to block.csv, if they train apart.",
        )  # fmt: skip
