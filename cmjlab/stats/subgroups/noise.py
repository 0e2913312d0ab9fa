"""Typical errors of what decides a split: from repeated baselines, or supplied by the user."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result
from cmjlab.stats.common.noise import noise_of
from cmjlab.stats.common.tables import sessions_to_use
from cmjlab.stats.subgroups.draws import Noise


@dataclass(frozen=True)
class DeclaredError:
    """A typical error that was stated beforehand, for a measure that was tested once.

    Attributes
    ----------
    error : float
        In the metric's unit; it counts as known without doubt.
    source : str
        Where it comes from, in the words of who stated it.
    """

    error: float
    source: str = ""


@dataclass(frozen=True)
class FoundNoise:
    """Noise of the metrics whose error is known, and why it is not of the others.

    Attributes
    ----------
    metrics : tuple of str
        Metrics whose error is known, in the order of ``noise``.
    noise : Noise or None
    missing : dict of str to Reason
    notes : tuple of Note
    sources : dict of str to list of str
        Sessions that an error comes from; none when it was supplied.
    """

    metrics: tuple[str, ...]
    noise: Noise | None
    missing: dict[str, Reason]
    notes: tuple[Note, ...]
    sources: dict[str, list[str]]

    def part(self, metrics: Sequence[str]) -> Noise | None:
        """Return the noise of some metrics, None when one of them is not known."""
        if self.noise is None or any(m not in self.metrics for m in metrics):
            return None
        at = [self.metrics.index(m) for m in metrics]
        return Noise(
            self.noise.error[at], self.noise.df[at], self.noise.correlation[np.ix_(at, at)]
        )

    def known(self, metrics: Sequence[str]) -> tuple[str, ...]:
        """Return those of the metrics whose error is known."""
        return tuple(m for m in metrics if m in self.metrics)

    def why_not(self, metrics: Sequence[str]) -> Reason | None:
        """Return why the noise of some metrics is not known: the first reason, None without one."""
        return next((self.missing[m] for m in metrics if m in self.missing), None)


def find_noise(
    table: pd.DataFrame,
    metrics: Sequence[str],
    reliability: Any,
    masks: Mapping[str, pd.Series],
) -> FoundNoise:
    """Return typical errors, df and correlations of errors.

    Parameters
    ----------
    table : pandas.DataFrame
        Checked sessions table.
    metrics : sequence of str
    reliability : None, Result, or mapping of metric to error or (error, df)
        What it holds is used; the rest comes from the baseline sessions of the table. An error
        alone counts as known without doubt; a :class:`DeclaredError` is used only where the
        baselines do not tell.
    masks : mapping of stratum to mask
        The session change is taken out within strata.
    """
    sessions = [str(s) for s in sessions_to_use(table)]
    errors: dict[str, tuple[float, float]] = {}
    missing: dict[str, Reason] = {}
    sources: dict[str, list[str]] = {}
    residuals = _residuals(table, metrics, sessions, masks)
    declared = _declared(reliability)
    notes: list[Note] = []
    for metric in metrics:
        given = _given(reliability, metric)
        if given is not None:
            errors[metric], sources[metric] = given, []
            continue
        squares, df = residuals[metric]
        if df < 1 or squares <= 0:
            code = "measured_once" if df < 1 else "error_as_if_copied"
            why = Reason(code, {"metric": metric, "sessions": sessions})
            if metric in declared:
                errors[metric], sources[metric] = (float(declared[metric].error), np.inf), []
                notes.append(_declared_note(metric, declared[metric], why))
            else:
                missing[metric] = why
        else:
            errors[metric], sources[metric] = (float(np.sqrt(squares / df)), float(df)), sessions
    kept = tuple(m for m in metrics if m in errors)
    if not kept:
        return FoundNoise((), None, missing, tuple(notes), sources)
    repeated = tuple(m for m in kept if residuals[m][1] >= 1)
    found, known = _correlation(table, repeated, sessions, masks) if repeated else (np.eye(0), True)
    correlation = np.eye(len(kept))
    at = [kept.index(m) for m in repeated]
    correlation[np.ix_(at, at)] = found
    unknown = len(kept) > 1 and not known
    notes += [Note("error_correlation_unknown")] if unknown else []
    noise = Noise(
        np.array([errors[m][0] for m in kept]), np.array([errors[m][1] for m in kept]), correlation
    )
    return FoundNoise(kept, noise, missing, tuple(notes), sources)


def _declared(reliability: Any) -> dict[str, DeclaredError]:
    """Return the stated errors among what was supplied."""
    if not isinstance(reliability, Mapping):
        return {}
    return {m: v for m, v in reliability.items() if isinstance(v, DeclaredError)}


def _declared_note(metric: str, declared: DeclaredError, why: Reason) -> Note:
    kind = "error_declared_with_source" if declared.source else "error_declared"
    values = {"metric": metric, "error": declared.error, "source": declared.source, "why": why}
    return Note(kind, values)


def _given(reliability: Any, metric: str) -> tuple[float, float] | None:
    """Return a supplied typical error and df, None when this metric was not supplied."""
    if reliability is None:
        return None
    if isinstance(reliability, Result):
        if reliability.rows("typical_error", metric=metric)["estimate"].notna().sum() == 0:
            return None
        found = noise_of(reliability, metric)
        return found.typical_error, found.df
    if isinstance(reliability, Mapping):
        if metric not in reliability or isinstance(reliability[metric], DeclaredError):
            return None
        value = reliability[metric]
        if isinstance(value, int | float) and value > 0:
            return float(value), np.inf
    found = noise_of(reliability, metric)
    return found.typical_error, found.df


def _two_way(
    table: pd.DataFrame, columns: Sequence[str], sessions: Sequence[str]
) -> tuple[np.ndarray, int]:
    """Return residuals of complete athletes, (n, k, p), athlete and session taken out, and df."""
    part = table[table["session"].astype(str).isin(sessions)]
    wide = part.assign(session=part["session"].astype(str)).pivot(
        index="athlete", columns="session", values=list(columns)
    )
    wanted = pd.MultiIndex.from_product([columns, sessions])
    values = wide.reindex(columns=wanted).dropna().to_numpy(dtype=float)
    cube = values.reshape(len(values), len(columns), len(sessions)).transpose(0, 2, 1)
    if len(cube) < 2 or len(sessions) < 2:
        return cube[:0], 0
    rest = cube - cube.mean(axis=1, keepdims=True)
    rest = rest - rest.mean(axis=0, keepdims=True)
    return rest, (len(cube) - 1) * (len(sessions) - 1)


def _residuals(
    table: pd.DataFrame,
    metrics: Sequence[str],
    sessions: Sequence[str],
    masks: Mapping[str, pd.Series],
) -> dict[str, tuple[float, int]]:
    """Return sum of squares and df of the errors of each metric, over all strata."""
    out = {}
    for metric in metrics:
        parts = [_two_way(table[mask], [metric], sessions) for mask in masks.values()]
        out[metric] = (float(sum((r**2).sum() for r, _ in parts)), sum(df for _, df in parts))
    return out


def _correlation(
    table: pd.DataFrame,
    metrics: Sequence[str],
    sessions: Sequence[str],
    masks: Mapping[str, pd.Series],
) -> tuple[np.ndarray, bool]:
    """Return the correlation of errors, and whether it could be estimated."""
    parts = [_two_way(table[mask], metrics, sessions)[0] for mask in masks.values()]
    rest = np.concatenate([r.reshape(-1, len(metrics)) for r in parts])
    products = rest.T @ rest
    root = np.sqrt(np.diag(products))
    if len(rest) < 2 * len(metrics) + 4 or not (root > 0).all():
        return np.eye(len(metrics)), len(metrics) == 1
    return products / np.outer(root, root), True


def check_session(table: pd.DataFrame, session: str | None) -> str:
    """Return the session whose values decide: the one asked for, else the first baseline."""
    if session is None:
        return str(sessions_to_use(table)[0])
    known = list(dict.fromkeys(table["session"].astype(str)))
    if session not in known:
        raise StatsError(
            f"session: there is no session {session!r}; sessions are {', '.join(known)}."
        )
    return session
