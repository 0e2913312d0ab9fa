"""What the notebooks open and show: a study with a place for results, and what a squad can show."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab.errors import CmjlabError, StatsError, StudyError
from cmjlab.units import show
from cmjlab.words.catalog import read_words
from cmjlab.words.fill import joined

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Spread of true responses, in typical errors, for the first look at what a squad can show.
_RESPONSE = 0.5
#: Designs of one athlete, and of two groups.
_ALONE, _OF_TWO_GROUPS = "one_athlete", ("two_groups_change", "two_groups_ancova")
#: Usual typical error of means of three jumps between days: 1.0 to 1.5 cm, from memory; so without df.
_USUAL = {"jump_height_m": (0.012, None)}


def open_study(folder: str | Path | None = None, results: str | Path | None = None) -> Study:
    """Open a study for a notebook; results always have a place.

    Parameters
    ----------
    folder : str or Path, optional
        Study folder; None: the invented demo study.
    results : str or Path, optional
        Where results go. None: ``results`` in the study folder, or, when that folder can only
        be read, a folder of the study's name below the system's temporary folder.

    Raises
    ------
    StudyError
        The folder is no study, or a problem must be solved first.
    """
    from cmjlab.study.demo.demo import demo_study
    from cmjlab.study.store.cached import can_write
    from cmjlab.study.study import Study

    place = Path(folder) if folder else demo_study()
    if results is not None or can_write(place / "results"):
        return Study.open(place, results)
    name = f"cmjlab_{place.resolve().name}_results"
    return Study.open(place, Path(tempfile.gettempdir()) / name)


def tested_baselines(study: Study) -> list[str]:
    """Return the baseline sessions that were tested; at least two are needed.

    Raises
    ------
    StudyError
        There are fewer than two: the noise of these athletes cannot be known.
    """
    found = _tested(study)
    if len(found) < 2:
        raise StudyError(
            f"two tested sessions with role baseline are needed, found {', '.join(found) or 'none'}."
            " Without them nobody knows the noise of these athletes: test twice before the block,"
            " or give two sessions without training in between the role baseline in study.toml."
        )
    return found


def _tested(study: Study) -> list[str]:
    """Return the sessions with role baseline that have recordings, in order."""
    tested = set(study.files["session"].astype(str))
    named = study.sessions.loc[study.sessions["role"] == "baseline", "session"].astype(str)
    return [s for s in named if s in tested]


def sessions_for_groups(study: Study) -> pd.DataFrame:
    """Return the sessions table with groups where there are any, without the column otherwise."""
    from cmjlab.report.build.analyses import grouped, has_groups

    sessions = study.sessions_table()
    return grouped(sessions) if has_groups(sessions) else sessions.drop(columns="group")


def change_that_matters(study: Study, metric: str) -> float:
    """Return the change that matters of a metric, as the plan states it.

    Raises
    ------
    StudyError
        The plan states none.
    """
    stated = study.plan.change_that_matters
    if metric not in stated:
        raise StudyError(
            f"no change that matters is stated for {metric}: write matters = … in the parameters"
            f" cell, in the unit of the tables, or {metric} = … below [plan.change_that_matters]"
            f" in study.toml. Stated are {', '.join(stated) or 'none'}."
        )
    return float(stated[metric])


class Tidy:
    """A table as a notebook shows it: without row numbers, as HTML and as text.

    Attributes
    ----------
    frame : pandas.DataFrame
        The table itself, for further work.
    """

    def __init__(self, frame: pd.DataFrame) -> None:
        self.frame = frame

    def __repr__(self) -> str:
        return self.frame.to_string(index=False, na_rep="") if len(self.frame) else _nothing()

    def _repr_html_(self) -> str:
        if not len(self.frame):
            return f"<p>{_nothing()}</p>"
        return self.frame.to_html(index=False, na_rep="", border=0)


def _nothing() -> str:
    return read_words().say("notebooks.nothing")


def tidy(frame: pd.DataFrame) -> Tidy:
    """Return a table that a notebook shows without row numbers."""
    return Tidy(frame)


def squad_noise(study: Study, metric: str) -> tuple[Any, str]:
    """Return the noise of a metric in this squad, or a usual one, and which of them it is.

    Parameters
    ----------
    study : Study
    metric : str

    Returns
    -------
    noise : Result or mapping of metric to (typical error, df or None)
        For the argument ``reliability`` of planning.
    words : str
        Where it comes from.

    Raises
    ------
    StatsError
        There are no two baselines, and no usual value of this metric is known.
    """
    from cmjlab.stats.reliability.reliability import reliability

    say, baselines = read_words().say, _tested(study)
    why = "" if len(baselines) > 1 else say("squad.needs_two_baselines")
    try:
        own = reliability(study.sessions_table(), [metric], use=baselines, level=study.plan.level)
        typical = own.value("typical_error", metric=metric)
    except (CmjlabError, KeyError) as error:
        typical, why = math.nan, why or str(error)
    if not math.isnan(typical):
        return own, say("squad.own_noise", sessions=baselines, metric=metric, typical=typical)
    if metric not in _USUAL:
        raise StatsError(f"the typical error of {metric} is not known yet: {why or 'no value'}.")
    usual = {"metric": metric, "typical": _USUAL[metric][0], "why": why}
    key = "squad.usual_noise_because" if why else "squad.usual_noise"
    return {metric: _USUAL[metric]}, say(key, **usual)


def squad_table(study: Study, reliability: Any, metric: str) -> pd.DataFrame:
    """Return how precisely changes of this squad will be known, and whether that is enough.

    Parameters
    ----------
    study : Study
        Its roster gives the group sizes, its plan the control group and the change that matters.
    reliability : Result, or mapping of metric to (typical error, df)
        Gives the typical error of the metric, as from :func:`squad_noise`.
    metric : str

    Returns
    -------
    pandas.DataFrame
        One row for one athlete, for each group's mean, and for each group against the control
        group (without one: the two largest): expected half width of the interval with one and
        with two baselines, and how often a true change that matters will be distinguished from
        no change: "mostly" (8 of 10 times or more), "about half the time" (5 to 8 of 10), "seldom".
    """
    from cmjlab.plots.labels import metric_unit
    from cmjlab.stats.planning.planning import what_squad_shows
    from cmjlab.stats.planning.scenario import Scenario
    from cmjlab.stats.planning.sentences import design_phrase

    words = read_words()
    say = words.say
    matters = study.plan.change_that_matters.get(metric)
    unit = metric_unit(metric)
    rows: dict[tuple[str, str], dict[str, str]] = {}
    for title, sizes in _comparisons(study).items():
        shows = what_squad_shows(
            metric,
            reliability=reliability,
            group_sizes=sizes,
            scenario=Scenario(response_sd=(_RESPONSE,)),
            level=study.plan.level,
        )
        for point in shows.points["half_widths"].to_dict("records"):
            design = str(point["design"])
            if _belongs(design, sizes):
                what = str(design_phrase(design)) if design == _ALONE else title
                size = {say("squad.athletes"): _size(design, sizes)}
                cells = rows.setdefault((design, what), size)
                n = int(point["baselines"])
                known = words.count("squad.known_to", n)
                cells[known] = "±" + show(point["half_width"], _unit(metric))
                if matters:
                    seen = words.count("squad.seen", n, metric=metric, matters=matters)
                    cells[seen] = _seen(float(point["half_width"]) / matters)
    head = say("squad.design_unit", shown_unit=unit) if unit else say("squad.design")
    ordered = sorted(rows.items(), key=lambda item: item[0][0] != _ALONE)
    return pd.DataFrame(
        [
            {say("squad.what"): what, head: str(design_phrase(design)), **cells}
            for (design, what), cells in ordered
        ]
    )


def _seen(ratio: float) -> str:
    """Return in words how often a true change is distinguished from none: half width over change.

    Normal approximation: power is the normal distribution function at 1.96 / ratio - 1.96, which
    is .80 at a ratio of 0.70 and .50 at 1.
    """
    key = "mostly" if ratio <= 0.7 else "half" if ratio <= 1 else "seldom"
    return read_words().say(f"squad.{key}")


def _unit(metric: str) -> str:
    from cmjlab.catalog import METRICS

    return METRICS[metric].unit if metric in METRICS else ""


def _size(design: str, sizes: tuple[int, ...]) -> str:
    if design == _ALONE:
        return "1"
    return joined(sizes, read_words().say("word.and"))


def _belongs(design: str, sizes: tuple[int, ...]) -> bool:
    """A pair of groups shows the designs of two groups, a single one the rest."""
    return (design in _OF_TWO_GROUPS) == (len(sizes) == 2)


def _comparisons(study: Study) -> dict[str, tuple[int, ...]]:
    """Return what is compared -> athletes: all, each group, each against the control group."""
    names = study.athletes["group"].dropna().astype(str)
    counts = {
        str(k): int(n) for k, n in names[names != ""].value_counts(sort=False).items() if n > 1
    }
    everybody = max(2, len(study.athletes) or study.files["athlete"].nunique())
    say = read_words().say
    out: dict[str, tuple[int, ...]] = {say("squad.mean_of_all"): (everybody,)}
    out |= {
        say("squad.mean_of", group=group): (n,) for group, n in counts.items() if len(counts) > 1
    }
    control = study.plan.control_group
    if control in counts:
        pairs = [(g, control) for g in counts if g != control]
    else:
        first, second, *_ = [*sorted(counts, key=lambda g: -counts[g]), "", ""]
        pairs = [(first, second)] if second else []
    return out | {say("coach.pair", first=a, second=b): (counts[a], counts[b]) for a, b in pairs}
