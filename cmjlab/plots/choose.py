"""Which figure shows which result: ``result.plot()`` finds its figure here."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any

from cmjlab.checks import one_of
from cmjlab.errors import ArgumentError
from cmjlab.plots.style import Picture
from cmjlab.results import Result

#: Kind of result -> name of a figure -> module and function; the first figure is the usual one.
FIGURES: Mapping[str, Mapping[str, str]] = {
    "reliability": {
        "noise": "reliability:typical_error_figure",
        "sessions": "reliability:sessions_figure",
        "agreement": "reliability:agreement_figure",
    },
    "jumps_needed": {"jumps_needed": "reliability:jumps_needed_figure"},
    "change_within": {"within": "change:paired_figure"},
    "change_between": {
        "between": "change:difference_figure",
        "along_baseline": "along_baseline:along_baseline_figure",
    },
    "change_individual": {"individuals": "change:individual_figure"},
    "lineup": {"lineup": "lineup:lineup_figure"},
    "load_profile": {"load_profile": "load_profile:load_profile_figure"},
    "follow": {"season": "season:season_figure"},
    "plan_study": {"planning": "planning:planning_figure"},
    "subgroups": {"placement": "subgroups:placement_figure"},
    "threshold": {"threshold": "subgroups:threshold_figure"},
    "measure repeatability": {"repeat": "subgroups:repeat_figure"},
    "survival": {"specifications": "specifications:specification_figure"},
    "lab_truth": {"instrument_share": "lab_truth:instrument_share_figure"},
    "pooling": {"pooling": "pooling:pooling_figure"},
    "relation": {"relation": "squad:relation_figure"},
    "curves": {"curves": "curves:curves_figure", "athlete": "curves:athlete_curve_figure"},
    "replication": {"replication": "replication:replication_figure"},
}


def plot_result(result: Result, figure: str | None = None, **choices: Any) -> Picture:
    """Return the figure of a result.

    Parameters
    ----------
    result : Result
    figure : str, optional
        One of the figures of this kind of result (:func:`figures_of`); default the first.
    **choices
        ``metric``, ``athlete``, ``group``, ``change_that_matters``, ``ax``; None: not chosen. What the
        figure has no use for is refused.

    Raises
    ------
    ArgumentError
        There is no figure of such a result, or the figure takes no such choice.
    """
    names = figures_of(result)
    name = one_of("figure", figure or names[0], names)
    draw = _drawer(FIGURES[result.kind][name])
    taken = inspect.signature(draw).parameters
    given = {k: v for k, v in choices.items() if v is not None}
    for choice in given:
        if choice not in taken:
            own = [k for k in choices if k in taken]
            raise ArgumentError(
                f"{choice}: the figure {name!r} does not use it; it takes"
                f" {', '.join(own) or 'no choice'}."
            )
    if "change_that_matters" in taken and "change_that_matters" not in given:
        given["change_that_matters"] = _stated(result)
    if "athlete" in taken and "athlete" not in given:
        raise ArgumentError(
            "athlete: this figure shows one athlete; name one, e.g."
            f' athlete="{_first_athlete(result)}".'
        )
    return draw(result, **given)


def figures_of(result: Result) -> list[str]:
    """Return the names of the figures that can be drawn of a result, the usual one first.

    Parameters
    ----------
    result : Result

    Returns
    -------
    list of str

    Raises
    ------
    ArgumentError
        There is none; the text says what there is instead.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> cj.plots.figures_of(study.reliability("jump_height_m"))
    ['noise', 'sessions', 'agreement']
    """
    if result.kind not in FIGURES:
        raise ArgumentError(
            f"no figure is made for a result of kind {result.kind!r}; its numbers are in .table, the"
            f" data behind it in .points ({', '.join(result.points) or 'none'}). Figures are made for:"
            f" {', '.join(FIGURES)}."
        )
    return list(FIGURES[result.kind])


def _drawer(where: str) -> Callable[..., Picture]:
    module, name = where.split(":")
    return getattr(import_module(f"cmjlab.plots.{module}"), name)  # type: ignore[no-any-return]


def _stated(result: Result) -> Any:
    """Return the change that matters which the result knows from its plan, None without one."""
    plan = result.settings.get("plan") or {}
    return plan.get("change_that_matters") or result.settings.get("change_that_matters") or None


def _first_athlete(result: Result) -> str:
    each = result.points["weeks" if "weeks" in result.points else "athletes"]
    return str(each["athlete"].iloc[0]) if len(each) else ""
