"""Rows and notes of the fitted mixed models."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Note
from cmjlab.stats.common.contrasts import two_sided_p
from cmjlab.stats.common.reml_tests import (
    FTest,
    Tested,
    kenward_roger,
    kenward_roger_f,
    satterthwaite,
    satterthwaite_f,
)
from cmjlab.stats.common.tables import unit_of
from cmjlab.stats.mixed.contrast_rows import adjust, group_label, pair_label
from cmjlab.stats.mixed.models import ModelFit
from cmjlab.stats.mixed.panel import Panel

Array = NDArray[np.float64]

_TESTS = {"Satterthwaite": satterthwaite, "Kenward–Roger": kenward_roger}
_F_TESTS = {"Satterthwaite": satterthwaite_f, "Kenward–Roger": kenward_roger_f}

_WHY = {
    "few": "fewer than two athletes more than groups",
    "singular": "no interior optimum with a positive definite covariance (singular fit)",
    "no_variance": "no variance within groups and sessions",
    "rank": "too few values for the number of group × session means",
}


def model_rows(
    panel: Panel, fits: list[ModelFit], level: float
) -> tuple[list[dict[str, Any]], list[Note]]:
    """Return contrasts, F test and SDs of each usable model, and a note for the others."""
    rows: list[dict[str, Any]] = []
    notes: list[Note] = []
    for fit in fits:
        if not fit.usable:
            text = (
                f"{panel.metric}: the model with {fit.name} covariance was not fitted:"
                f" {_WHY[fit.status]}. The contrast per athlete does not need it."
            )
            notes.append(Note("model_not_fitted", text))
            continue
        if fit.status == "negative":
            notes.append(_negative_note(panel, fit))
        rows += _contrasts(panel, fit, level)
        rows += _omnibus(panel, fit)
        rows += _spreads(panel, fit)
    adjust([row for row in rows if row["statistic"] in ("mean_change", "change_difference")])
    return rows, notes


def _negative_note(panel: Panel, fit: ModelFit) -> Note:
    text = (
        f"{panel.metric}, {fit.name}: a variance between athletes came out negative; it is kept in"
        " the tests, which stay unbiased that way, and shown as an SD of 0. Programs that cut it at"
        " 0 give other intervals here."
    )
    return Note("negative_variance", text)


def _contrasts(panel: Panel, fit: ModelFit, level: float) -> list[dict[str, Any]]:
    rows = []
    for pair in panel.session_pairs:
        for index, label in enumerate(panel.groups):
            n = int((panel.observed.any(axis=1) & (panel.member == index)).sum())
            base = _base(panel, "mean_change", label, pair_label(panel, pair), n)
            rows += _tested(base, fit, fit.design.change(index, pair), level)
    for pair in panel.session_pairs:
        for groups in panel.group_pairs:
            n = int(np.isin(panel.member, groups).sum())
            label = group_label(panel, groups)
            base = _base(panel, "change_difference", label, pair_label(panel, pair), n)
            vector = fit.design.change(groups[1], pair) - fit.design.change(groups[0], pair)
            rows += _tested(base, fit, vector, level)
    return rows


def _base(panel: Panel, statistic: str, group: str, contrast: str, n: int) -> dict[str, Any]:
    return {
        "metric": panel.metric,
        "statistic": statistic,
        "group": group or None,
        "contrast": contrast,
        "n": n,
        "unit": unit_of(panel.metric),
        "role": "exploratory",
    }


def _tested(
    base: dict[str, Any], fit: ModelFit, vector: Array, level: float
) -> list[dict[str, Any]]:
    """Return one contrast by both methods; one row with a reason when it is not estimable."""
    rows = []
    for name, test in _TESTS.items():
        row = base | {"method": f"{fit.name}, REML, {name}", "level": level, "text": ""}
        if np.isnan(vector).any():
            row |= {"p": np.nan, "text": "not estimable: a group has no value in this session"}
        else:
            row |= _numbers(test(fit.pieces, vector), level)
        rows.append(row)
    return rows


def _numbers(found: Tested, level: float) -> dict[str, Any]:
    from scipy import special

    estimate, se, df = float(found.estimate), float(found.se), float(found.df)
    if not (se > 0 and df > 0 and np.isfinite(df)):
        why = "interval not estimable: no degrees of freedom for this contrast"
        return {"estimate": estimate, "se": se, "p": np.nan, "text": why}
    half = float(special.stdtrit(df, 0.5 + level / 2.0)) * se
    return {
        "estimate": estimate,
        "ci_low": estimate - half,
        "ci_high": estimate + half,
        "df": df,
        "se": se,
        "test_value": estimate / se,
        "p": two_sided_p(estimate / se, df),
    }


def _omnibus(panel: Panel, fit: ModelFit) -> list[dict[str, Any]]:
    """Return the F test of group × session (of session with one group)."""
    contrasts = fit.design.interaction()
    statistic = "group_by_time" if len(panel.groups) > 1 else "time_main_effect"
    base = {"metric": panel.metric, "statistic": statistic, "n": len(panel.athletes)}
    base |= {"role": "exploratory", "unit": "", "text": ""}
    if contrasts is None:
        why = "not estimable: a group has no value in a session"
        return [base | {"method": f"{fit.name}, REML", "text": why}]
    rows = []
    for name, test in _F_TESTS.items():
        found: FTest = test(fit.pieces, contrasts)
        value, df2 = float(found.value), float(found.df2)
        row = base | {"method": f"{fit.name}, REML, {name}", "estimate": value}
        row |= {"test_value": value, "df": float(found.df), "df2": df2}
        if df2 > 0 and np.isfinite(df2) and value >= 0:
            row["p"] = float(found.p)
        else:
            row |= {"estimate": value if value >= 0 else np.nan, "df2": np.nan}
            row["text"] = "p not estimable: the approximation has no degrees of freedom here"
        rows.append(row)
    return rows


def _spreads(panel: Panel, fit: ModelFit) -> list[dict[str, Any]]:
    """Return SDs of athletes, slopes and residual (not for an unstructured covariance)."""
    if "residual" not in fit.parameters:
        return []
    unit = unit_of(panel.metric)
    values: dict[str, tuple[float, str]] = {
        "model_sd_athletes": (fit.parameters["intercept"], unit),
        "model_sd_residual": (fit.parameters["residual"], unit),
    }
    if "slope" in fit.parameters:
        values["model_sd_slopes"] = (fit.parameters["slope"], unit)
    base = {"metric": panel.metric, "n": len(panel.athletes), "role": "exploratory"}
    rows = []
    for key, (variance, of) in values.items():
        words = "point estimate, without interval"
        if variance < 0:
            words = "the variance came out negative; shown as 0"
        row = {"statistic": key, "estimate": float(np.sqrt(max(variance, 0.0))), "unit": of}
        rows.append(base | row | {"method": f"{fit.name}, REML", "text": words})
    if "slope" in fit.parameters:
        rows.append(base | _correlation(fit))
    return rows


def _correlation(fit: ModelFit) -> dict[str, Any]:
    product = fit.parameters["intercept"] * fit.parameters["slope"]
    row = {"statistic": "model_correlation", "unit": "", "method": f"{fit.name}, REML"}
    value = np.nan
    if min(fit.parameters["intercept"], fit.parameters["slope"]) > 0:
        value = fit.parameters["covariance"] / np.sqrt(product)
    if not abs(value) <= 1.0:
        why = "not estimable: the fitted variances are no covariance matrix"
        return row | {"estimate": np.nan, "text": why}
    return row | {"estimate": float(value), "text": "point estimate, without interval"}
