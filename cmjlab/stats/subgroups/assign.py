"""Random assignment to groups: seeded, within strata or by minimisation.

For those who want a real experiment: groups formed at random differ before the block by chance
alone, need no correction for regression to the mean, and permit the strongest statement.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab import checks
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.common.measures import ALL
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import refuse_lists
from cmjlab.stats.subgroups.balance import standardised_difference
from cmjlab.stats.subgroups.sentences import group_sizes

Array = NDArray[np.float64]
#: Probability of the group that gives the best balance; below 1, so that no assignment is certain.
FOLLOW = 0.8


def assign_randomly(
    table: pd.DataFrame,
    groups: Sequence[str] | Mapping[str, int],
    *,
    seed: int,
    stratify: str | Sequence[str] = (),
    minimise: str | Sequence[str] = (),
    order: str | None = None,
) -> Result:
    """Assign athletes to groups at random, balanced on what is named.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete: ``athlete`` and the columns to balance on (one session).
    groups : sequence of str, or mapping of str to int
        Names, equally large; or name -> share (``{"jump": 2, "usual": 1}``).
    seed : int
        The same seed and table give the same groups, in whatever order the rows stand.
    stratify : str or sequence of str
        Columns of words: within each combination the groups come out equal (to one athlete).
    minimise : str or sequence of str
        Columns (numbers or words) to balance by minimisation: athletes are taken in random
        order; each goes with probability 0.8 where the groups differ least afterwards.
    order : str, optional
        Column that numbers the athletes, for a table with ids replaced; default ``athlete``.

    Returns
    -------
    Result
        Rows ``assignment_balance`` per column and group; ``points["placements"]`` with
        athlete, subgroup, stratum and turn; ``settings["record"]`` (formed = random).

    Raises
    ------
    StatsError
        Missing columns or values, fewer athletes than groups, both or wrong options.

    Notes
    -----
    Permuted blocks within strata; minimisation after Pocock & Simon 1975 (Biometrics 31:103,
    from memory), the distance of numbers in SDs. The analysis should hold the columns used
    here as covariates; a re-randomisation test must repeat this very procedure.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> first = table[table["session"] == "base1"].drop(columns="group")
    >>> lots = cj.assign_randomly(first, ["new", "usual"], seed=1)
    >>> sorted(lots.points["placements"]["subgroup"].value_counts().items())
    [('new', 15), ('usual', 15)]
    """
    strata_columns = checks.names("stratify", stratify)
    balance_columns = checks.names("minimise", minimise)
    if strata_columns and balance_columns:
        raise StatsError(
            "assign: give stratify or minimise, not both; minimisation takes words too."
        )
    data = _checked(table, [*strata_columns, *balance_columns], order)
    shares = _shares(groups, len(data))
    rng = np.random.default_rng(int(checks.number("seed", seed, low=0)))
    if balance_columns:
        code, turn = _by_minimisation(data, balance_columns, shares, rng)
    else:
        code, turn = _by_blocks(data, strata_columns, shares, rng)
    names = list(shares)
    placements = pd.DataFrame({
        "athlete": data["athlete"], "subgroup": [names[c] for c in code],
        "stratum": _stratum(data, strata_columns), "turn": turn,
    })  # fmt: skip
    used = [*strata_columns, *balance_columns]
    how = "minimisation" if balance_columns else "blocks_in_strata" if used else "blocks"
    record = {
        "formed": "random", "how": how, "seed": int(seed), "shares": dict(shares),
        "columns": used, "groups": {g: int((placements["subgroup"] == g).sum()) for g in names},
    }  # fmt: skip
    rows = Rows(level=float("nan"))  # nothing here has an interval
    _add_balance(rows, data, used or _numbers(data), placements["subgroup"].to_numpy())
    note = Note("formed_at_random_on", {"columns": used}) if used else Note("formed_at_random")
    return Result(
        "assignment",
        rows.frame(),
        points={"placements": placements},
        settings={"record": record, "seed": int(seed)},
        notes=(note,),
        sentences=_sentences(record, rows),
    )


def _checked(table: pd.DataFrame, columns: list[str], order: str | None) -> pd.DataFrame:
    """Return the table in an order that does not depend on its rows, one row per athlete."""
    refuse_lists(table)
    for name in ["athlete", *columns, *([checks.one_name("order", order)] if order else [])]:
        if name not in table:
            raise StatsError(
                f"assign: no column {name!r} in the table.{suggestion(name, list(map(str, table.columns)))}"
            )
    data = table.assign(athlete=table["athlete"].astype(str).str.strip())
    twice = data.loc[data["athlete"].duplicated(), "athlete"]
    if len(twice):
        raise StatsError(
            f"assign: athlete {twice.iloc[0]} stands more than once; give the rows of one session."
        )
    for name in columns:
        empty = data.loc[data[name].isna(), "athlete"]
        if len(empty):
            raise StatsError(
                f"assign: {name} is empty for {', '.join(empty[:5])}; fill it in, or leave them out."
            )
    return data.sort_values(order or "athlete", ignore_index=True)


def _shares(groups: Sequence[str] | Mapping[str, int], n: int) -> dict[str, int]:
    if isinstance(groups, str) or not isinstance(groups, Iterable):
        raise StatsError(f"groups: at least two names are needed, found {groups!r}.")
    given = dict(groups) if isinstance(groups, Mapping) else dict.fromkeys(map(str, groups), 1)
    if len(given) < 2 or (not isinstance(groups, Mapping) and len(given) < len(groups)):
        raise StatsError(f"groups: at least two different names are needed, found {list(groups)}.")
    for name, share in given.items():
        if int(share) != share or share < 1:
            raise StatsError(
                f"groups: the share of {name!r} must be a whole number ≥ 1, found {share}."
            )
    if n < len(given):
        raise StatsError(
            f"assign: {n} athlete(s) for {len(given)} groups; more athletes are needed."
        )
    return {str(k): int(v) for k, v in given.items()}


def _stratum(data: pd.DataFrame, columns: list[str]) -> pd.Series:
    if not columns:
        return pd.Series(ALL, index=data.index)
    return data[columns].astype(str).agg(", ".join, axis=1)


def _by_blocks(
    data: pd.DataFrame, columns: list[str], shares: dict[str, int], rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Assign by permuted blocks within strata; what is left over is spread over the strata."""
    block = np.repeat(np.arange(len(shares)), list(shares.values()))
    code = np.full(len(data), -1)
    turn = np.full(len(data), 0)
    total = np.zeros(len(shares))
    weight = np.array(list(shares.values()), dtype=float)
    stratum = _stratum(data, columns)
    for name in sorted(stratum.unique()):
        rows = rng.permutation(np.flatnonzero((stratum == name).to_numpy()))
        whole = len(rows) // len(block)
        dealt = np.concatenate([rng.permutation(block) for _ in range(whole)] or [block[:0]])
        rest = len(rows) - len(dealt)
        # The incomplete last block goes to the groups that are behind over all strata.
        now = total + np.bincount(dealt, minlength=len(shares))
        last = rng.permutation(block)
        last = last[np.argsort(now[last] / weight[last], kind="stable")][:rest]
        code[rows] = np.concatenate([dealt, rng.permutation(last)])
        turn[rows] = np.arange(1, len(rows) + 1)
        total += np.bincount(code[rows], minlength=len(shares))
    return code, turn


def _by_minimisation(
    data: pd.DataFrame, columns: list[str], shares: dict[str, int], rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Assign one after the other where the groups differ least, with probability FOLLOW."""
    features = _features(data, columns)
    weight = np.array(list(shares.values()), dtype=float)
    size, total = np.zeros(len(weight)), np.zeros((len(weight), features.shape[1]))
    code, turn = np.full(len(data), -1), np.zeros(len(data), dtype=int)
    for number, row in enumerate(rng.permutation(len(data)), start=1):
        behind = size / weight
        open_groups = np.flatnonzero(behind < behind.min() + 1)  # never more than one step ahead
        scores = np.array(
            [_imbalance(size, total, weight, int(g), features[row]) for g in open_groups]
        )
        best = open_groups[np.isclose(scores, scores.min())]
        pick = int(rng.choice(best))
        others = [g for g in open_groups if g != pick]
        if others and rng.random() > FOLLOW:
            pick = int(rng.choice(others))
        code[row], turn[row] = pick, number
        size[pick] += 1
        total[pick] += features[row]
    return code, turn


def _features(data: pd.DataFrame, columns: list[str]) -> Array:
    """Return numbers in SDs and words as indicators, centred; shape (n, n_features)."""
    parts = []
    for name in columns:
        column = data[name]
        if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
            values = column.to_numpy(float)[:, None]
        else:
            words = column.astype(str).to_numpy()
            levels = sorted(set(words))
            values = np.array([[w == k for k in levels] for w in words], dtype=float)
        spread = values.std(axis=0, ddof=1) if len(values) > 1 else np.ones(values.shape[1])
        spread = np.where(spread > 0, spread, 1.0) * np.sqrt(values.shape[1])
        parts.append((values - values.mean(axis=0)) / spread)
    return np.column_stack(parts)


def _imbalance(size: Array, total: Array, weight: Array, group: int, features: Array) -> float:
    """Return the spread of group sums per share, and of sizes, if the athlete joined a group."""
    new_size, new_total = size.copy(), total.copy()
    new_size[group] += 1
    new_total[group] += features
    sums = new_total / weight[:, None]
    counts = new_size / weight
    return float(((sums - sums.mean(axis=0)) ** 2).sum() + ((counts - counts.mean()) ** 2).sum())


def _numbers(data: pd.DataFrame) -> list[str]:
    return [str(c) for c in data.columns if pd.api.types.is_numeric_dtype(data[c])][:6]


def _add_balance(rows: Rows, data: pd.DataFrame, columns: list[str], group: NDArray[Any]) -> None:
    """Add the standardised difference of every column and group from the rest."""
    for name in columns:
        features = _features(data, [name])
        for g in dict.fromkeys(sorted(group)):
            d = np.array(
                [standardised_difference(f[group == g], f[group != g]) for f in features.T]
            )
            known = d[np.isfinite(d)]
            worst = known[np.argmax(np.abs(known))] if len(known) else np.nan
            rows.at(metric=name, group=g, n=len(data)).add(
                "assignment_balance",
                worst,
                reason=Reason("few_or_no_spread"),
                estimator="pooled_sd",
            )


def _sentences(record: dict[str, Any], rows: Rows) -> tuple[Sentence, ...]:
    values = {"seed": record["seed"], "sizes": group_sizes(record["groups"])}
    out = [Sentence(f"assigned.{record['how']}", values=values)]
    known = [r for r in rows.records("assignment_balance") if np.isfinite(r["estimate"])]
    if known:
        worst = max(known, key=lambda r: abs(float(r["estimate"])))
        difference = {"difference": float(worst["estimate"])}
        out.append(
            Sentence("assigned.balance", str(worst["metric"]), str(worst["group"]), difference)
        )
    return tuple(out)
