"""Figures of reliability: session pairs, agreement, typical errors, jumps needed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from cmjlab.plots.forest import Line, draw_forest
from cmjlab.plots.labels import (
    amount_that_matters,
    interval_words,
    metric_axis,
    metric_label,
    metric_or_first,
    metric_unit,
    points,
    shown,
    value_text,
)
from cmjlab.plots.style import (
    INK,
    MARKERS,
    MUTED,
    PALETTE,
    Picture,
    described,
    legend_beside,
    one_panel,
    picture,
    safe,
    styled,
    zero_line,
)
from cmjlab.results import Result


def _wide(result: Result, metric: str) -> pd.DataFrame:
    """Return one metric as athletes × sessions, sessions in protocol order."""
    values = points(result, "values", metric)
    order = [s for s in result.settings["use"] if s in set(values["session"].astype(str))]
    frame = values.assign(session=values["session"].astype(str))
    return frame.pivot(index="athlete", columns="session", values="value")[order]


def _finite_row(result: Result, statistic: str, metric: str) -> pd.Series | None:
    rows = result.rows(statistic, metric=metric)
    rows = rows[np.isfinite(rows["estimate"].astype(float))]
    return rows.iloc[0] if len(rows) else None


@styled
def sessions_figure(result: Result, metric: str | None = None) -> Picture:
    """Draw every athlete's values over the baseline sessions, and the mean.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.reliability` (data ``values``).
    metric : str, optional
        Default: the first metric of the result.

    Returns
    -------
    Picture
        Left: one line per athlete, thick line the mean of those with all sessions. Right:
        change between consecutive sessions with its interval.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> noise = cj.reliability(table, "jump_height_m", use=["base1", "base2"])
    >>> cj.plots.sessions_figure(noise).alt_text[:31]
    'Jump height (take-off velocity)'
    """
    name = metric_or_first(result, metric)
    wide = _wide(result, name)
    figure = picture(height_cm=8.0)
    left, right = figure.subplots(1, 2, gridspec_kw={"width_ratios": [1.7, 1]})
    x = np.arange(wide.shape[1])
    values = shown(name, wide.to_numpy())
    left.plot(x, values.T, color=PALETTE[0], linewidth=0.8, alpha=0.5, marker="o", markersize=2.5)
    complete = values[np.isfinite(values).all(axis=1)]
    if len(complete):
        left.plot(x, complete.mean(axis=0), color=PALETTE[1], linewidth=2.8, marker="o",
                  markersize=7, label=f"mean of {len(complete)} with every session")  # fmt: skip
        left.legend(loc="lower left", bbox_to_anchor=(0, 1.0))
    left.set_xticks(x, [safe(s) for s in wide.columns])
    left.set_xlim(-0.25, x[-1] + 0.25)
    left.set_ylabel(metric_axis(name, int(np.isfinite(values).any(axis=1).sum())))
    _draw_session_changes(right, result, name)
    figure.alt_text = sessions_alt_text(result, name)
    return figure


def _draw_session_changes(axes: Axes, result: Result, metric: str) -> None:
    rows = result.rows("session_change", metric=metric)
    rows = rows[np.isfinite(rows["estimate"].astype(float))]
    for i, (_, row) in enumerate(rows.iterrows()):
        value, low, high = shown(metric, [row["estimate"], row["ci_low"], row["ci_high"]])
        axes.plot([i, i], [low, high], color=PALETTE[1], linewidth=2.2, solid_capstyle="butt")
        axes.plot([i], [value], marker="o", color=PALETTE[1], markersize=7)
    axes.set_xticks(
        range(len(rows)),
        [f"{safe(r['contrast'])}\nn = {int(r['n'])}" for _, r in rows.iterrows()],
    )
    axes.set_xlim(-0.6, max(len(rows), 1) - 0.4)
    axes.set_ylabel(f"Session change ({metric_unit(metric)}), with interval")
    zero_line(axes)


def sessions_alt_text(result: Result, metric: str) -> str:
    """Return what :func:`sessions_figure` shows, in words."""
    wide = _wide(result, metric)
    text = f"{metric_label(metric)} of {len(wide)} athletes in {', '.join(wide.columns)}."
    for _, row in result.rows("session_change", metric=metric).iterrows():
        text += f" {row['contrast']}: {interval_words(metric, row, signed=True)}."
    return text


@styled
def agreement_figure(
    result: Result,
    metric: str | None = None,
    *,
    sessions: tuple[str, str] | None = None,
    ax: Axes | None = None,
) -> Picture:
    """Draw the difference of two sessions against their mean, with bias and limits of agreement.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.reliability`: data ``values``, rows ``session_change``,
        ``limit_lower``, ``limit_upper``.
    metric : str, optional
        Default: the first metric of the result.
    sessions : tuple of two str, optional
        Default: the first two.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        One mark per athlete; lines are the mean difference and the limits.

    Notes
    -----
    Bland & Altman 1986, Lancet 327:307. Bands are the intervals of bias and limits.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> noise = cj.reliability(table, "jump_height_m", use=["base1", "base2"])
    >>> cj.plots.agreement_figure(noise).alt_text[:31]
    'Jump height (take-off velocity)'
    """
    name = metric_or_first(result, metric)
    wide = _wide(result, name)
    first, second = sessions or tuple(wide.columns[:2])
    both = wide[[first, second]].dropna()
    mean, difference = both.mean(axis=1), both[second] - both[first]
    figure, axes = one_panel(ax, height_cm=7.6)
    axes.plot(shown(name, mean), shown(name, difference), linestyle="none", marker="o",
              color=PALETTE[0], markersize=5, markerfacecolor="white")  # fmt: skip
    zero_line(axes)
    for key, label, style in (
        ("limit_upper", "upper limit", (0, (5, 2))),
        ("session_change", "mean difference", "-"),
        ("limit_lower", "lower limit", (0, (5, 2))),
    ):
        row = _agreement_row(result, name, key, (second, first))
        if row is not None:
            _draw_level(axes, name, row, label, style)
    axes.set_xlabel(f"Mean of {safe(first)} and {safe(second)} ({metric_unit(name)})")
    axes.set_ylabel(f"{safe(second)} − {safe(first)} ({metric_unit(name)}), n = {len(both)}")
    axes.set_title(safe(metric_label(name)))
    return described(figure, agreement_alt_text(result, name, (second, first), len(both)))


def _agreement_row(
    result: Result, metric: str, key: str, pair: tuple[str, str]
) -> pd.Series | None:
    rows = result.rows(key, metric=metric)
    rows = rows[np.isfinite(rows["estimate"].astype(float))]
    same = rows[(rows["first"] == pair[0]) & (rows["second"] == pair[1])]
    rows = same if len(same) else rows
    return rows.iloc[0] if len(rows) else None


def _draw_level(axes: Axes, metric: str, row: pd.Series, label: str, style: Any) -> None:
    value, low, high = shown(metric, [row["estimate"], row["ci_low"], row["ci_high"]])
    if np.isfinite(low) and np.isfinite(high):
        axes.axhspan(low, high, color=PALETTE[2], alpha=0.16, linewidth=0, zorder=0)
    axes.axhline(value, color=PALETTE[2], linestyle=style, linewidth=1.3)
    axes.text(1.01, value, f"{label}\n{value_text(metric, float(row['estimate']), signed=True)}",
              transform=axes.get_yaxis_transform(), va="center", fontsize=8, color=INK)  # fmt: skip


def agreement_alt_text(result: Result, metric: str, pair: tuple[str, str], n: int) -> str:
    """Return what :func:`agreement_figure` shows, in words."""
    text = f"{metric_label(metric)}: difference {pair[0]} − {pair[1]} against the mean of both, n = {n}."
    for key, label in (
        ("session_change", "Mean difference"),
        ("limit_lower", "Lower limit of agreement"),
        ("limit_upper", "Upper limit of agreement"),
    ):
        row = _agreement_row(result, metric, key, pair)
        if row is not None:
            text += f" {label} {interval_words(metric, row, signed=True)}."
    return text


def _threshold(result: Result, metric: str, matters: Any) -> tuple[float, bool]:
    """Return the change to compare with (figure's unit) and whether a person declared it."""
    declared = amount_that_matters(matters, metric)
    if declared is not None:
        return declared, True
    row = _finite_row(result, "smallest_worthwhile_change", metric)
    return (float(shown(metric, row["estimate"])), False) if row is not None else (np.nan, False)


@styled
def typical_error_figure(
    result: Result, *, change_that_matters: Any = None, ax: Axes | None = None
) -> Picture:
    """Draw the typical error of every metric as a share of the change that matters.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.reliability`.
    change_that_matters : float or mapping, optional
        In each metric's table unit. Where none was declared, a fifth of the true spread
        between athletes stands in; such lines are hollow and say so.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        One line per metric: typical error with its interval, divided by the change that
        matters; left of 1 the noise of one session is smaller than that change. The typical
        error in its own unit stands at the right.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> noise = cj.reliability(table, "jump_height_m", use=["base1", "base2"])
    >>> cj.plots.typical_error_figure(noise, change_that_matters=0.015).alt_text[:29]
    'Typical error of each metric '
    """
    lines = []
    for name in dict.fromkeys(result.table["metric"].astype(str)):
        row = _finite_row(result, "typical_error", name)
        if row is None:
            lines.append(Line(metric_label(name), np.nan, np.nan, np.nan, text="not estimable"))
            continue
        scale, declared = _threshold(result, name, change_that_matters)
        estimate, low, high = shown(name, [row["estimate"], row["ci_low"], row["ci_high"]]) / scale
        text = interval_words(name, row, extra_decimals=1)
        text += "" if np.isfinite(scale) else ": nothing to compare with"
        lines.append(Line(metric_label(name), estimate, low, high, text=text, filled=declared,
                          marker=MARKERS[0] if declared else MARKERS[1]))  # fmt: skip
    figure, axes = one_panel(ax, height_cm=2.4 + 0.66 * len(lines))
    draw_forest(axes, lines)
    axes.axvline(1.0, color=MUTED, linewidth=1.0)
    axes.set_xlim(left=0)
    n = result.rows("typical_error")["n"]
    count = f", n = {int(n.max())}" if n.notna().any() else ""
    axes.set_xlabel(f"Typical error ÷ change that matters (no unit){count}")
    for marker, filled, label in (
        (MARKERS[0], True, "declared by the study"),
        (MARKERS[1], False, "0.2 × true spread between athletes (arbitrary)"),
    ):
        if any(line.filled == filled and np.isfinite(line.estimate) for line in lines):
            axes.plot([], [], linestyle="none", marker=marker, color=PALETTE[0], label=label,
                      markerfacecolor=PALETTE[0] if filled else "white")  # fmt: skip
    if axes.get_legend_handles_labels()[0]:
        legend_beside(figure, axes, "outside upper left", ncols=2, handletextpad=0.3)
    return described(figure, typical_error_alt_text(result, change_that_matters))


def typical_error_alt_text(result: Result, change_that_matters: Any = None) -> str:
    """Return what :func:`typical_error_figure` shows, in words."""
    parts = ["Typical error of each metric against the change that matters."]
    for name in dict.fromkeys(result.table["metric"].astype(str)):
        row = _finite_row(result, "typical_error", name)
        if row is None:
            parts.append(f"{metric_label(name)}: not estimable.")
            continue
        scale, declared = _threshold(result, name, change_that_matters)
        share = float(shown(name, row["estimate"])) / scale
        text = f"{metric_label(name)}: {interval_words(name, row, extra_decimals=1)}"
        if np.isfinite(share):
            kind = "the declared change" if declared else "a fifth of the true spread"
            text += f", {share:.2f} of {kind}"
        parts.append(text + ".")
    return " ".join(parts)


@styled
def jumps_needed_figure(
    result: Result,
    metric: str | None = None,
    *,
    change_that_matters: Any = None,
    ax: Axes | None = None,
) -> Picture:
    """Draw the typical error of a mean against the number of jumps, one line per sessions.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.jumps_needed`: data ``curve`` with columns metric, n_jumps,
        n_sessions, estimate, ci_low, ci_high.
    metric : str, optional
        Default: the first metric of the result.
    change_that_matters : float or mapping, optional
        In the metric's table unit; drawn as a line.
    ax : matplotlib.axes.Axes, optional
        Axes of your own to draw in; default a figure of its own.

    Returns
    -------
    Picture
        One line per number of sessions, with intervals.

    Examples
    --------
    >>> import cmjlab as cj
    >>> jumps = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).jumps
    >>> needed = cj.jumps_needed(jumps, "jump_height_m", use=["base1", "base2"])
    >>> cj.plots.jumps_needed_figure(needed).alt_text[:23]
    'Typical error of a mean'
    """
    name = metric_or_first(result, metric)
    curve = points(result, "curve", name)
    figure, axes = one_panel(ax, height_cm=7.6)
    counts = sorted(set(curve["n_sessions"].astype(int)))
    for i, count in enumerate(counts):
        part = curve[curve["n_sessions"] == count].sort_values("n_jumps")
        jumps = part["n_jumps"].to_numpy(dtype=float) + 0.12 * (i - (len(counts) - 1) / 2)
        low, value, high = (shown(name, part[c]) for c in ("ci_low", "estimate", "ci_high"))
        color = PALETTE[i % len(PALETTE)]
        axes.vlines(jumps, low, high, color=color, linewidth=1.0, alpha=0.7)
        axes.plot(jumps, value, marker=MARKERS[i % len(MARKERS)], color=color, markersize=5,
                  label=f"{count} session{'s' if count > 1 else ''}")  # fmt: skip
    amount = amount_that_matters(change_that_matters, name)
    if amount is not None:
        axes.axhline(amount, color=MUTED, linewidth=1.0, linestyle=(0, (4, 2)),
                     label="change that matters")  # fmt: skip
    axes.set_ylim(bottom=0)
    axes.set_xlabel("Jumps averaged per session (number)")
    n = result.table["n"].dropna()
    axes.set_ylabel(
        f"Typical error of the mean ({metric_unit(name)})"
        + (f", n = {int(n.max())}" if len(n) else "")
    )
    axes.set_title(safe(metric_label(name)))
    axes.set_xticks(sorted(set(curve["n_jumps"].astype(int))))
    legend_beside(figure, axes, "outside right center")
    return described(figure, jumps_needed_alt_text(result, name))


def jumps_needed_alt_text(result: Result, metric: str) -> str:
    """Return what :func:`jumps_needed_figure` shows, in words."""
    curve = points(result, "curve", metric)
    ends = curve.sort_values(["n_sessions", "n_jumps"])
    first, last = ends.iloc[0], ends.iloc[-1]
    return (
        f"Typical error of a mean of {metric_label(metric)}: from {value_text(metric, first['estimate'])}"
        f" with {int(first['n_jumps'])} jump in {int(first['n_sessions'])} session to"
        f" {value_text(metric, last['estimate'])} with {int(last['n_jumps'])} jumps in each of"
        f" {int(last['n_sessions'])} sessions."
    )
