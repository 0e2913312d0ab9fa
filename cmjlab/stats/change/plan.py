"""The plan applied to a result: primary metric, change that matters, adjusted p values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.catalog.families import family_of
from cmjlab.errors import StatsError
from cmjlab.plan import Plan
from cmjlab.results import Case, Note, Reason, Result, Sentence, stored_values
from cmjlab.stats.common.equivalence import TOST_LEVEL, share_above, share_below, tost
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.multiplicity import adjust_across_metrics, fcr_level
from cmjlab.stats.common.rows import PLACE, Place, Rows
from cmjlab.stats.common.tables import unit_of
from cmjlab.stats.common.verdicts import estimate_says, margin_says
from cmjlab.tables import STATISTICS_TABLE

#: Statistics that are a change or a difference of changes in the metric's own unit.
_CHANGES = ("mean_change", "adjusted_difference", "change_difference", "change_beyond_drift")
#: Which covariates an ANCOVA holds differs between metrics (a selecting metric is its own
#: baseline); it is one kind of estimate all the same.
_ONE_KIND = {"ancova_with_selectors": "ancova", "ancova_without_baseline": "ancova"}


def apply_plan(
    result: Result, plan: Plan, *, probabilities: bool = True, adjust: str = "holm"
) -> Result:
    """Return the result with roles, the change that matters and adjusted p values.

    Parameters
    ----------
    result : Result
        Of change_within, change_between, change_individual or drift_expected.
    plan : Plan
        ``primary_metric``, ``report_metrics``, ``change_that_matters``.
    probabilities : bool
        Whether to add ``probability_meaningful_gain`` and ``…_loss``.
    adjust : {"holm", "bh", "bonferroni"}
        Adjustment over the exploratory metrics.

    Returns
    -------
    Result
        More rows: ``equivalence`` (TOST, 90 % interval), ``minimum_effect`` and the
        probabilities, each with the statistic that it is about in the column ``case``; the column
        ``role`` filled; ``p_adjusted`` of the exploratory metrics, and ``family_interval`` to go
        with it.

    Notes
    -----
    The primary metric is not adjusted: it is one question, asked in advance. Metrics that are
    the same quantity (``same_as`` in the catalog) count once.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> within = cj.change_within(table, before="base2", after="post")
    >>> plan = cj.Plan(change_that_matters={"jump_height_m": 0.015})
    >>> sorted(set(cj.apply_plan(within, plan).table["statistic"]) - set(within.table["statistic"]))
    ['equivalence', 'minimum_effect', 'probability_meaningful_gain', 'probability_meaningful_loss']
    """
    if not isinstance(plan, Plan):
        raise StatsError("plan: a Plan is needed, e.g. Plan(primary_metric='jump_height_m').")
    matters = {m: checks.number(m, v, low=0.0) for m, v in plan.change_that_matters.items()}
    table = result.table.copy()
    table["role"] = [
        "primary" if m == plan.primary_metric else "exploratory" for m in table["metric"]
    ]
    _adjust(table, plan.primary_metric, adjust)
    level = float(result.settings.get("level", plan.level))
    against, sentences = _against_margins(table, matters, level, probabilities=probabilities)
    families = Rows(level=level)
    _add_family_intervals(families, table, plan, adjust)
    more = [rows.frame() for rows in (against, families)]
    without = [m for m in dict.fromkeys(table["metric"].dropna()) if not matters.get(m)]
    return replace(
        result,
        table=STATISTICS_TABLE.cast(
            pd.concat([t for t in (table, *more) if len(t)] or [table], ignore_index=True)
        ),
        settings={**result.settings, "plan": plan.to_dict(), "adjust": adjust},
        notes=(*result.notes, *_notes(result, plan, without, adjust)),
        sentences=(*result.sentences, *sentences),
    )


def _against_margins(
    table: pd.DataFrame, matters: Mapping[str, float], level: float, *, probabilities: bool
) -> tuple[Rows, list[Sentence]]:
    """Return the tests of each change against the change that matters, and their sentences.

    Rows that stand for comparison only are left out: no conclusion may rest on them.
    """
    rows, sentences, seen = Rows(level=level), [], set()
    for row in _with_standard_error(table):
        margin = matters.get(row["metric"])
        if not margin or row["remark_code"] == "comparison_only":
            continue
        here = tuple(row[c] for c in ("statistic", *PLACE))
        if row["statistic"] in _CHANGES and here not in seen:
            seen.add(here)
            _add_against_margin(rows, row, margin)
            if probabilities:
                _add_shares(rows, row, margin)
            sentences.append(_sentence(row, margin))
        elif row["statistic"] == "shrunken_change" and probabilities:
            _add_shares(rows, row, margin)
    return rows, sentences


def _with_standard_error(table: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield the rows from which a t test can be made; None for whatever is missing."""
    known = table[table["se"].notna() & table["df"].notna() & (table["se"] > 0)]
    for row in known.to_dict("records"):
        yield {str(k): None if pd.isna(v) else v for k, v in row.items()}


def _adjust(table: pd.DataFrame, primary: str, method: str) -> None:
    """Fill p_adjusted of the exploratory metrics, one family per kind of row."""
    exploratory = table["p"].notna() & table["p_adjusted"].isna() & table["athlete"].isna()
    for family in _families(table[exploratory]):
        p = dict(zip(family["metric"], family["p"], strict=True))
        adjusted = adjust_across_metrics(p, primary, method)
        for index, metric in zip(family.index, family["metric"], strict=True):
            if metric != primary and len(p) > 1:
                table.loc[index, "p_adjusted"] = adjusted[metric]


def _families(rows: pd.DataFrame) -> list[pd.DataFrame]:
    """Return the rows of each family: the same kind of estimate over metrics."""
    places = [c for c in PLACE if c != "metric"]
    kind = rows["estimator"].astype(object).replace(_ONE_KIND)
    keys = ["statistic", *places, "interval_kind", kind]
    return [family for _, family in rows.groupby(keys, dropna=False, sort=False)]


def _add_family_intervals(rows: Rows, table: pd.DataFrame, plan: Plan, adjust: str) -> None:
    """Add intervals of the exploratory changes that go with the adjustment of their p.

    Bonferroni intervals hold together (Holm has none of its own); with Benjamini-Hochberg
    the kept estimates get false-coverage-rate intervals.
    """
    main = table[table["statistic"].isin(_CHANGES) & table["se"].notna() & table["df"].notna()]
    main = main[(main["metric"] != plan.primary_metric) & (main["se"] > 0)]
    done: set[tuple[str, ...]] = set()
    for family in _families(main):
        here = tuple(str(family.iloc[0][c]) for c in ("statistic", "group", "first", "second"))
        names = {family_of(m) for m in family["metric"]}
        if here in done or len(names) < 2:
            continue
        done.add(here)
        level, kind = 1 - (1 - rows.level) / len(names), "bonferroni"
        if adjust == "bh":
            family, level = _kept(family, rows.level)
            kind = "false_coverage_rate"
        for row in _with_standard_error(family):
            low, high = Estimate(row["estimate"], row["se"], row["df"]).interval(level)
            _about(rows, row).add(
                "family_interval",
                row["estimate"],
                limits=(low, high),
                level=level,
                **{c: row[c] for c in ("se", "df", "estimator", "leads")},
                interval_kind=kind,
                words={**_words(row), "measures": len(names)},
            )


def _kept(family: pd.DataFrame, level: float) -> tuple[pd.DataFrame, float]:
    """Return the rows that Benjamini-Hochberg keeps, and the level of their intervals."""
    named = family.assign(family=[family_of(m) for m in family["metric"]])
    once = named.drop_duplicates("family")
    kept, wide = fcr_level(once["p"].to_numpy(), level)
    return family[named["family"].isin(once["family"][kept])], wide


def _about(rows: Rows, row: Mapping[str, Any]) -> Place:
    """Return the place of rows that say more about one row."""
    place = {c: row[c] for c in (*PLACE, "n", "role") if row[c] is not None}
    return rows.at(**place).at(case=Case(str(row["statistic"])))


def _words(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of the words of a row's estimator, for a row about it."""
    return {k: v for k, v in stored_values(row).items() if k != "metric"}


def _add_against_margin(rows: Rows, row: Mapping[str, Any], margin: float) -> None:
    """Add equivalence and minimum effect of one row."""
    found = tost(row["estimate"], row["se"], row["df"], margin)
    low, high = float(found.ci_low), float(found.ci_high)
    place = _about(rows, row)
    words = {**_words(row), "margin": margin, "unit": unit_of(str(row["metric"]))}
    shared = {c: row[c] for c in ("se", "df", "estimator", "leads")} | {"words": words}
    place.add(
        "equivalence",
        row["estimate"],
        limits=(low, high),
        level=TOST_LEVEL,
        test_value=found.t_lower if found.p_lower > found.p_upper else found.t_upper,
        p=found.p,
        remark=margin_says(low, high, margin),
        interval_kind="tost",
        **shared,
    )
    upward = row["estimate"] >= 0
    place.add(
        "minimum_effect",
        row["estimate"],
        limits=(row["ci_low"], row["ci_high"]),
        level=row["level"],
        test_value=found.t_upper if upward else found.t_lower,
        p=1 - (found.p_upper if upward else found.p_lower),
        interval_kind="one_sided_above" if upward else "one_sided_below",
        **shared,
    )


def _add_shares(rows: Rows, row: Mapping[str, Any], margin: float) -> None:
    """Add the shares of one row's distribution beyond the change that matters."""
    shares = {
        "gain": (share_above(row["estimate"], row["se"], row["df"], margin), margin),
        "loss": (share_below(row["estimate"], row["se"], row["df"], -margin), -margin),
    }
    for word, (share, bound) in shares.items():
        _about(rows, row).add(
            f"probability_meaningful_{word}",
            share,
            remark=Reason("read_with_interval"),
            interval_kind="one_sided_share",
            words={**_words(row), "bound": bound, "unit": unit_of(str(row["metric"]))},
            **{c: row[c] for c in ("df", "estimator", "leads")},
        )


def _sentence(row: Mapping[str, Any], margin: float) -> Sentence:
    """Return one change against the change that matters, in words."""
    values = {
        "first": row["first"],
        "second": row["second"],
        "number": estimate_says({**row, "reason": None}),
        "margin": margin,
        "says": margin_says(row["ci_low"], row["ci_high"], margin),
    }
    key = f"change.matters_{row['statistic']}"
    return Sentence(key, str(row["metric"]), str(row["group"] or ""), values)


def _notes(result: Result, plan: Plan, without: list[str], adjust: str) -> list[Note]:
    metrics = list(dict.fromkeys(result.table["metric"].dropna()))
    values = {"primary": plan.primary_metric, "n": len(metrics) - 1, "adjust": f"adjust_{adjust}"}
    if plan.primary_metric not in metrics:
        code = "no_primary_metric"
    else:
        code = "primary_metric" if len(metrics) > 1 else "primary_metric_alone"
    notes = [Note(code, values)]
    if without:
        notes.append(Note("no_change_that_matters", {"metrics": sorted(without)}))
    return notes
