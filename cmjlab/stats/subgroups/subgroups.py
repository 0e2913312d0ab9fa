"""Subgroups of a squad by declared rules, how sure each placement is, and the record of it all."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.plan import Selection
from cmjlab.results import Reason, Result
from cmjlab.stats.common.least_squares import is_constant
from cmjlab.stats.common.measures import PLACEMENT_RULES, strata
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import check_table, every_group, refuse_infinite
from cmjlab.stats.subgroups.balance import add_balance
from cmjlab.stats.subgroups.certainty import FEWEST, Stratum, by_subgroup, place_stratum
from cmjlab.stats.subgroups.cuts import cuts_frame
from cmjlab.stats.subgroups.draws import SEED, Noise, squad_draws
from cmjlab.stats.subgroups.noise import FoundNoise, check_session, find_noise
from cmjlab.stats.subgroups.rules import Rules, check_columns, read_rules
from cmjlab.stats.subgroups.sentences import placement_notes, placement_sentences

Array = NDArray[np.float64]

#: Keys of the column ``call``: how certain a placement is.
CLEAR, CLOSE_CALL, UNKNOWN = "clear", "close", "unknown"


def subgroup_athletes(
    table: pd.DataFrame,
    rules: pd.DataFrame,
    *,
    session: str | None = None,
    reliability: Any = None,
    within: str | Sequence[str] | None = "sex",
    sure: float = 0.75,
    level: float = 0.95,
) -> Result:
    """Place athletes into subgroups by rules, with the probability that each placement is right.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: ``athlete``, ``session``, metrics, roster columns; from
        ``study.sessions_table()`` or any spreadsheet. Add what the rules need first
        (:func:`add_force_distance`); relative strength is there when measures.csv has it.
    rules : pandas.DataFrame
        Columns ``subgroup``, ``rule``, ``athlete``, ``reason`` (``study.subgroups``): first
        match wins, an else row always; rows with an athlete are moves by a person. A cut has no
        default: it is declared in the table, per sex where it differs
        (``sex = female and relative_strength < 1.3``).
    session : str, optional
        Session whose values decide; default the first baseline.
    reliability : Result or mapping, optional
        Typical errors: a Result of :func:`cmjlab.reliability`, or metric -> error or (error,
        df). Metrics that it lacks are taken from the repeated baselines of the table, a
        ``DeclaredError`` where these do not tell; a metric measured once and not supplied counts
        as exact, and the result says that the certainty is an upper limit.
    within : str, sequence of str or None
        Roster columns that make strata with their own spread and squad-relative cuts; "sex"
        is passed over when the table does not have it.
    sure : float
        A placement below this probability is too close to call.
    level : float
        Level of the intervals of likely true values and baseline means.

    Returns
    -------
    Result
        Rows ``placement_probability`` (one per athlete and subgroup), ``true_value``,
        ``group_baseline`` and ``baseline_difference_sd``. ``points["placements"]`` has one row
        per athlete: ``by_rules``, ``rule``, ``probability``, ``call`` ("clear", "close",
        "unknown"), ``subgroup`` (what later analysis uses), ``moved``, ``reason`` (a person's
        own words) and ``reason_code`` (why the rules or the certainty fail).
        ``settings["record"]`` says how the groups came about.

    Raises
    ------
    StatsError
        When a rule, column or session is wrong; the text names row and remedy.

    Notes
    -----
    "Right" means: the athlete's own true value lies where the rule says. Probabilities come
    from the distribution of true values given the measured ones, by drawing whole squads
    (:mod:`cmjlab.stats.subgroups.draws`; seeded, so the same table gives the same numbers). It
    assumes true values and errors near normal within a stratum; a squad of two distinct kinds
    of athletes is outside it.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> placed = cj.subgroup_athletes(study.sessions_table(), study.subgroups, session="base1")
    >>> placed.points["placements"]["by_rules"].value_counts().to_dict()
    {'strength': 10, 'fast_braking': 10, 'usual': 10}
    """
    checks.number("sure", sure, low=0.5, high=0.999)
    level = checks.level(level)
    data = check_table(table)
    read = read_rules(rules)
    check_columns(read, data)
    refuse_infinite(data, read.metrics)
    chosen = check_session(data, session)
    masks = strata(data, within)
    noise = find_noise(data, read.metrics, reliability, masks)
    at = data["session"].astype(str) == chosen
    found = [place_stratum(name, data[mask & at], read, noise) for name, mask in masks.items()]
    placements = _placements(found, read, sure)
    exact = [m for m in read.metrics if m not in noise.metrics] if noise.metrics else []
    missing = sorted(set(data["athlete"]) - set(placements["athlete"]))
    rows = Rows(level=level)
    for part in found:
        _add_probabilities(rows, part, read, chosen)
    for metric in read.metrics:
        for mask in masks.values():
            _add_true_values(rows, data[at & mask & data[metric].notna()], metric, noise)
    balance = add_balance(rows, data[at], placements, read.metrics)
    cuts = cuts_frame(read, {name: data[mask & at] for name, mask in masks.items()})
    return Result(
        "subgroups",
        rows.frame(),
        points={
            "placements": placements,
            "balance": balance,
            "rules": _rules_frame(read),
            "cuts": cuts,
        },
        settings={
            **_settings(read, chosen, noise, within, sure, placements),
            "groups": list(dict.fromkeys([*every_group(data), *read.every_subgroup])),
        },
        notes=placement_notes(read, noise, placements, missing, chosen),
        sentences=placement_sentences(placements, read, chosen, sure, exact),
    )


def selection_of(result: Result) -> Selection:
    """Return how the groups came about, as :func:`cmjlab.change_between` takes it.

    Parameters
    ----------
    result : Result
        From :func:`subgroup_athletes`.

    Returns
    -------
    Selection
        Metrics that decided the groups, and the session they were taken from.

    Raises
    ------
    ArgumentError
        When no metric decided the groups.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> cj.selection_of(study.subgroup_athletes()).session
    'base1'
    """
    record = result.settings["record"]
    return Selection(tuple(record["selected_on"]), str(record["selected_in"]))


def with_subgroups(table: pd.DataFrame, result: Result) -> pd.DataFrame:
    """Return a table with the subgroups as its column ``group``.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``athlete``.
    result : Result
        From :func:`subgroup_athletes` or :func:`cmjlab.assign_randomly`.

    Returns
    -------
    pandas.DataFrame
        A copy with the column ``group``; missing for athletes that were not placed.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> placed = cj.with_subgroups(study.sessions_table(), study.subgroup_athletes())
    >>> sorted(set(placed["group"]))
    ['fast_braking', 'strength', 'usual']
    """
    points = result.points["placements"]
    groups = dict(zip(points["athlete"], points["subgroup"], strict=True))
    return table.assign(group=table["athlete"].astype(str).map(groups).astype("str"))


def _placements(found: list[Stratum], rules: Rules, sure: float) -> pd.DataFrame:
    """Return one row per athlete: rule, probability, call, final subgroup and why."""
    rows = []
    for part in found:
        chances = by_subgroup(rules, part.probability)
        for i, athlete in enumerate(part.athletes):
            rows.append(_placement(part, i, athlete, rules, (chances[i], sure)))
    columns = ["athlete", "stratum", "by_rules", "rule", "probability", "likelier"]
    columns += ["call", "subgroup", "moved", "reason", "reason_code", "word_values"]
    columns += [f"p_{g}" for g in rules.subgroups]
    return pd.DataFrame(rows, columns=columns).sort_values("athlete", ignore_index=True)


def _placement(
    part: Stratum, i: int, athlete: str, rules: Rules, chance: tuple[Array, float]
) -> dict[str, Any]:
    chances, sure = chance
    code = int(part.code[i])
    by_rules = rules.rules[code].subgroup if code >= 0 else ""
    p = float(chances[rules.subgroups.index(by_rules)]) if by_rules else float("nan")
    call = UNKNOWN if not np.isfinite(p) else CLEAR if p >= sure else CLOSE_CALL
    likelier = ""
    if np.isfinite(p) and chances.max() > p:
        likelier = rules.subgroups[int(chances.argmax())]
    subgroup, moved, why = by_rules, "", part.reason[i]
    reason = rules.rules[code].reason if code >= 0 else ""
    if rules.close and (call == CLOSE_CALL or not by_rules):
        subgroup, reason, why = rules.close, "", why or Reason("too_close_to_call")
    if athlete in rules.moves:
        subgroup, reason = rules.moves[athlete]
        moved = "yes"
    return {
        "athlete": athlete, "stratum": part.name, "by_rules": by_rules,
        "rule": str(rules.rules[code]) if code >= 0 else "",
        "probability": p, "likelier": likelier, "call": call, "subgroup": subgroup,
        "moved": moved, "reason": reason, "reason_code": why.code if why else "",
        "word_values": json.dumps(why.values, ensure_ascii=False) if why else "",
        **{f"p_{g}": float(c) for g, c in zip(rules.subgroups, chances, strict=True)},
    }  # fmt: skip


def _add_probabilities(rows: Rows, part: Stratum, rules: Rules, session: str) -> None:
    """Add the probability of every subgroup for every athlete of a stratum."""
    n, groups = len(part.athletes), len(rules.subgroups)
    if not n:
        return
    here = rows.at(
        metric=PLACEMENT_RULES,
        session=session,
        athlete=np.repeat(np.array(part.athletes, dtype=object), groups),
        group=np.tile(np.array(rules.subgroups, dtype=object), n),
        n=n,
    )
    here.add(
        "placement_probability",
        by_subgroup(rules, part.probability).ravel(),
        reason=[r for r in part.reason for _ in range(groups)],
        estimator="posterior_share",
    )


def _add_true_values(rows: Rows, part: pd.DataFrame, metric: str, noise: FoundNoise) -> None:
    """Add each athlete's likely true value of one deciding metric, with its interval."""
    n = len(part)
    if not n:
        return
    place = {"athlete": list(part["athlete"].astype(str)), "session": str(part["session"].iloc[0])}
    here = rows.at(metric=metric, n=n, **place)
    known = noise.part([metric])
    if known is None or n < FEWEST:
        few = Reason("few_with_every_value", {"n": n, "needed": FEWEST})
        here.none("true_value", noise.missing.get(metric, few))
        return
    mean, low, high, sd = _likely(part[metric].to_numpy(float), known, rows.level)
    here.add(
        "true_value",
        mean,
        limits=(low, high),
        se=sd,
        estimator="posterior_mean",
        interval_kind="quantiles_of_draws",
    )


def _likely(values: Array, noise: Noise, level: float) -> Array:
    """Return mean, limits and SD of each athlete's true value of one metric, (4, n)."""
    if is_constant(values):
        return np.stack([values, values, values, np.zeros_like(values)])
    true = squad_draws(values[:, None], noise, np.random.default_rng(SEED))[0][..., 0]
    low, high = np.quantile(true, [0.5 - level / 2, 0.5 + level / 2], axis=0)
    return np.stack([true.mean(axis=0), low, high, true.std(axis=0)])


def _rules_frame(rules: Rules) -> pd.DataFrame:
    return pd.DataFrame(
        [(r.subgroup, str(r), r.reason) for r in rules.rules],
        columns=["subgroup", "rule", "reason"],
    )


def _settings(
    rules: Rules,
    session: str,
    noise: FoundNoise,
    within: Any,
    sure: float,
    placements: pd.DataFrame,
) -> dict[str, Any]:
    """Return everything needed to do it again, and the record for the change analysis."""
    record = {
        "formed": "selected" if rules.metrics else "other",
        "selected_on": list(rules.metrics),
        "selected_in": session,
        "rules": [f"{r.subgroup}: {r}" for r in rules.rules],
        "moved": {a: f"{g}: {why}" for a, (g, why) in rules.moves.items()},
        "groups": {str(k): int(v) for k, v in placements["subgroup"].value_counts().items()},
    }
    return {
        "session": session,
        "within": within,
        "sure": sure,
        "seed": SEED,
        "subgroups": list(rules.every_subgroup),
        "typical_errors": {
            m: {"error": float(e), "df": float(d), "source": "baselines" if noise.sources[m] else "supplied", "sessions": noise.sources[m]}
            for m, e, d in zip(noise.metrics, noise.noise.error, noise.noise.df, strict=True)
        } if noise.noise is not None else {},
        "record": record,
    }  # fmt: skip
