"""The page of a season: the squad's week against own levels, and the trend of who returns."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab.catalog.direction import reading
from cmjlab.checks import one_of
from cmjlab.files.atomic_write import atomic_write
from cmjlab.plots.season import season_figure, week_picture
from cmjlab.report.blocks.format import number_text, title_with_unit
from cmjlab.report.blocks.season_table import urgency
from cmjlab.report.blocks.templates import stylesheet, template_engine
from cmjlab.results import Result, Sentence
from cmjlab.study.weeks import returning
from cmjlab.words.catalog import Words, read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

_ASYMMETRY = "_asymmetry_percent"


@dataclass(frozen=True)
class Line:
    """One athlete's week of one metric, as a row of the page."""

    athlete: str
    group: str
    numbers: tuple[str, ...]
    week: str
    season: str
    alarmed: bool
    concluded: bool
    picture: str
    alt: str


@dataclass(frozen=True)
class Part:
    """One metric of the squad: its table, and what is said above it."""

    title: str
    said: tuple[str, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Back:
    """One athlete who returns: the trend of height and asymmetry."""

    athlete: str
    said: tuple[str, ...]
    figure: str
    alt: str


@dataclass(frozen=True)
class SeasonPage:
    """Everything that the page shows, in words."""

    week: str
    parts: tuple[Part, ...]
    asymmetries: tuple[str, ...]
    backs: tuple[Back, ...]
    notes: tuple[str, ...]


def season_page(
    study: Study,
    result: Result,
    *,
    athletes_back: Sequence[str] | None = None,
    names: Mapping[str, str] | None = None,
) -> SeasonPage:
    """Return the page of the last week that was tested.

    Parameters
    ----------
    study : Study
    result : Result
        From ``Study.follow``.
    athletes_back : sequence of str, optional
        Whose trend is shown in full; default who returns by participation.csv.
    names : mapping of athlete to name, optional
        Shown beside the ids only when given.

    Raises
    ------
    ArgumentError
        An athlete who is not followed.
    """
    words = read_words(study.folder / "words.toml")
    points = result.points["weeks"]
    weeks = [str(w) for w in result.settings["weeks"]]
    tested = set(points["session"].astype(str))
    week = [w for w in weeks if w in tested][-1]
    plain = [m for m in result.settings["metrics"] if not str(m).endswith(_ASYMMETRY)]
    uneven = [m for m in result.settings["metrics"] if str(m).endswith(_ASYMMETRY)]
    followed = list(dict.fromkeys(points["athlete"].astype(str)))
    wanted = list(athletes_back) if athletes_back is not None else returning(study, weeks)
    if athletes_back is not None:
        for athlete in wanted:
            one_of("returning", athlete, followed)
    shown = {a: f"{a} · {names[a]}" if names and a in names else a for a in followed}
    return SeasonPage(
        _dated(study, week),
        tuple(_part(words, result, str(m), (week, weeks), shown) for m in plain),
        tuple(words.phrase(s) for s in result.sentences if s.metric in uneven),
        tuple(_back(words, result, a, shown[a]) for a in wanted if a in followed),
        tuple(words.phrase(n) for n in result.notes),
    )


def _dated(study: Study, week: str) -> str:
    rows = study.sessions
    date = rows.loc[rows["session"].astype(str) == week, "date"].iloc[0]
    return f"{week} ({date})" if pd.notna(date) and str(date) else week


def _part(
    words: Words, result: Result, metric: str, when: tuple[str, list[str]], shown: dict[str, str]
) -> Part:
    """Return the table of one metric: who stands out first, then the order of the study."""
    week, weeks = when
    points = result.points["weeks"]
    mine = points[points["metric"] == metric]
    lines = [
        (urgency(rows), _line(words, rows, week, weeks, shown[str(athlete)]))
        for athlete, rows in mine.groupby("athlete", sort=False)
    ]
    lines.sort(key=lambda pair: pair[0])
    said = [words.phrase(s) for s in result.sentences if s.metric == metric]
    squad = result.rows("squad_difference", metric=metric, session=week)
    for row in squad[squad["ci_low"].notna()].to_dict("records"):
        values = {"session": week, "n": int(row["n"]), "mean": row["estimate"],
                  "low": row["ci_low"], "high": row["ci_high"], "level": row["level"]}  # fmt: skip
        said.append(words.phrase(Sentence("season_page.squad", metric, values=values)))
    title = title_with_unit(words, "season_page.table_title", metric)
    return Part(title, tuple(said), tuple(line for _, line in lines))


def _line(words: Words, rows: pd.DataFrame, week: str, weeks: list[str], name: str) -> Line:
    metric = str(rows["metric"].iloc[0])
    here = rows[rows["session"].astype(str) == week]
    last: dict[Any, Any] = rows.iloc[-1].to_dict()
    group = "" if pd.isna(last["group"]) else str(last["group"]).replace("_", " ")
    picture = week_picture(rows, weeks)
    level = number_text(metric, float(last["own_level"]))
    limits = f"±{number_text(metric, float(last['alarm_half']))}"
    season = _season(words, metric, last)
    if here.empty:
        numbers = ("–", level, "–", limits)
        return Line(name, group, numbers, words.say("season_page.not_tested"), season,
                    False, bool(last["conclusion"]), picture.svg(), picture.alt_text)  # fmt: skip
    row = here.iloc[0]
    numbers = (
        number_text(metric, float(row["value"])),
        level,
        number_text(metric, float(row["difference"]), signed=True),
        limits,
    )
    alarm = words.say(f"season_page.alarm_{row['alarm'] or 'inside'}")
    return Line(
        name, group, numbers, alarm, season, bool(row["alarm"]), bool(last["conclusion"]),
        picture.svg(), picture.alt_text,
    )  # fmt: skip


def _season(words: Words, metric: str, last: Mapping[Any, Any]) -> str:
    """Return the conclusion that stands, and whether it is for better or worse."""
    side = last["conclusion"]
    if not side:
        return words.say("season_page.season_inside")
    mean, half = float(last["mean"]), float(last["mean_half"])
    good = reading(metric, mean - half, mean + half)
    key = f"season_page.season_{side}" + (f"_{good}" if good in ("better", "worse") else "")
    return words.say(key, since=last["since"])


def _back(words: Words, result: Result, athlete: str, name: str) -> Back:
    points = result.points["weeks"]
    mine = points[points["athlete"] == athlete]
    said = []
    for metric, rows in mine.groupby("metric", sort=False):
        last = rows.iloc[-1]
        values = {
            "athlete": name, "session": last["session"], "difference": float(last["difference"]),
            "alarm": float(last["alarm_half"]), "first": rows["session"].iloc[0],
            "started": float(rows["difference"].iloc[0]),
        }  # fmt: skip
        key = "season_page.back" if len(rows) > 1 else "season_page.back_once"
        side = str(last["alarm"]) or "inside"
        said.append(words.phrase(Sentence(f"{key}_{side}", str(metric), values=values)))
    mine_said = [s for s in result.sentences if s.values.get("athlete") == athlete]
    said += [words.phrase(s) for s in mine_said]
    figure = season_figure(result, athlete)
    return Back(name, tuple(said), figure.svg(), figure.alt_text)


def write_season_page(
    study: Study,
    result: Result,
    out: str | os.PathLike[str] | None = None,
    *,
    athletes_back: Sequence[str] | None = None,
    names: Mapping[str, str] | None = None,
) -> Path:
    """Write the page of a season; see :func:`season_page`.

    Parameters
    ----------
    study : Study
    result : Result
        From ``Study.follow``.
    out : path, optional
        HTML file; default ``follow.html`` in the results folder.
    athletes_back, names
        As :func:`season_page` takes them.

    Returns
    -------
    Path
    """
    from cmjlab import __version__

    page = season_page(study, result, athletes_back=athletes_back, names=names)
    words = read_words(study.folder / "words.toml")
    text = template_engine().get_template("season.html.j2").render(
        title=study.title, page=page, words=words.part("season_page"),
        cautions=words.part("cautions"), language=words.say("page.language"),
        version=__version__, css=stylesheet("sheet.css"),
    )  # fmt: skip
    path = Path(out) if out is not None else Path(study.results) / "follow.html"
    atomic_write(path, text)
    return path
