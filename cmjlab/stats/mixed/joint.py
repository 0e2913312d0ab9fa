"""The joint test of groups × sessions: which of several leads, and where one is not given.

Sizes at 5 %, from ``tests/calibration/mixed_joint.csv`` (two groups of 6 to 30, 3 and 5 sessions,
complete and with 10 % missing):

* *Kenward–Roger, unstructured covariance*: with complete values it is the exact T² of Hotelling.
  With missing values .047 to .052 from six athletes per session on, .060 to .090 below.
* *Kenward–Roger, random slope*: .037 to .064 everywhere, also where the covariance is another.
* *Satterthwaite, unstructured*: .051 to .192 below twelve athletes per session. It is left out
  there. With several degrees of freedom it rests on eigenvectors of the contrasts' covariance, so
  that it changes with the contrasts that are written down for one and the same hypothesis.
* *Satterthwaite, random slope*: up to .070 below 24 athletes, left out there.
* *Mixed ANOVA with Greenhouse–Geisser*: .024 to .058, from athletes with all sessions only.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from cmjlab.results import Note, Reason
from cmjlab.stats.common.reml_tests import FTest, kenward_roger_f, satterthwaite_f
from cmjlab.stats.common.rows import Place
from cmjlab.stats.mixed.models import FREE, INTERCEPT, SLOPE, ModelFit
from cmjlab.stats.mixed.panel import Panel

#: Athletes per session from which Kenward–Roger holds with an unstructured covariance and gaps.
ENOUGH_WITH_GAPS = 6
#: Athletes per session from which Satterthwaite holds with an unstructured covariance.
ENOUGH_FREE = 12
#: Athletes from which Satterthwaite holds with a random slope.
ENOUGH_SLOPE = 24
#: Largest size of Satterthwaite's joint test in the table, in percent.
_MOST = {FREE: 19, SLOPE: 7}


def joint_leader(panel: Panel, fits: Sequence[ModelFit], *, anova: bool) -> str:
    """Return the model whose joint test leads, "" when that of the mixed ANOVA does.

    The unstructured covariance comes first, unless values are missing and athletes are few: then
    the mixed ANOVA of complete athletes leads where there is one. Constrained models never lead.

    Parameters
    ----------
    panel : Panel
    fits : sequence of ModelFit
    anova : bool
        Whether there is a mixed ANOVA.
    """
    usable = {f.name for f in fits if f.usable and f.design.interaction() is not None}
    free, *simpler = (f"model_{c}" for c in (FREE, SLOPE, INTERCEPT))
    if free in usable:
        return "" if anova and _too_few_with_gaps(panel) else free
    return next((name for name in simpler if name in usable), "")


def joint_notes(panel: Panel, fits: Sequence[ModelFit]) -> list[Note]:
    """Return for which models the joint test by Satterthwaite is left out."""
    values = {"metric": panel.metric, "n": len(panel.athletes)}
    return [
        Note("satterthwaite_left_out", {**values, "model": f.name, "most": _MOST[_structure(f)]})
        for f in fits
        if f.usable and not _satterthwaite_holds(panel, f)
    ]


def add_joint_test(place: Place, panel: Panel, fit: ModelFit, *, leads: bool) -> None:
    """Add the F test of group × session (of session with one group).

    Parameters
    ----------
    place : Place
    panel : Panel
    fit : ModelFit
    leads : bool
        Whether the test by Kenward–Roger leads.
    """
    statistic = "group_by_time" if len(panel.groups) > 1 else "time_main_effect"
    contrasts = fit.design.interaction()
    if contrasts is None:
        why = Reason("group_without_session")
        place.none(statistic, why, estimator=fit.name, leads=False)
        return
    tests = {"kenward_roger": kenward_roger_f}
    if _satterthwaite_holds(panel, fit):
        tests["satterthwaite"] = satterthwaite_f
    for kind, test in tests.items():
        found = test(fit.pieces, contrasts)
        _add_f(
            place,
            statistic,
            found,
            remark=_remark(panel, fit, kind, found.df),
            estimator=fit.name,
            interval_kind=kind,
            leads=leads and kind == "kenward_roger",
        )


def _add_f(
    place: Place, statistic: str, found: FTest, *, remark: Reason | None, **columns: Any
) -> None:
    value, df2 = float(found.value), float(found.df2)
    fine = bool(df2 > 0 and np.isfinite(df2) and value >= 0)
    place.add(
        statistic,
        value if value >= 0 else np.nan,
        test_value=value,
        df=found.df,
        df2=df2 if fine else np.nan,
        p=found.p if fine else np.nan,
        reason=Reason("no_degrees_of_freedom"),
        remark=remark if fine else Reason("p_without_degrees_of_freedom"),
        **columns,
    )


def _remark(panel: Panel, fit: ModelFit, kind: str, df: int) -> Reason | None:
    """Return what to know about a joint test."""
    if kind == "satterthwaite":
        return Reason("satterthwaite_basis") if df > 1 else None
    if _structure(fit) == FREE and _too_few_with_gaps(panel):
        counts = {"n": len(panel.athletes), "sessions": len(panel.sessions)}
        return Reason("joint_too_often", counts)
    return None


def _too_few_with_gaps(panel: Panel) -> bool:
    enough = len(panel.athletes) >= ENOUGH_WITH_GAPS * len(panel.sessions)
    return not enough and not bool(panel.complete.all())


def _satterthwaite_holds(panel: Panel, fit: ModelFit) -> bool:
    """Return whether the size of the joint test by Satterthwaite holds (1 df: as any contrast)."""
    contrasts = fit.design.interaction()
    if not _structure(fit):
        return False
    if contrasts is None or len(contrasts) == 1:
        return True
    if _structure(fit) == FREE:
        return len(panel.athletes) >= ENOUGH_FREE * len(panel.sessions)
    return _structure(fit) == INTERCEPT or len(panel.athletes) >= ENOUGH_SLOPE


def _structure(fit: ModelFit) -> str:
    """Return the covariance structure of a fit, constrained or not; "" for that of single jumps."""
    return next((c for c in (FREE, SLOPE, INTERCEPT) if fit.name.endswith(c)), "")
