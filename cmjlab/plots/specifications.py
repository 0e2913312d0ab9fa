"""The specification curve: one question answered in every defensible way, and the choices below it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch
from numpy.typing import NDArray

from cmjlab.checks import one_of
from cmjlab.errors import ArgumentError
from cmjlab.plots.labels import metric_label, metric_unit, shown, value_text
from cmjlab.plots.style import (
    INK,
    PALETTE,
    Picture,
    axis_label,
    picture,
    safe,
    styled,
    zero_line,
)
from cmjlab.results import Result
from cmjlab.stats.specifications.sentences import choice_case, level_words

#: Columns of the lower panel: each holds neighbouring specifications.
_BINS = 90
_LINE_CM, _CURVE_CM = 0.43, 6.4
#: Width of the upper panel, points: a line per analysis fills it.
_CURVE_PT = 400.0
_SAME, _OTHER = "#d3d9e2", "#d79c78"
Array = NDArray[np.float64]


@styled
def specification_figure(
    result: Result, metric: str | None = None, group: str | None = None
) -> Picture:
    """Draw all analyses of one target, ordered by their estimate, with the choices below.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.method_sensitivity`.
    metric : str, optional
        Measure of the target; default the first.
    group : str, optional
        Subgroup of the target; default the first with this measure.

    Returns
    -------
    Picture
        Above: each analysis' estimate and interval, the study's own marked, zero, and the amount
        that was wanted (dashed). Pale blue: the study's own answer; darker red: another
        one. Below: how often each level is among neighbouring analyses, the darker the
        more; a level that sits at one end moves the estimate.

    Raises
    ------
    ArgumentError
        There is no such target.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> only = {c: [] for c in ("onset", "weighing", "rest", "body_weight", "filter", "baseline")}
    >>> survived = cj.method_sensitivity(study, only, deals=0, workers=1)
    >>> cj.plots.specification_figure(survived, "time_to_takeoff_s").alt_text[:16]
    'Time to take-off'
    """
    target = _target(result, metric, group)
    every = result.points["specifications"]
    mine = every[(every["subgroup"] == target["subgroup"]) & (every["metric"] == target["metric"])]
    own = mine.iloc[0]
    order = mine[mine["counts"].astype(bool)].sort_values("estimate", kind="stable")
    choices = result.points["choices"]
    choices = choices[
        (choices["subgroup"] == target["subgroup"]) & (choices["metric"] == target["metric"])
    ]
    names = [str(c) for c in choices["choice"]]
    lines = sum(order[c].nunique() for c in names) + len(names)
    figure = picture(height_cm=_CURVE_CM + _LINE_CM * max(lines, 1))
    curve, below = figure.subplots(
        2, 1, sharex=True, height_ratios=[_CURVE_CM, _LINE_CM * max(lines, 1)]
    )
    _draw_curve(curve, order, own, target)
    _draw_choices(below, order, names, dict(zip(names, choices["share"], strict=True)))
    figure.alt_text = _alt_text(order, own, target)
    return figure


def _target(result: Result, metric: str | None, group: str | None) -> dict[str, Any]:
    targets = result.points["targets"]
    if metric is not None:
        one_of("metric", metric, list(dict.fromkeys(targets["metric"])))
        targets = targets[targets["metric"] == metric]
    if group is not None:
        one_of("group", group, list(dict.fromkeys(targets["subgroup"])))
        targets = targets[targets["subgroup"] == group]
    if targets.empty:
        raise ArgumentError(f"metric, group: there is no target of {metric} in {group}.")
    return {str(k): v for k, v in targets.iloc[0].to_dict().items()}


def _draw_curve(axes: Axes, order: pd.DataFrame, own: pd.Series, target: dict[str, Any]) -> None:
    metric = str(target["metric"])
    estimate, low, high = (shown(metric, order[c]) for c in ("estimate", "low", "high"))
    same = (order["verdict"] == own["verdict"]).to_numpy(dtype=bool)
    place = np.arange(len(order))
    width = max(_CURVE_PT / len(order), 0.3)
    for which, color in ((same, _SAME), (~same, _OTHER)):
        axes.vlines(place[which], low[which], high[which], colors=color, linewidths=width,
                    capstyle="butt", rasterized=True, zorder=2)  # fmt: skip
    axes.plot(place, estimate, color=INK, linewidth=1.6, zorder=4)
    zero_line(axes)
    for amount in _amounts(target):
        axes.axhline(
            float(shown(metric, amount)), color=INK, linewidth=1.0, linestyle=(0, (3, 2)), zorder=3
        )
    here = int(np.flatnonzero(order["own"].to_numpy(dtype=bool))[0])
    axes.plot([here], [estimate[here]], marker="D", color=PALETTE[1], markersize=6,
              markeredgecolor="white", zorder=6, linestyle="none", label="the study's own")  # fmt: skip
    axes.set_ylabel(axis_label("Change", metric_unit(metric)))
    axes.set_title(safe(f"{target['subgroup']}: {metric_label(metric)}"))
    handles, _ = axes.get_legend_handles_labels()
    handles += [Patch(color=_SAME, label="its answer"), Patch(color=_OTHER, label="another answer")]
    axes.legend(handles=[h for h, keep in zip(handles, (True, True, not same.all()), strict=True) if keep],
                loc="upper left", ncols=3)  # fmt: skip
    axes.margins(x=0.0)
    top = max(float(high.max()), 0.0)
    axes.set_ylim(top=top + 0.16 * (top - min(float(low.min()), 0.0)))


def _amounts(target: dict[str, Any]) -> list[float]:
    amount = float(target["amount"])
    if not np.isfinite(amount):
        return []
    return {"more": [amount], "less": [-amount]}.get(str(target["wanted"]), [-amount, amount])


def _draw_choices(
    axes: Axes, order: pd.DataFrame, names: Sequence[str], shares: dict[str, float]
) -> None:
    """Draw one line per level: its share among neighbouring analyses.

    A level whose numbers are all those of another one has no line.
    """
    edges = np.linspace(0, len(order), min(_BINS, len(order)) + 1).round().astype(int)
    labels, heads = list[str](), list[tuple[int, str]]()
    rows: list[Array] = []
    for name in names:
        heads.append((len(rows), f"{choice_case(name)} ({100 * shares[name]:.0f} %)"))
        labels.append("")
        rows.append(np.full(len(edges) - 1, np.nan))
        for level in dict.fromkeys(order.sort_index()[name]):
            labels.append(str(level_words(name, str(level))))
            rows.append(_share((order[name] == level).to_numpy(dtype=bool), edges))
    if rows:
        axes.pcolormesh(edges - 0.5, np.arange(len(rows) + 1) - 0.5, np.array(rows), cmap="Greys",
                        vmin=0.0, vmax=1.0, rasterized=True)  # fmt: skip
    axes.set_yticks(range(len(labels)), [safe(label) for label in labels])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(labels) - 0.5, -0.5)
    for line, text in heads:
        axes.text(
            0.0, line, safe(text), va="center", ha="left", fontsize=8, fontweight="bold", color=INK
        )
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)
    axes.set_xlabel(f"analyses by their estimate, n = {len(order)}", color=INK)


def _share(there: NDArray[np.bool_], edges: NDArray[np.int_]) -> Array:
    return np.array(
        [there[a:b].mean() if b > a else 0.0 for a, b in zip(edges[:-1], edges[1:], strict=True)]
    )


def _alt_text(order: pd.DataFrame, own: pd.Series, target: dict[str, Any]) -> str:
    metric = str(target["metric"])
    low, high, mine = (
        value_text(metric, float(v), signed=True)
        for v in (order["estimate"].min(), order["estimate"].max(), own["estimate"])
    )
    same = int((order["verdict"] == own["verdict"]).sum())
    return (
        f"{metric_label(metric)} of {target['subgroup']} in {len(order)} analyses, ordered by their"
        f" estimate from {low} to {high}; the study's own is {mine}. {same} give its answer. Below,"
        " for each level of each choice, where along this order it stands."
    )
