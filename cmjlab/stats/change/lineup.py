"""The line-up: the real change plot hidden among simulated ones with no effect.

If a viewer who has not seen the data cannot pick the real panel, the data do not show an
effect to the eye; picking it by chance happens once in ten (Buja et al. 2009, Philos Trans R
Soc A 367:4361; from memory). For teaching and for honesty, no replacement for the interval.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Result, Sentence
from cmjlab.stats.change.pairs import Pairs, make_pairs, prepare
from cmjlab.stats.common.tables import every_group
from cmjlab.tables import STATISTICS_TABLE


def lineup(
    table: pd.DataFrame,
    metric: str,
    *,
    before: str,
    after: str,
    group: str | None = None,
    panels: int = 10,
    seed: int = 1,
) -> Result:
    """Return the data of a line-up: one real panel and the others without an effect.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session.
    metric : str
    before, after : str
    group : str, optional
        Column with groups: then labels are dealt again (no difference between groups).
        Without it the sign of each athlete's change around zero is dealt again (no change).
    panels : int
        2 to 40.
    seed : int
        Seed of deals and of the place of the real panel.

    Returns
    -------
    Result
        Points ``panels``: panel (1, 2, …), athlete, group, before, after. The answer is in
        ``settings["real_panel"]``; the chance of picking it blindly in ``settings["chance"]``.
        Draw it with ``cmjlab.plots.lineup.lineup_figure``.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> page = cj.lineup(table, "jump_height_m", before="base2", after="post", panels=5)
    >>> page.settings["panels"], 1 <= page.settings["real_panel"] <= 5
    (5, True)
    """
    number = int(checks.number("panels", panels, low=2, high=40))
    prepared = prepare(table, metric, before=before, after=after, group=group)
    pairs = make_pairs(prepared, prepared.metrics[0])
    if len(pairs.athletes) < 3:
        raise StatsError(
            f"{metric}: {len(pairs.athletes)} athlete(s) with both sessions; a line-up needs at least 3."
        )
    rng = np.random.default_rng(int(checks.number("seed", seed, low=0)))
    real = int(rng.integers(1, number + 1))
    deal = _deal_labels if group is not None else _deal_signs
    parts = [_panel(k, deal(pairs, rng) if k != real else pairs) for k in range(1, number + 1)]
    dealt = "lineup_of_groups" if group is not None else "lineup_of_signs"
    settings: dict[str, Any] = {
        "metric": metric,
        "before": prepared.before,
        "after": prepared.after,
        "group": group,
        "groups": every_group(table, group),
        "panels": number,
        "seed": seed,
        "real_panel": real,
        "chance": 1.0 / number,
    }
    return Result(
        kind="lineup",
        table=STATISTICS_TABLE.empty(),
        points={"panels": pd.concat(parts, ignore_index=True)},
        settings=settings,
        notes=(Note(dealt, {"panels": number}),),
        sentences=(Sentence("change.lineup", metric, values={"panels": number}),),
    )


def _deal_labels(pairs: Pairs, rng: np.random.Generator) -> Pairs:
    """Return the pairs with the group labels dealt again."""
    return replace(pairs, group=rng.permutation(pairs.group))


def _deal_signs(pairs: Pairs, rng: np.random.Generator) -> Pairs:
    """Return the pairs with the sign of each change dealt again."""
    signs = rng.choice([-1.0, 1.0], len(pairs.change))
    return replace(pairs, after=pairs.before + pairs.change * signs)


def _panel(number: int, pairs: Pairs) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "panel": number,
            "athlete": list(pairs.athletes),
            "group": [str(g) for g in pairs.group],
            "before": pairs.before,
            "after": pairs.after,
        }
    )
