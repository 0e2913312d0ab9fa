"""The squad at one glance: two scatter plots, and a row per athlete."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from cmjlab.errors import CmjlabError
from cmjlab.plots.change_bar import WIDTH_CM, change_bar
from cmjlab.plots.labels import metric_unit, value_text
from cmjlab.plots.squad import squad_scatter
from cmjlab.report.blocks.data import Block, FigureBlock, Items, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import number_text
from cmjlab.report.build.context import Context
from cmjlab.report.build.squad import StudySquad, study_squad
from cmjlab.report.sections.targets import short_name

_NBSP = "\u00a0"
_NEARLY = 0.99
#: The measure whose percentile stands in the table; those of the others are in the CSV table.
_PLACED = "jump_height_m"


def squad_section(context: Context) -> Section | None:
    """Return the squad at one glance; None when no athlete has a value."""
    if context.split is None:
        return None
    try:
        changes = context.analyses.result("change_individual")
        squad = study_squad(context.study, groups=context.split, changes=changes)
    except CmjlabError:
        return None
    blocks = squad_blocks(context, squad, everybody=context.full)
    return Section("squad", context.words.say("titles.squad"), tuple(blocks))


def squad_blocks(context: Context, squad: StudySquad, *, everybody: bool = True) -> list[Block]:
    """Return the scatter plots and the table of the squad with what both rest on.

    Parameters
    ----------
    context : Context
    squad : StudySquad
    everybody : bool
        Show the row of every athlete.
    """
    say = context.words.say
    context.tables["squad"] = squad.places.points["squad"]
    blocks: list[Block] = []
    if squad.pairs:
        figure = squad_scatter(
            squad.table, squad.pairs, errors=squad.places.settings["typical_errors"],
            cuts=squad.cuts, line=squad.line, order=context.study.groups, labelled=_too_close(squad),
        )  # fmt: skip
        caption = say("squad_page.figure", session=squad.session)
        blocks.append(context.figure("squad", figure, caption))
    intro = say("squad_page.intro", n=len(squad.table), session=squad.session)
    if not everybody:
        return [Paragraph(f"{intro} {say('squad_page.rows_elsewhere')}"), *blocks]
    table = _table(context, squad)
    said = [context.words.phrase(s) for s in squad.places.sentences if s.metric == _PLACED]
    notes = [context.words.phrase(n) for n in squad.places.notes if n.code != "measure_explained"]
    return [Paragraph(intro), *blocks, table, Items((*said, *dict.fromkeys(notes)), small=True)]


def _too_close(squad: StudySquad) -> list[str]:
    """Return who gets an id in the plots: those whose placement may go either way."""
    placement = squad.groups.results.get("placement")
    if placement is None:
        return []
    people = placement.points["placements"]
    return list(people.loc[people["call"] == "close", "athlete"])


# ---- the table -------------------------------------------------------------------------


def _table(context: Context, squad: StudySquad) -> TableBlock:
    say = context.words.say
    people = squad.table
    groups = list(context.study.groups)
    rank = {g: i for i, g in enumerate(groups)}
    people = people.assign(_rank=[rank.get(g, len(rank)) for g in people["group"]])
    people = people.sort_values(["_rank", "athlete"], kind="stable")
    frame = squad.places.points["squad"]
    placed = frame[frame["metric"] == _PLACED].set_index("athlete")
    compared = bool(frame["reference_percentile"].notna().any())
    grouped, certain = bool((people["group"] != "").any()), people["certainty"].notna().any()
    heads = [say("columns.athlete")]
    heads += [say("columns.group")] if grouped else []
    heads += [say("squad_page.certain")] if certain else []
    heads += [_head(context, m) for m in squad.metrics]
    heads += [say("squad_page.percentile")] if len(placed) else []
    heads += [say("squad_page.reference")] if compared else []
    rows = []
    for row in people.to_dict("records"):
        athlete = str(row["athlete"])
        cells = [context.athlete_name(athlete)]
        cells += [str(row["group"]) or "–"] if grouped else []
        cells += [_percent(row["certainty"])] if certain else []
        cells += [_value(m, row[m]) for m in squad.metrics]
        cells += [_range(context, placed, athlete)] if len(placed) else []
        cells += [_in_reference(context, frame, athlete)] if compared else []
        rows.append(tuple(cells))
    changes = _changes(context, squad)
    words_first = 1 + grouped
    pictures = tuple(_bar(context, a, changes) for a in people["athlete"]) if changes else ()
    return TableBlock(
        say("squad_page.title", session=squad.session), tuple(heads), tuple(rows),
        (*[False] * words_first, *[True] * (len(heads) - words_first - compared), *[False] * compared),
        say("squad_page.bars", metric=squad.study.plan.primary_metric, reach=_reach(changes),
            before=squad.study.before, after=squad.study.after) if changes else "",
        pictures=pictures,
        picture_head=say("squad_page.bar_head") if changes else "",
    )  # fmt: skip


def _head(context: Context, metric: str) -> str:
    unit = metric_unit(metric)
    short = context.words.part("squad_head").get(metric) or short_name(context, metric)
    return short + (f" ({unit})" if unit else "")


def _value(metric: str, value: float) -> str:
    if metric_unit(metric) or not math.isfinite(value):
        return number_text(metric, value)
    return f"{value:.2f}"


def _percent(share: float) -> str:
    """Return a share as percent; what is drawn is never called sure to the last percent."""
    if share > _NEARLY:
        return f">{_NBSP}99{_NBSP}%"
    return f"{100 * share:.0f}{_NBSP}%" if math.isfinite(share) else "–"


def _range(context: Context, placed: pd.DataFrame, athlete: str) -> str:
    """Return a percentile with its likely range."""
    if athlete not in placed.index or not math.isfinite(placed.loc[athlete, "percentile"]):
        return "–"
    row = placed.loc[athlete]
    if not math.isfinite(row["percentile_low"]):
        return f"{row['percentile']:.0f}"
    return context.words.say(
        "cell.estimate", estimate=f"{row['percentile']:.0f}",
        low=f"{row['percentile_low']:.0f}", high=f"{row['percentile_high']:.0f}",
    ).replace(" ", _NBSP)  # fmt: skip


def _in_reference(context: Context, frame: pd.DataFrame, athlete: str) -> str:
    """Return the percentiles of an athlete in the reference, measure by measure."""
    mine = frame[(frame["athlete"] == athlete) & frame["reference_percentile"].notna()]
    said = [
        context.words.say("squad_page.reference_cell", measures=m, percentile=p)
        for m, p in zip(mine["metric"], mine["reference_percentile"], strict=True)
    ]
    return "; ".join(said) or "–"


# ---- the bars --------------------------------------------------------------------------


def _changes(context: Context, squad: StudySquad) -> dict[str, dict[str, float]]:
    """Return change and half its interval of every athlete in the primary measure."""
    if squad.changes is None:
        return {}
    rows = squad.changes.rows("individual_change")
    rows = rows[(rows["metric"] == context.study.plan.primary_metric) & rows["estimate"].notna()]
    return {
        str(r["athlete"]): {"change": float(r["estimate"]), "noise": float(r["ci_high"] - r["ci_low"]) / 2}
        for r in rows.to_dict("records")
    }  # fmt: skip


def _reach(changes: dict[str, dict[str, float]]) -> float:
    """Return the value at the ends of the bars' axis."""
    sizes = [abs(v) for c in changes.values() for v in c.values() if math.isfinite(v)]
    return max(sizes, default=1.0) or 1.0


def _bar(context: Context, athlete: str, changes: dict[str, dict[str, float]]) -> FigureBlock:
    metric = context.study.plan.primary_metric
    mine: dict[str, Any] = changes.get(athlete, {"change": math.nan, "noise": math.nan})
    change, noise = float(mine["change"]), float(mine["noise"])
    say = context.words.say
    if not math.isfinite(change):
        alt = say("squad_page.bar_none")
    else:
        key = "squad_page.bar_beyond" if abs(change) > noise else "squad_page.bar_within"
        alt = say(
            key, change=value_text(metric, change, signed=True), noise=value_text(metric, noise)
        )
    svg = change_bar(change, noise, _reach(changes))
    return FigureBlock(f"change_{athlete}", "", alt, svg, WIDTH_CM)
