"""Rows and notes of the fitted mixed models."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Note, Reason
from cmjlab.stats.common.contrasts import holm_in_families, two_sided_p
from cmjlab.stats.common.least_squares import Estimate
from cmjlab.stats.common.reml_tests import (
    kenward_roger,
    satterthwaite,
)
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.mixed.joint import add_joint_test
from cmjlab.stats.mixed.models import ModelFit
from cmjlab.stats.mixed.panel import Panel

Array = NDArray[np.float64]

_TESTS = {"satterthwaite": satterthwaite, "kenward_roger": kenward_roger}


@dataclass(frozen=True)
class ModelContrast:
    """One contrast of a model: groups, sessions, and what each test makes of it.

    Attributes
    ----------
    groups : (str, ...)
        The group, or (group, reference).
    sessions : (str, str)
        Earlier and later session.
    n : int
        Athletes of these groups.
    interval_kind : str
        Which test.
    estimate, se, df : float
        nan where a group has no value in a session.
    """

    groups: tuple[str, ...]
    sessions: tuple[str, str]
    n: int
    interval_kind: str
    estimate: float = np.nan
    se: float = np.nan
    df: float = np.nan

    @property
    def fine(self) -> bool:
        """Whether there is an interval."""
        return bool(self.se > 0 and self.df > 0 and np.isfinite(self.df))

    @property
    def reason(self) -> Reason:
        """Why there is no estimate, or no interval."""
        if np.isnan(self.estimate):
            return Reason("group_without_session")
        return Reason("no_degrees_of_freedom")


def add_models(rows: Rows, panel: Panel, fits: Sequence[ModelFit], leader: str = "") -> list[Note]:
    """Add contrasts, F test and SDs of each usable model; return notes on the others.

    ``leader`` is the estimator whose joint test leads, as :func:`joint_leader` says.
    """
    notes: list[Note] = []
    usable = [fit for fit in fits if fit.usable]
    for fit in fits:
        values = {"metric": panel.metric, "model": fit.name}
        if not fit.usable:
            why = Reason(f"model_{fit.status}")
            notes.append(Note("model_not_fitted", {**values, "why": why}))
        elif fit.status == "negative":
            notes.append(Note("negative_variance", values))
    for fit in usable:
        place = rows.at(metric=panel.metric, role="exploratory")
        add_model_contrasts(place, "mean_change", fit, within_contrasts(panel, fit))
        add_model_contrasts(place, "change_difference", fit, between_contrasts(panel, fit))
        add_joint_test(place.at(n=len(panel.athletes)), panel, fit, leads=fit.name == leader)
        _add_spreads(place.at(n=len(panel.athletes)), fit)
    return notes


def within_contrasts(panel: Panel, fit: ModelFit) -> list[ModelContrast]:
    """Return the change of every group between every two sessions, by both tests."""
    out = []
    for pair in panel.session_pairs:
        for index, label in enumerate(panel.groups):
            n = int((panel.observed.any(axis=1) & (panel.member == index)).sum())
            vector = fit.design.change(index, pair)
            out += _tested((label,), panel.session_names(pair), n, fit, vector)
    return out


def between_contrasts(panel: Panel, fit: ModelFit) -> list[ModelContrast]:
    """Return the difference in change of every two groups, by both tests."""
    out = []
    for pair in panel.session_pairs:
        for reference, other in panel.group_pairs:
            n = int(np.isin(panel.member, (reference, other)).sum())
            vector = fit.design.change(other, pair) - fit.design.change(reference, pair)
            names = (panel.groups[other], panel.groups[reference])
            out += _tested(names, panel.session_names(pair), n, fit, vector)
    return out


def _tested(
    groups: tuple[str, ...], sessions: tuple[str, str], n: int, fit: ModelFit, vector: Array
) -> list[ModelContrast]:
    """Return one contrast by both methods."""
    out = []
    for kind, test in _TESTS.items():
        numbers: tuple[float, ...] = ()
        if not np.isnan(vector).any():
            found = test(fit.pieces, vector)
            numbers = (float(found.estimate), float(found.se), float(found.df))
        out.append(ModelContrast(groups, sessions, n, kind, *numbers))
    return out


def add_model_contrasts(
    place: Place, statistic: str, fit: ModelFit, contrasts: list[ModelContrast]
) -> None:
    """Add one statistic of a model for all contrasts side by side, p adjusted by test."""
    if not contrasts:
        return
    numbers = (np.array([getattr(c, f) for c in contrasts]) for f in ("estimate", "se", "df"))
    found = Estimate(*numbers)
    p = [two_sided_p(c.estimate / c.se, c.df) if c.fine else np.nan for c in contrasts]
    earlier, later = ([c.sessions[i] for c in contrasts] for i in (0, 1))
    if statistic == "mean_change":
        here = place.at(group=[c.groups[0] or None for c in contrasts], first=later, second=earlier)
    else:
        first, second = ([c.groups[i] for c in contrasts] for i in (0, 1))
        here = place.at(first=first, second=second, session=later, since=earlier)
    here.add_estimate(
        statistic,
        found,
        reason=[c.reason for c in contrasts],
        n=[c.n for c in contrasts],
        se=found.se,
        p_adjusted=holm_in_families(p, [c.interval_kind for c in contrasts]),
        estimator=fit.name,
        interval_kind=[c.interval_kind for c in contrasts],
    )


def _add_spreads(place: Place, fit: ModelFit) -> None:
    """Add SDs of athletes, slopes and residual (not for an unstructured covariance)."""
    if "residual" not in fit.parameters:
        return
    named = {"athletes": "intercept", "residual": "residual", "slopes": "slope"}
    for name, parameter in named.items():
        if parameter not in fit.parameters:
            continue
        variance = fit.parameters[parameter]
        place.add(
            f"model_sd_{name}",
            np.sqrt(max(variance, 0.0)),
            remark=Reason("variance_shown_as_zero") if variance < 0 else None,
            estimator=fit.name,
        )
    if "slope" in fit.parameters:
        _add_correlation(place, fit)


def _add_correlation(place: Place, fit: ModelFit) -> None:
    intercept, slope = fit.parameters["intercept"], fit.parameters["slope"]
    value = np.nan
    if min(intercept, slope) > 0:
        value = fit.parameters["covariance"] / np.sqrt(intercept * slope)
    place.add(
        "model_correlation",
        value if abs(value) <= 1.0 else np.nan,
        reason=Reason("no_covariance_matrix"),
        estimator=fit.name,
    )
