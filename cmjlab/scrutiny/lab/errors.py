"""Errors of a lab's measurements against exact truth, and which event they come from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from cmjlab.method import Method
from cmjlab.scrutiny.lab.noise_share import MeanSquare, pooled_within
from cmjlab.scrutiny.lab.seen import Lab
from cmjlab.simulate.profile import Profile
from cmjlab.truth.budget import Design, known_truth

#: What an error may come from: key of a cause -> error that stands for it.
CAUSES = {
    "onset": "event_onset_s",
    "takeoff": "event_takeoff_s",
    "landing": "event_landing_s",
    "body_weight": "body_weight_n",
}
#: A cause is named when it goes with this share of the variance.
_NAMED = 0.5


@dataclass(frozen=True)
class MetricErrors:
    """Errors of one metric, measured − exact.

    Attributes
    ----------
    bias, bias_se : float
        Mean over the profiles, and its standard error; ``profiles`` - 1 degrees of freedom.
    profiles : int
    scatter : MeanSquare
        Variance of the errors of one profile, pooled.
    n, n_missing : int
        Recordings, and those without a value.
    cause : str
        Key of :data:`CAUSES` that goes with more than half of the variance; "" for none.
    cause_r2 : float
        Share that goes with the strongest cause.
    """

    metric: str
    bias: float
    bias_se: float
    profiles: int
    scatter: MeanSquare
    n: int
    n_missing: int
    cause: str
    cause_r2: float


def simulated_errors(
    lab: Lab,
    profiles: Sequence[Profile],
    method: Method,
    *,
    repeats: int,
    seed: int,
    metrics: Sequence[str],
) -> pd.DataFrame:
    """Return the errors of every simulated recording: profile, rate_hz, repeat, a column a metric.

    Those of the causes come along. Rates are simulated as often as the lab has them.
    """
    parts, wanted = [], list(dict.fromkeys((*metrics, *CAUSES.values())))
    for rate, share in zip(lab.rates_hz, lab.rate_shares, strict=True):
        design = Design(
            tuple(profiles), (rate,), (lab.noise_sd_n,), (lab.sway_sd_n,),
            max(2, round(share * repeats)),
        )  # fmt: skip
        found = known_truth(method, design=design, recording=lab.recording_settings(),
                            metrics=wanted, seed=seed)  # fmt: skip
        wide = found.points["errors"].pivot(
            index=["profile", "rate_hz", "repeat"], columns="metric", values="error"
        )
        parts.append(wide.reset_index().rename_axis(columns=None))
    return pd.concat(parts, ignore_index=True)


def metric_errors(errors: pd.DataFrame, metric: str) -> MetricErrors | None:
    """Return what the errors of one metric show; None when it has no exact truth."""
    if metric not in errors or not np.isfinite(errors[metric]).any():
        return None
    groups = errors.groupby("profile", sort=False)[metric]
    means = groups.mean().dropna().to_numpy()
    k = len(means)
    se = float(means.std(ddof=1) / k**0.5) if k > 1 else float("nan")
    cause, r2 = _cause(errors, metric)
    scatter = pooled_within([part.to_numpy(dtype=float) for _, part in groups])
    missing = int(errors[metric].isna().sum())
    return MetricErrors(
        metric, float(means.mean()), se, k, scatter, len(errors), missing, cause, r2
    )


def _cause(errors: pd.DataFrame, metric: str) -> tuple[str, float]:
    """Return the cause with which the errors of single profiles go most, and its r²."""
    there = {c: e for c, e in CAUSES.items() if e in errors and e != metric}
    used = errors[["profile", metric, *there.values()]].dropna()
    if len(used) < 10:
        return "", float("nan")
    centred = used.drop(columns="profile") - used.groupby("profile").transform("mean")
    own = centred[metric].to_numpy()
    best, share = "", 0.0
    for cause, error in there.items():
        x = centred[error].to_numpy()
        both = float((x @ x) * (own @ own))
        r2 = float(x @ own) ** 2 / both if both > 0 else 0.0
        if r2 > share:
            best, share = cause, r2
    return (best if share > _NAMED else ""), share
