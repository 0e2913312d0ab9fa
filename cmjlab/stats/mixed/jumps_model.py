"""One model on single jumps: athletes, sessions within athletes, jumps within sessions.

The value of a jump is the mean of its group and session, plus the athlete's own level, plus the
athlete's own deviation in this session, plus the jump's. The three are variances of one linear
covariance (:mod:`cmjlab.stats.common.reml`), so that unequal numbers of jumps weigh as they should:
the mean of two jumps counts for less than that of six.

The boundary rule is that of the room: variances are free as long as the covariance of every
athlete is positive definite, because cutting them at zero makes tests reject too often.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.errors import StatsError
from cmjlab.results import Note
from cmjlab.stats.common.loads import at_one_load
from cmjlab.stats.common.reml import fit_linear
from cmjlab.stats.common.tables import check_table, metric_names, refuse_infinite
from cmjlab.stats.mixed.models import Design, ModelFit, cell_design
from cmjlab.stats.mixed.panel import EVERYBODY, Panel, read_groups, reference_first, used_sessions

Array = NDArray[np.float64]

#: Key of the model.
NAME = "model_single_jumps"
#: Names of its variances.
JUMPS, DAYS, ATHLETES = "residual", "athlete_by_session", "intercept"


@dataclass(frozen=True)
class Jumps:
    """Single jumps of one metric.

    Attributes
    ----------
    panel : Panel
        Means of each athlete and session; who, when and which group.
    values : array, shape (n_athletes, n_sessions, most)
        Jumps; nan where there is none.
    """

    panel: Panel
    values: Array

    @property
    def flat(self) -> Array:
        """Values with one axis for sessions and jumps, shape (n_athletes, n_sessions · most)."""
        return self.values.reshape(len(self.values), -1)


def read_jumps(
    table: pd.DataFrame, metric: str, *, order: list[str] | None, control: str | None
) -> Jumps:
    """Return the jumps of one metric.

    Raises
    ------
    StatsError
        Columns missing, two groups of one athlete, no session with two jumps, fewer than two
        sessions with values.
    """
    labels, group_order = read_groups(table)
    checked = check_table(at_one_load(table), one_row_each=False)
    name = metric_names(checked, metric)[0]
    refuse_infinite(checked, [name])
    notes = []
    if "accepted" in checked:
        kept = checked["accepted"].fillna(False).astype(bool)
        if not kept.all():
            notes.append(Note("not_accepted", {"n": int((~kept).sum())}))
        checked = checked[kept]
    sessions, more = used_sessions(checked, name, order)
    part = checked[checked["session"].astype(str).isin(sessions) & checked[name].notna()]
    who, athletes = pd.factorize(part["athlete"].astype(str))
    when = pd.Index(sessions).get_indexer(part["session"].astype(str))
    place = part.groupby(["athlete", "session"], sort=False, observed=True).cumcount().to_numpy()
    most = int(place.max()) + 1
    if most < 2:
        raise StatsError(
            f"{name}: no athlete has two jumps in a session, so that the noise of a jump cannot be"
            " seen; give one row per jump, or use change_mixed for one value a session."
        )
    values = np.full((len(athletes), len(sessions), most), np.nan)
    values[who, when, place] = part[name].to_numpy(dtype=float)
    ids = tuple(map(str, athletes))
    present = [g for g in group_order if any(labels.get(a) == g for a in ids)]
    groups = reference_first(present or [EVERYBODY], control)
    member = np.array([groups.index(labels.get(a, EVERYBODY)) for a in ids])
    there = np.isfinite(values)
    counts = there.sum(axis=2)
    means = np.where(counts > 0, np.nansum(values, axis=2) / np.maximum(counts, 1), np.nan)
    panel = Panel(name, means, ids, tuple(sessions), groups, member, (*notes, *more))
    return Jumps(panel, values)


def structure(sessions: int, most: int) -> Array:
    """Return G of jumps, athlete × session and athletes, shape (3, sessions·most, sessions·most)."""
    one = np.ones((most, most))
    size = sessions * most
    return np.stack([np.eye(size), np.kron(np.eye(sessions), one), np.ones((size, size))])


def fit_jumps(jumps: Jumps) -> ModelFit:
    """Fit the model by REML."""
    panel, (_, sessions, most) = jumps.panel, jumps.values.shape
    cells = cell_design(panel)
    x = np.repeat(cells.x, most, axis=1)
    design = Design(x, cells.cells)
    y = jumps.flat
    start = np.array([0.3, 0.2, 0.6])
    fit = fit_linear(y, x, np.isfinite(y), g=structure(sessions, most), start=start)
    parameters = dict(zip((JUMPS, DAYS, ATHLETES), map(float, fit.theta), strict=True))
    status = fit.status
    if status == "ok" and min(parameters.values()) < 0:
        status = "negative"
    return ModelFit(NAME, status, design, fit.pieces, parameters, fit.criterion)


@dataclass(frozen=True)
class Shrunken:
    """Changes of single athletes, drawn towards their group's mean; shape (n_athletes,)."""

    estimate: Array
    se: Array


def shrunken_changes(jumps: Jumps, fit: ModelFit, pair: tuple[int, int]) -> Shrunken:
    """Return each athlete's change between two sessions: group mean and own deviation.

    Parameters
    ----------
    jumps : Jumps
    fit : ModelFit
    pair : (int, int)
        Earlier and later session. Athletes with neither get the group's mean with its error.

    Notes
    -----
    Best linear unbiased prediction; the standard error is that of the prediction (Henderson 1975,
    Biometrics 31:423, from memory), with the variances taken as known. Not below zero: a negative
    variance of athlete × session draws everybody to the group's mean.
    """
    panel, (count, sessions, most) = jumps.panel, jumps.values.shape
    g = structure(sessions, most)
    days = max(fit.parameters[DAYS], 0.0)
    v = fit.parameters[JUMPS] * g[0] + fit.parameters[DAYS] * g[1] + fit.parameters[ATHLETES] * g[2]
    step = np.zeros(sessions)
    step[pair[1]], step[pair[0]] = 1.0, -1.0
    z = np.kron(np.eye(sessions), np.ones((most, 1)))
    estimate, se = np.full(count, np.nan), np.full(count, np.nan)
    for i in range(count):
        seen = np.isfinite(jumps.flat[i])
        weights = fit.design.change(int(panel.member[i]), pair)
        if np.isnan(weights).any():
            continue
        x, inverse = fit.design.x[i][seen], np.linalg.inv(v[np.ix_(seen, seen)])
        pull = days * (step @ z[seen].T) @ inverse  # of the athlete's residuals
        rest = jumps.flat[i][seen] - x @ fit.pieces.beta
        estimate[i] = weights @ fit.pieces.beta + pull @ rest
        a = weights - x.T @ pull
        own = days * (step @ step) - days * (pull @ z[seen] @ step)
        se[i] = np.sqrt(max(float(a @ fit.pieces.phi @ a + own), 0.0))
    return Shrunken(estimate, se)
