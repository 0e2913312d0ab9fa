"""The mixed models that stand beside the contrasts: designs, covariances and fits.

Fixed effects are the means of every group × session cell that has a value, so that each
contrast is a plain difference of cell means. The constrained longitudinal model (Liang &
Zeger 2000, Sankhya B 62:134, from memory) has one common mean at the first session: right
where groups were formed at random, and then it uses the first session as ANCOVA does.

Which covariance is fitted
--------------------------
* two sessions: random intercept (one covariance, equal variances); with all values present
  it repeats the t test of changes and is not reported;
* three or more: a random slope over sessions taken as equally spaced;
* unstructured wherever there are more athletes than sessions + 8, up to six sessions (with
  more, its k(k+1)/2 parameters outgrow any squad).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.stats.common.reml import fit_linear, no_fit, slope_structure, unstructured
from cmjlab.stats.common.reml_intercept import STATUS, fit_intercept
from cmjlab.stats.common.reml_tests import Pieces
from cmjlab.stats.mixed.panel import Panel

Array = NDArray[np.float64]

#: Athletes beyond the number of sessions that an unstructured covariance needs.
UNSTRUCTURED_MARGIN = 8
#: Most sessions for which an unstructured covariance is fitted.
UNSTRUCTURED_SESSIONS = 6
#: Athletes beyond the number of groups below which no model is fitted.
SPARE_ATHLETES = 2
#: Covariance structures.
INTERCEPT, SLOPE, FREE = "random_intercept", "random_slope", "unstructured"


@dataclass(frozen=True)
class Design:
    """Fixed effects of a panel.

    Attributes
    ----------
    x : array, shape (n_athletes, n_sessions, p)
    cells : array, shape (n_groups, n_sessions, p)
        The contrast vector of each cell mean; nan where the cell has no value.
    """

    x: Array
    cells: Array

    def change(self, group: int, pair: tuple[int, int]) -> Array:
        """Return the vector of later − earlier in one group; nan when not estimable."""
        return np.asarray(self.cells[group, pair[1]] - self.cells[group, pair[0]])

    def interaction(self) -> Array | None:
        """Return contrasts of group × session (of session with one group), None if a cell is empty."""
        if np.isnan(self.cells).any():
            return None
        steps = self.cells[:, 1:] - self.cells[:, :1]
        rows = steps[1:] - steps[:1] if len(steps) > 1 else steps
        flat = rows.reshape(-1, self.cells.shape[2])
        return np.asarray(flat[np.abs(flat).max(axis=1) > 0])


@dataclass(frozen=True)
class ModelFit:
    """One fitted model.

    Attributes
    ----------
    name : str
        Key of the model: its covariance structure, behind "constrained" where it is.
    status : str
        "ok", "negative" (kept; see the boundary rule), or why there is no fit.
    design : Design
    pieces : Pieces
        Of one study, without leading axes.
    parameters : dict of str to float
        Covariance parameters by name; nan without a fit.
    criterion : float
        −2 × REML log-likelihood.
    """

    name: str
    status: str
    design: Design
    pieces: Pieces
    parameters: dict[str, float]
    criterion: float

    @property
    def usable(self) -> bool:
        """Whether there is a fit to test with."""
        return self.status in ("ok", "negative", "boundary")


def cell_design(panel: Panel, *, constrained: bool = False) -> Design:
    """Return one column per group × session cell with values.

    Parameters
    ----------
    panel : Panel
    constrained : bool
        One common mean of all groups at the first session.
    """
    groups, sessions = len(panel.groups), len(panel.sessions)
    index = np.arange(groups * sessions).reshape(groups, sessions)
    if constrained:
        index[:, 0] = 0
    filled = np.zeros((groups, sessions), dtype=bool)
    for g in range(groups):
        filled[g] = panel.observed[panel.member == g].any(axis=0)
    if constrained:
        filled[:, 0] = filled[:, 0].any()
    used = np.unique(index[filled])
    cells = np.full((groups, sessions, used.size), np.nan)
    for g, s in zip(*np.nonzero(filled), strict=True):
        cells[g, s] = used == index[g, s]
    x = np.nan_to_num(cells[panel.member])
    return Design(x, cells)


def feasible_unstructured(panel: Panel) -> bool:
    """Return whether there are enough athletes for a covariance without structure."""
    sessions = len(panel.sessions)
    together = panel.observed.astype(int).T @ panel.observed.astype(int)
    enough = len(panel.athletes) > sessions + UNSTRUCTURED_MARGIN
    enough = enough and sessions <= UNSTRUCTURED_SESSIONS
    return bool(enough and together.min() > len(panel.groups) + 1)


def fit_model(panel: Panel, covariance: str, *, constrained: bool = False) -> ModelFit:
    """Fit one mixed model to a panel by REML.

    Parameters
    ----------
    panel : Panel
    covariance : str
        "random_intercept", "random_slope" or "unstructured".
    constrained : bool
        No group difference at the first session.
    """
    design = cell_design(panel, constrained=constrained)
    name = f"constrained_{covariance}" if constrained else f"model_{covariance}"
    if len(panel.athletes) < len(panel.groups) + SPARE_ATHLETES:
        nothing = no_fit("few", 1, design.x.shape[2])
        return ModelFit(name, "few", design, nothing.pieces, {}, np.nan)
    if covariance == INTERCEPT:
        return _intercept(panel, design, name)
    sessions = len(panel.sessions)
    if covariance == SLOPE:
        g = slope_structure(np.arange(sessions, dtype=float))
        start = np.array([0.3, 0.7, 0.0, 0.1 / sessions**2])
        names: tuple[str, ...] = ("residual", "intercept", "covariance", "slope")
    else:
        g = unstructured(sessions)
        rows, columns = np.tril_indices(sessions)
        start = np.where(rows == columns, 1.0, 0.0)
        names = tuple(
            f"{panel.sessions[i]}, {panel.sessions[j]}" for i, j in zip(rows, columns, strict=True)
        )
    fit = fit_linear(panel.values, design.x, panel.observed, g=g, start=start)
    parameters = dict(zip(names, (float(t) for t in fit.theta), strict=True))
    status = fit.status
    if status == "ok" and covariance == SLOPE and _not_a_covariance(parameters):
        status = "negative"
    return ModelFit(name, status, design, fit.pieces, parameters, fit.criterion)


def _intercept(panel: Panel, design: Design, name: str) -> ModelFit:
    fit = fit_intercept(panel.values[None], design.x, panel.observed)
    parts = (
        fit.pieces.beta, fit.pieces.phi, fit.pieces.a, fit.pieces.q,
        fit.pieces.cov_exact, fit.pieces.cov_expected,
    )  # fmt: skip
    pieces = Pieces(*(p[0] for p in parts))
    parameters = {"residual": float(fit.sigma2[0]), "intercept": float(fit.tau2[0])}
    status = STATUS[fit.status[0]]
    return ModelFit(name, status, design, pieces, parameters, float(fit.criterion[0]))


def _not_a_covariance(parameters: dict[str, float]) -> bool:
    """Return whether intercept and slope parameters are no covariance matrix."""
    intercept, slope = parameters["intercept"], parameters["slope"]
    return min(intercept, slope) < 0 or parameters["covariance"] ** 2 > intercept * slope


def models_to_fit(panel: Panel, *, constrained: bool) -> list[ModelFit]:
    """Return the fitted models that stand beside the contrasts of this panel."""
    several = len(panel.sessions) > 2
    free = feasible_unstructured(panel)
    fits = []
    if several or not panel.complete.all():
        fits.append(fit_model(panel, SLOPE if several else INTERCEPT))
        if free:
            fits.append(fit_model(panel, FREE))
    if constrained and len(panel.groups) > 1:
        covariance = FREE if free else (SLOPE if several else INTERCEPT)
        fits.append(fit_model(panel, covariance, constrained=True))
    return fits
