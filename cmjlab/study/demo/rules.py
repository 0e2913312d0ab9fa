"""Limits of the demo's grouping rules, found on what its first session shows when measured."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd

from cmjlab.jump.measure import measure
from cmjlab.simulate.study import SimulatedStudy

_STRENGTH, _TIME, _DEPTH = "relative_strength", "time_to_takeoff_s", "countermovement_depth_m"
_STEP = 0.01


def find_rules(study: SimulatedStudy) -> tuple[dict[str, float], dict[str, str]]:
    """Return limits of the rules, and who stays in another group than they say.

    The squad was sorted on its true jumps of the first session; a scientist sees measured
    values. The limits, in steps of 0.01, are those that misplace the fewest athletes.

    Returns
    -------
    limits : dict of metric to limit
        Weakest below ``relative_strength``; of the others those above both other limits.
    moved : dict of athlete to group
        Whom the rules would place elsewhere.
    """
    seen = _measured(study)
    weak, deep, rest = study.settings.groups
    group = seen["group"].to_numpy()
    best: tuple[tuple[int, float], tuple[float, ...]] | None = None
    cuts = [_cuts(seen.loc[seen["group"] == weak, _STRENGTH].max())]
    cuts += [_cuts(seen.loc[seen["group"] == deep, key].min()) for key in (_TIME, _DEPTH)]
    for limits in product(*cuts):
        wrong = int(np.sum(_placed(seen, limits, (weak, deep, rest)) != group))
        nearest = min(
            float(np.abs(seen[key] - limit).min())
            for key, limit in zip((_STRENGTH, _TIME, _DEPTH), limits, strict=True)
        )
        if best is None or (wrong, -nearest) < best[0]:
            best = ((wrong, -nearest), limits)
    assert best is not None
    placed = _placed(seen, best[1], (weak, deep, rest))
    moved = {
        str(a): str(g) for a, g, p in zip(seen["athlete"], group, placed, strict=True) if g != p
    }
    return dict(zip((_STRENGTH, _TIME, _DEPTH), best[1], strict=True)), moved


def _cuts(centre: float) -> list[float]:
    return [round(float(centre) + i * _STEP, 2) for i in range(-6, 7)]


def _placed(
    seen: pd.DataFrame, limits: tuple[float, ...], names: tuple[str, str, str]
) -> np.ndarray:
    strength, time, depth = limits
    deep = (seen[_TIME] > time) & (seen[_DEPTH] > depth)
    return np.where(seen[_STRENGTH] < strength, names[0], np.where(deep, names[1], names[2]))


def _measured(study: SimulatedStudy) -> pd.DataFrame:
    """Return group and first-session means of accepted jumps for each athlete."""
    first = str(study.sessions["session"].iloc[0])
    rows = []
    for sim in study.recordings:
        if sim.recording.session == first:
            jump = measure(sim.recording)
            if jump.accepted:
                values = {key: jump.metrics[key] for key in (_TIME, _DEPTH, "body_mass_kg")}
                rows.append({"athlete": sim.recording.athlete, **values})
    means = pd.DataFrame(rows).groupby("athlete").mean()
    lifted = study.measures.query("session == @first and measure == 'squat_1rm'")
    means[_STRENGTH] = lifted.set_index("athlete")["value"] / means["body_mass_kg"]
    return study.athletes[["athlete", "group"]].merge(means, left_on="athlete", right_index=True)
