"""The subgroups of a study, analysed once: command, notebook and sheets share it.

Nothing is computed here; what cannot be had is kept with its reason.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.errors import CmjlabError, StatsError
from cmjlab.results import Result
from cmjlab.stats.common.measures import (
    BALANCE,
    FORCE_SHARE,
    PUSH,
    STRENGTH,
    add_age_band,
    add_force_distance,
    strata,
)
from cmjlab.stats.subgroups.evidence import (
    metric_repeatability,
    split_repeatability,
    threshold_evidence,
)
from cmjlab.stats.subgroups.noise import DeclaredError
from cmjlab.stats.subgroups.relation import metric_relation
from cmjlab.stats.subgroups.rules import Rules, read_rules
from cmjlab.stats.subgroups.standing import athlete_standing
from cmjlab.stats.subgroups.subgroups import subgroup_athletes, with_subgroups

if TYPE_CHECKING:
    from cmjlab.study.study import Study

HEIGHT = "jump_height_m"
#: What a squad may be looked at with, where the table has it.
MEASURES = (
    STRENGTH, "jump_height_m", BALANCE, FORCE_SHARE, PUSH, "time_to_takeoff_s",
    "braking_duration_s", "propulsion_duration_s", "rsi_modified_m_per_s",
)  # fmt: skip


@dataclass(frozen=True)
class StudySubgroups:
    """Subgroups of one study.

    Attributes
    ----------
    study : Study
    sessions : pandas.DataFrame
        Sessions table with force share and balance, ``group`` = the subgroups where they exist.
    session : str
        The session that decides.
    results : dict of str to Result
        "strength" (relative strength with jump height), "placement", "threshold", "measures"
        (repeatability), "split", "standing" where possible.
    reasons : dict of str to str
        Why a result is missing.
    """

    study: Study
    sessions: pd.DataFrame
    session: str
    results: dict[str, Result] = field(default_factory=dict)
    reasons: dict[str, str] = field(default_factory=dict)

    @property
    def subgroups(self) -> list[str]:
        """Names of the subgroups, of the rules, else of the roster, in the order of the study."""
        placement = self.results.get("placement")
        if placement is not None:
            used = set(placement.points["placements"]["subgroup"])
        else:
            used = set(self.sessions["group"].dropna().astype(str))
        return [g for g in self.study.groups if g in used]

    def members(self, subgroup: str) -> list[str]:
        """Return the athletes of a subgroup, in the order of the roster."""
        part = self.sessions[self.sessions["group"].astype(str) == subgroup]
        return list(dict.fromkeys(part["athlete"].astype(str)))

    @property
    def differences(self) -> pd.DataFrame:
        """Athletes whose group in athletes.csv is another one: athlete, roster, subgroup."""
        placement = self.results.get("placement")
        columns = ["athlete", "roster", "subgroup"]
        if placement is None or "group" not in self.study.athletes:
            return pd.DataFrame(columns=columns)
        roster = self.study.athletes.drop_duplicates("athlete").set_index("athlete")["group"]
        frame = placement.points["placements"][["athlete", "subgroup"]].copy()
        frame["roster"] = frame["athlete"].map(roster).fillna("").astype("str")
        return frame.loc[frame["roster"] != frame["subgroup"], columns].reset_index(drop=True)


def study_subgroups(
    study: Study,
    *,
    within: str | Sequence[str] | None = "sex",
    reference: pd.DataFrame | None = None,
    only: Sequence[str] = (),
) -> StudySubgroups:
    """Analyse the subgroups of a study: evidence first, then the rules.

    Parameters
    ----------
    study : Study
    within : str, sequence of str or None
        Roster columns that make strata; "age_band" is made from birth_year and the year of the
        deciding session.
    reference : pandas.DataFrame, optional
        The user's reference, as for :func:`cmjlab.stats.subgroups.standing.athlete_standing`;
        default the rows of reference.csv.
    only : sequence of str
        Names of the results that are wanted; all when empty.

    Raises
    ------
    StatsError
        The study has no session with values, or a column of ``within`` is missing.
    """
    table = study.sessions_table()
    level = study.plan.level
    session = study.plan.selected_in or _first_baseline(study, table)
    table = _with_age_band(study, table, session, within)
    strata(table, within)  # a wrong column is an error, not a missing result
    reasons: dict[str, str] = {}
    results: dict[str, Result] = {}
    try:
        table = add_force_distance(table, session=session, within=_one(within))
    except CmjlabError as error:
        reasons["force_distance"] = str(error)
    rules = study.subgroups
    measures = [m for m in MEASURES if m in table and table[m].notna().any()]
    noise = declared_errors(study, table)
    if reference is None:
        reference = reference_of(study, measures)
    runs: dict[str, Callable[[], Result]] = {
        "strength": lambda: _strength(table, session, (within, level)),
        "threshold": lambda: _threshold(table, rules, session, (within, level)),
        "measures": lambda: metric_repeatability(table, measures, level=level),
        "split": lambda: split_repeatability(
            table, _needed(rules), reliability=noise, within=within, level=level
        ),
        "placement": lambda: subgroup_athletes(
            table, _needed(rules), session=session, reliability=noise, within=within, level=level
        ),
        "standing": lambda: athlete_standing(
            table, measures, session=session, reference=reference, within=within, level=level
        ),
    }
    for name, run in runs.items():
        if only and name not in only:
            continue
        try:
            results[name] = run()
        except CmjlabError as error:
            reasons[name] = str(error)
    if "placement" in results:  # who was not tested then keeps the group of the roster
        placed = with_subgroups(table, results["placement"])["group"].astype("str")
        placed = placed.where(placed.notna() & (placed != ""), table["group"].astype("str"))
        table = table.assign(group=pd.Categorical(placed, list(study.groups), ordered=True))
    return StudySubgroups(study, table, session, results, reasons)


def reference_of(study: Study, metrics: Sequence[str]) -> pd.DataFrame | None:
    """Return the rows of reference.csv for these metrics, None when there are none."""
    reference = study.reference
    reference = reference[reference["metric"].isin(list(metrics))]
    if reference.empty:
        return None
    level = reference["level"].fillna("").astype(str)
    of_whom = level.where(level == "", ", " + level)
    return reference.assign(source=reference["source"].astype(str) + of_whom)


def declared_errors(study: Study, table: pd.DataFrame) -> dict[str, DeclaredError]:
    """Return the typical errors that the plan states, for measures that were tested once.

    From the error of a maximum in kg follows that of relative strength: error / body mass, for
    the mass in the middle of the squad (the error of the mass itself is far smaller).
    """
    stated = {m: DeclaredError(e, source) for m, (e, source) in study.plan.declared_errors.items()}
    maxima = [m for m in stated if m.endswith("1rm_kg") and m in table]
    if STRENGTH not in stated and maxima and "body_mass_kg" in table:
        mass = float(table["body_mass_kg"].median())
        if mass > 0:
            first = stated[maxima[0]]
            stated[STRENGTH] = DeclaredError(first.error / mass, first.source)
    return stated


def _one(within: str | Sequence[str] | None) -> str | None:
    """Return one column for the scale of the balance: the first, "sex" when there are several."""
    if within is None or isinstance(within, str):
        return within
    return "sex" if "sex" in within else next(iter(within), None)


def _with_age_band(
    study: Study, table: pd.DataFrame, session: str, within: str | Sequence[str] | None
) -> pd.DataFrame:
    wanted = [within] if isinstance(within, str) else list(within or ())
    if "age_band" not in wanted or "age_band" in table:
        return table
    days = dict(zip(study.sessions["session"].astype(str), study.sessions["date"], strict=True))
    year = pd.to_datetime(days.get(session), errors="coerce").year
    if not year == year:
        raise StatsError(f"age band: session {session!r} has no date; give it one in study.toml.")
    return add_age_band(table, year=int(year))


def _first_baseline(study: Study, table: pd.DataFrame) -> str:
    roles = study.sessions
    base = roles.loc[roles["role"] == "baseline", "session"].astype(str)
    present = set(table["session"].astype(str))
    found = [s for s in [*base, *roles["session"].astype(str)] if s in present]
    if not found:
        raise StatsError("subgroups: the study has no session with a value.")
    return found[0]


def _needed(rules: pd.DataFrame) -> pd.DataFrame:
    if rules.empty:
        raise StatsError(
            "no rules: write subgroups.csv with columns subgroup, rule, athlete, reason; the last"
            " rule is 'else'."
        )
    return rules


def _strength(
    table: pd.DataFrame, session: str, how: tuple[str | Sequence[str] | None, float]
) -> Result:
    """Return whether relative strength goes with jump height in this squad."""
    if STRENGTH not in table or not table[STRENGTH].notna().any():
        raise StatsError(f"no athlete has a value of {STRENGTH}; it comes from measures.csv.")
    within, level = how
    return metric_relation(table, STRENGTH, HEIGHT, session=session, within=within, level=level)


def _threshold(
    table: pd.DataFrame,
    rules: pd.DataFrame,
    session: str,
    how: tuple[str | Sequence[str] | None, float],
) -> Result:
    """Return the evidence for the first fixed cut of relative strength in the rules."""
    cut = strength_cut(read_rules(_needed(rules)))
    if cut is None:
        raise StatsError(
            f"no rule has a fixed cut of {STRENGTH}; declare one, cmjlab has no default."
        )
    within, level = how
    return threshold_evidence(table, cut, session=session, within=within, level=level)


def strength_cut(rules: Rules) -> float | None:
    """Return the first fixed cut of relative strength, None when there is none."""
    cuts = [c.cut for c in rules.conditions if c.metric == STRENGTH and not c.is_relative]
    return cuts[0] if cuts else None
