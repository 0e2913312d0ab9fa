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
from cmjlab.results import Case, Note, Reason, Result
from cmjlab.stats.common.rows import Place, Rows
from cmjlab.stats.mixed.panel import Panel, read_panel

Array = NDArray[np.float64]

GROUP, TIME, BOTH = "group_main_effect", "time_main_effect", "group_by_time"
#: Estimators: sums of squares of Type III, also with corrected degrees of freedom, and Type II.
PLAIN, GG, HF, TYPE_2 = "anova", "anova_greenhouse_geisser", "anova_huynh_feldt", "anova_type_2"


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
        test_value are F, df and df2 its degrees of freedom; with more than two sessions the
        Greenhouse–Geisser row leads, which does not rest on sphericity), ``sphericity_epsilon``,
        ``mauchly_w``, and ``partial_eta_squared``, ``generalised_eta_squared`` of each effect
        (column ``case``).

    Raises
    ------
    StatsError
        When a group has no athlete with all sessions, or there are too few athletes.
    """
    level = check_level(level)
    panel = read_panel(table, metric, order=order, control=control)
    reason = why_no_anova(panel)
    if reason:
        raise StatsError(f"{panel.metric}: {reason}.")
    rows = Rows(level=level)
    notes = add_anova(rows, panel)
    settings: dict[str, Any] = {
        "metric": panel.metric,
        "order": list(panel.sessions),
        "control": panel.groups[0],
        "level": level,
    }
    return Result("mixed_anova", rows.frame(), {}, settings, (*panel.notes, *notes))


def why_no_anova(panel: Panel) -> Reason | None:
    """Return why no mixed ANOVA is possible, None when it is."""
    complete = panel.complete
    for index, label in enumerate(panel.groups):
        if not (complete & (panel.member == index)).any():
            code = "group_never_complete" if label else "nobody_complete_in_all"
            return Reason(code, {"group": label, "sessions": list(panel.sessions)})
    if int(complete.sum()) <= len(panel.groups):
        return Reason("no_error_left", {"n": int(complete.sum()), "groups": len(panel.groups)})
    values = panel.values[complete]
    spread = anova_fit(values, panel.member[complete]).effects[TIME].error_ss
    if spread <= values.size * (1e-10 * float(np.abs(values).max())) ** 2:
        return Reason("same_change_in_groups")
    return None


def add_anova(rows: Rows, panel: Panel, *, joint_leads: bool = True) -> list[Note]:
    """Add the rows of a mixed ANOVA; return who was left out of it.

    ``joint_leads``: whether the joint test of groups × sessions (of sessions with one group)
    leads, or the one of a mixed model does.
    """
    complete = panel.complete
    fit = anova_fit(panel.values[complete], panel.member[complete])
    place = rows.at(metric=panel.metric, n=int(complete.sum()), role="exploratory")
    unequal = bool(np.ptp(np.bincount(panel.member[complete])) > 0)
    _add_effects(place, fit, unequal=unequal, joint_leads=joint_leads)
    if fit.effects[TIME].df > 1.0:  # two sessions are always spherical
        _add_sphericity(place, fit, int(complete.sum()))
    _add_sizes(place, fit)
    if complete.all():
        return []
    left_out = {"metric": panel.metric, "athletes": panel.who(~complete)}
    return [Note("anova_complete_only", left_out)]


def _add_effects(place: Place, fit: AnovaFit, *, unequal: bool, joint_leads: bool) -> None:
    """Add F rows; Type II of the session only where group sizes differ."""
    corrected = fit.effects[TIME].df > 1.0
    joint = BOTH if BOTH in fit.effects else TIME
    for key, effect in fit.effects.items():
        within = corrected and key != GROUP
        may_lead = joint_leads or key != joint
        _add_f(place, key, effect, 1.0, PLAIN, leads=may_lead and not within)
        if within:
            _add_f(place, key, effect, fit.greenhouse_geisser, GG, leads=may_lead)
            _add_f(place, key, effect, fit.huynh_feldt, HF, leads=False)
    if unequal:
        _add_f(place, TIME, fit.time_type2, 1.0, TYPE_2, leads=False)


def _add_f(
    place: Place, key: str, effect: Effect, epsilon: float, estimator: str, *, leads: bool
) -> None:
    undefined = None if np.isfinite(epsilon) else Reason("huynh_feldt_undefined")
    epsilon = float(np.minimum(epsilon, 1.0))  # above 1 is taken as 1; nan stays nan
    place.add(
        key,
        effect.f,
        test_value=effect.f,
        df=effect.df * epsilon,
        df2=effect.error_df * epsilon,
        p=np.nan if undefined else effect.p(epsilon),
        reason=Reason("no_error_variance"),
        remark=undefined,
        estimator=estimator,
        leads=leads,
    )


def _add_sphericity(place: Place, fit: AnovaFit, n: int) -> None:
    """Add both epsilons and Mauchly's W."""
    sessions = int(fit.effects[TIME].df) + 1
    few = Reason("few_for_sphericity", {"n": n, "sessions": sessions})
    place.add("sphericity_epsilon", fit.greenhouse_geisser, reason=few, estimator=GG)
    above = Reason("epsilon_cut") if fit.huynh_feldt > 1 else None
    place.add("sphericity_epsilon", fit.huynh_feldt, reason=few, remark=above, estimator=HF)
    place.add(
        "mauchly_w",
        fit.mauchly_w,
        test_value=fit.mauchly_w,
        p=fit.mauchly_p,
        reason=few,
        estimator="mauchly",
    )


def _add_sizes(place: Place, fit: AnovaFit) -> None:
    within = fit.effects[TIME].error_ss
    athletes = fit.effects[GROUP].error_ss if GROUP in fit.effects else np.nan
    for key, effect in fit.effects.items():
        here = place.at(case=Case(key))
        partial = effect.ss / (effect.ss + effect.error_ss)
        here.add("partial_eta_squared", partial, estimator=PLAIN)
        if np.isfinite(athletes):
            general = effect.ss / (effect.ss + athletes + within)
            here.add("generalised_eta_squared", general, estimator=PLAIN)
