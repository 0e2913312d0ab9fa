"""Mixed ANOVA: groups × sessions, complete athletes only, with corrections for sphericity.

It is here because readers ask for it. Its interaction assumes that all session differences
have one variance; the corrections reduce the degrees of freedom where they have not. The
contrast per athlete (:func:`cmjlab.change_mixed`) needs no such assumption and says which
sessions differ. With two sessions the interaction is the t test of the changes.

Sums of squares are Type III (each group counts the same for the session effect); Type II is
given beside it for the session, since programs differ. Epsilon is pooled within groups.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from cmjlab.checks import level as check_level
from cmjlab.errors import StatsError
from cmjlab.results import Note, Result
from cmjlab.stats.common.tables import statistics_frame
from cmjlab.stats.mixed.panel import Panel, read_panel

Array = NDArray[np.float64]

GROUP, TIME, BOTH = "group_main_effect", "time_main_effect", "group_by_time"
_PLAIN = "mixed ANOVA, Type III"
_GG = "mixed ANOVA, Type III, Greenhouse–Geisser"
_HF = "mixed ANOVA, Type III, Huynh–Feldt"


@dataclass(frozen=True)
class Effect:
    """Sums of squares and degrees of freedom of one effect and its error."""

    ss: float
    df: float
    error_ss: float
    error_df: float

    @property
    def f(self) -> float:
        """(ss/df) / (error_ss/error_df), nan without error variance."""
        if not self.error_ss > 0:
            return np.nan
        return (self.ss / self.df) / (self.error_ss / self.error_df)

    def p(self, epsilon: float = 1.0) -> float:
        """Upper tail of F with both degrees of freedom times ``epsilon``."""
        if not np.isfinite(self.f):
            return np.nan
        return float(special.fdtrc(self.df * epsilon, self.error_df * epsilon, self.f))


@dataclass(frozen=True)
class AnovaFit:
    """All numbers of a mixed ANOVA.

    Attributes
    ----------
    effects : dict of str to Effect
        By statistic key; without groups only the session effect.
    time_type2 : Effect
        Session effect with groups weighted by their size.
    greenhouse_geisser, huynh_feldt : float
        Epsilon; Huynh–Feldt is not cut at 1 here.
    mauchly_w, mauchly_p : float
        nan when there are two sessions or too few athletes.
    """

    effects: dict[str, Effect]
    time_type2: Effect
    greenhouse_geisser: float
    huynh_feldt: float
    mauchly_w: float
    mauchly_p: float


def anova_fit(values: Array, member: NDArray[np.int64]) -> AnovaFit:
    """Return the mixed ANOVA of complete data.

    Parameters
    ----------
    values : array, shape (m, k)
        Athletes × sessions, no gaps.
    member : array of int, shape (m,)
        Group index, 0 … g−1, each present.
    """
    m, k = values.shape
    sizes = np.bincount(member).astype(float)
    g = sizes.size
    centred = values - values.mean()
    means = np.stack([centred[member == j].mean(axis=0) for j in range(g)])
    residual = centred - means[member]
    basis = _orthonormal(k)
    steps = residual @ basis  # first, since the athletes' levels would swamp small changes
    error = steps.T @ steps
    error_ss, error_df = float(np.trace(error)), float((m - g) * (k - 1))
    weighted = sizes @ means / m
    flat = basis.T @ means.mean(axis=0)
    time = float(flat @ flat) / float((1.0 / sizes).sum() / g**2)
    type2 = float(m * ((basis.T @ weighted) ** 2).sum())
    effects = {}
    if g > 1:
        between = means.mean(axis=1)
        error_between = k * float((residual.mean(axis=1) ** 2).sum())
        ss_group = k * float(sizes @ (between - sizes @ between / m) ** 2)
        effects[GROUP] = Effect(ss_group, g - 1.0, error_between, float(m - g))
    effects[TIME] = Effect(time, k - 1.0, error_ss, error_df)
    if g > 1:
        deviations = (means - weighted) @ basis
        both = float(sizes @ (deviations**2).sum(axis=1))
        effects[BOTH] = Effect(both, (g - 1.0) * (k - 1.0), error_ss, error_df)
    gg, hf = _epsilon(error, m - g)
    w, p = _mauchly(error, m - g)
    return AnovaFit(effects, Effect(type2, k - 1.0, error_ss, error_df), gg, hf, w, p)


def _orthonormal(k: int) -> Array:
    """Return orthonormal contrasts of k sessions (Helmert), shape (k, k−1)."""
    out = np.zeros((k, k - 1))
    for j in range(1, k):
        out[:j, j - 1] = 1.0
        out[j, j - 1] = -float(j)
        out[:, j - 1] /= np.sqrt(j * (j + 1.0))
    return out


def _epsilon(error: Array, df: int) -> tuple[float, float]:
    """Return Greenhouse–Geisser and Huynh–Feldt (Lecoutre 1991) epsilon."""
    p = error.shape[0]
    trace = float(np.trace(error))
    if p == 1 or not trace > 0:
        return 1.0, 1.0
    gg = trace**2 / (p * float((error**2).sum()))
    above, below = (df + 1) * p * gg - 2.0, p * (df - p * gg)
    usable = min(above, below) > 1e-9 * p * df
    return gg, above / below if usable else np.nan


def _mauchly(error: Array, df: int) -> tuple[float, float]:
    """Return W and its p value with Box's second-order term; nan when not defined."""
    p = error.shape[0]
    if p == 1 or df < p or not np.trace(error) > 0:
        return np.nan, np.nan
    sign, logdet = np.linalg.slogdet(error)
    if sign <= 0:
        return np.nan, np.nan
    log_w = float(logdet - p * np.log(np.trace(error) / p))
    rho = 1.0 - (2 * p**2 + p + 2) / (6.0 * p * df)
    w2 = (p + 2) * (p - 1) * (p - 2) * (2 * p**3 + 6 * p**2 + 3 * p + 2)
    w2 = w2 / (288.0 * (df * p * rho) ** 2)
    z, f = -df * rho * log_w, p * (p + 1) / 2.0 - 1.0
    if z < 0:
        z = 0.0
    first, second = float(special.chdtrc(f, z)), float(special.chdtrc(f + 4.0, z))
    return float(np.exp(log_w)), first + w2 * (second - first)


def mixed_anova(
    table: pd.DataFrame,
    metric: str,
    *,
    order: Sequence[str] | None = None,
    control: str | None = None,
    level: float = 0.95,
) -> Result:
    """Return the mixed ANOVA of one metric over groups and sessions.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session: ``athlete``, ``session``, the metric, optional ``group``.
    metric : str
        Column to analyse.
    order : sequence of str, optional
        Sessions to use, in protocol order; else category order or order of appearance.
    control : str, optional
        Group named first; the F tests do not depend on it.
    level : float
        Kept with the settings; F tests have no interval.

    Returns
    -------
    Result
        Rows ``group_main_effect``, ``time_main_effect``, ``group_by_time`` (estimate and
        test_value are F, df and df2 its degrees of freedom), ``sphericity_epsilon``,
        ``mauchly_w``, ``partial_eta_squared``, ``generalised_eta_squared``.

    Raises
    ------
    StatsError
        When a group has no athlete with all sessions, or there are too few athletes.
    """
    level = check_level(level)
    panel = read_panel(table, metric, order=order, control=control)
    reason = why_no_anova(panel)
    if reason:
        raise StatsError(f"{panel.metric}: {reason}")
    rows, notes = anova_rows(panel)
    settings: dict[str, Any] = {
        "metric": panel.metric,
        "order": list(panel.sessions),
        "control": panel.groups[0],
        "level": level,
    }
    return Result("mixed ANOVA", statistics_frame(rows), {}, settings, (*panel.notes, *notes))


def why_no_anova(panel: Panel) -> str:
    """Return why no mixed ANOVA is possible, "" when it is."""
    complete = panel.complete
    for index, label in enumerate(panel.groups):
        if not (complete & (panel.member == index)).any():
            where = f"group {label!r} has" if label else "there is"
            return (
                f"{where} no athlete with a value in all of {', '.join(panel.sessions)}; leave out"
                " a session with order=, or use the contrasts of change_mixed."
            )
    if int(complete.sum()) <= len(panel.groups):
        return (
            f"{int(complete.sum())} complete athlete(s) in {len(panel.groups)} group(s) leave no"
            " error to test against."
        )
    values = panel.values[complete]
    spread = anova_fit(values, panel.member[complete]).effects[TIME].error_ss
    if spread <= values.size * (1e-10 * float(np.abs(values).max())) ** 2:
        return "within groups every athlete changed by the same amount (no variance to test with)."
    return ""


def anova_rows(panel: Panel) -> tuple[list[dict[str, Any]], list[Note]]:
    """Return the rows of a mixed ANOVA and who was left out of it."""
    complete = panel.complete
    fit = anova_fit(panel.values[complete], panel.member[complete])
    base = {"metric": panel.metric, "n": int(complete.sum()), "role": "exploratory"}
    base |= {"unit": "", "text": ""}
    sizes = np.bincount(panel.member[complete])
    rows = [base | row for row in _effect_rows(fit, unequal=bool(np.ptp(sizes) > 0))]
    rows += [base | row for row in _sphericity_rows(fit, int(complete.sum()))]
    rows += [base | row for row in _size_rows(fit)]
    notes = []
    if not complete.all():
        text = (
            f"{panel.metric}: the mixed ANOVA uses athletes with all sessions only; left out:"
            f" {panel.names(~complete)}."
        )
        notes.append(Note("anova_complete_only", text))
    return rows, notes


def _effect_rows(fit: AnovaFit, *, unequal: bool) -> list[dict[str, Any]]:
    """Return F rows; Type II of the session only where group sizes differ."""
    rows = []
    two = fit.effects[TIME].df == 1.0
    for key, effect in fit.effects.items():
        rows.append(_f_row(key, effect, 1.0, _PLAIN))
        if key != GROUP and not two:
            rows.append(_f_row(key, effect, fit.greenhouse_geisser, _GG))
            rows.append(_f_row(key, effect, fit.huynh_feldt, _HF))
    if unequal:
        rows.append(_f_row(TIME, fit.time_type2, 1.0, "mixed ANOVA, Type II"))
    return rows


def _f_row(key: str, effect: Effect, epsilon: float, method: str) -> dict[str, Any]:
    text = ""
    if not np.isfinite(effect.f):
        text = "not estimable: no error variance"
    elif not np.isfinite(epsilon):
        text = "p not estimable: Huynh–Feldt epsilon is not defined with so few athletes"
    epsilon = float(np.minimum(epsilon, 1.0))  # above 1 is taken as 1; nan stays nan
    return {
        "statistic": key,
        "estimate": effect.f,
        "test_value": effect.f,
        "df": effect.df * epsilon,
        "df2": effect.error_df * epsilon,
        "p": effect.p(epsilon) if np.isfinite(epsilon) else np.nan,
        "method": method,
        "text": text,
    }


def _sphericity_rows(fit: AnovaFit, n: int) -> list[dict[str, Any]]:
    """Return epsilon and Mauchly; none with two sessions, which are always spherical."""
    p = fit.effects[TIME].df
    if p == 1.0:
        return []
    few = f"not estimable: {n} complete athletes are too few for {int(p) + 1} sessions"
    hf = fit.huynh_feldt
    return [
        {"statistic": "sphericity_epsilon", "estimate": fit.greenhouse_geisser, "method": _GG},
        {
            "statistic": "sphericity_epsilon",
            "estimate": hf,
            "method": _HF,
            "text": few if np.isnan(hf) else ("above 1: taken as 1" if hf > 1 else ""),
        },
        {
            "statistic": "mauchly_w",
            "estimate": fit.mauchly_w,
            "test_value": fit.mauchly_w,
            "p": fit.mauchly_p,
            "method": "Mauchly, pooled within groups",
            "text": few if np.isnan(fit.mauchly_w) else "",
        },
    ]


def _size_rows(fit: AnovaFit) -> list[dict[str, Any]]:
    rows = []
    within = fit.effects[TIME].error_ss
    athletes = fit.effects[GROUP].error_ss if GROUP in fit.effects else np.nan
    for key, effect in fit.effects.items():
        method = f"{_PLAIN}, {key}"
        partial = effect.ss / (effect.ss + effect.error_ss)
        rows.append({"statistic": "partial_eta_squared", "estimate": partial, "method": method})
        if np.isfinite(athletes):
            general = effect.ss / (effect.ss + athletes + within)
            rows.append(
                {"statistic": "generalised_eta_squared", "estimate": general, "method": method}
            )
    return rows
