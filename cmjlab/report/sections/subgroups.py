"""How the squad was split: rules and cuts, whether strength goes with height, how sure it is."""

from __future__ import annotations

import pandas as pd

from cmjlab.plots.labels import value_text
from cmjlab.plots.squad import relation_figure
from cmjlab.report.blocks.data import Block, Heading, Items, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import with_labels
from cmjlab.report.blocks.rule_words import rule_words
from cmjlab.report.blocks.subgroup_tables import placement_table
from cmjlab.report.build.context import Context
from cmjlab.report.build.subgroups import StudySubgroups
from cmjlab.results import Result, Sentence
from cmjlab.stats.common.measures import ALL, STRENGTH

#: What the cut adds to the line: for the full form.
_ADDS = ("threshold.adds_something", "threshold.adds_nothing")
#: The figure of the section before, which shows strength and height too.
_SEEN = "squad"
#: Notes of a placement that stand elsewhere in the report, or are sentences here.
_SAID_ELSEWHERE = ("selected_on_baseline", "measure_explained", "no_subgroup")


def subgroups_section(context: Context) -> Section | None:
    """Return how the squad was split; None when there are neither rules nor strength values."""
    found = context.split
    return None if found is None else split_section(context, found)


def split_section(context: Context, found: StudySubgroups) -> Section | None:
    """Return the section of subgroups that were analysed already."""
    if context.study.subgroups.empty and "strength" not in found.results:
        return None
    blocks = [*_rules(context, found), *_strength(context, found), *_certain(context, found)]
    return Section("subgroups", context.words.say("titles.subgroups"), tuple(blocks))


# ---- the rules -------------------------------------------------------------------------


def _rules(context: Context, found: StudySubgroups) -> list[Block]:
    say = context.words.say
    if context.study.subgroups.empty:
        return []
    result = found.results.get("placement")
    if result is None:
        why = with_labels(found.reasons["placement"])
        return [Paragraph(say("split_page.missing", why=why), "note")]
    people = result.points["placements"]
    context.tables["subgroups"] = people
    placed = say("split_page.placed", athletes=len(people), session=found.session)
    return [Paragraph(placed), _rules_table(context, result), *_differences(context, found)]


def _rules_table(context: Context, result: Result) -> TableBlock:
    """Return one row per rule, and one for those whom no rule places for good."""
    say, words = context.words.say, context.words
    people, cuts = result.points["placements"], result.points["cuts"]
    rules = result.points["rules"]
    relative = bool((cuts["place"] != "").any())
    rows = []
    for row in rules.drop_duplicates("subgroup").to_dict("records"):
        group = str(row["subgroup"])
        mine = rules[rules["subgroup"] == group]
        text = f" {say('word.or')} ".join(rule_words(r, words) for r in mine["rule"])
        cells = [group, text]
        if relative:
            cells.append(_cut_cell(context, cuts[cuts["subgroup"] == group]))
        why = "; ".join(dict.fromkeys(r for r in mine["reason"] if r))
        by_rules = people[people["by_rules"] == group]
        known = by_rules[by_rules["call"] != "unknown"]
        clear = say("split_page.clear_unknown")
        if len(known):
            clear = say("split_page.clear_of", clear=int((known["call"] == "clear").sum()), known=len(known))  # fmt: skip
        rows.append((*cells, why, str(len(by_rules)), clear))
    heads = [say("columns.group"), say("split_page.column_rule")]
    heads += [say("split_page.column_cut")] if relative else []
    heads += [say("split_page.column_why"), say("split_page.column_athletes"),
              say("split_page.column_clear", sure=result.settings["sure"])]  # fmt: skip
    numeric = (*[False] * (len(heads) - 2), True, True)
    strata = [s for s in dict.fromkeys(people["stratum"].astype(str)) if s != ALL]
    note = say("split_page.within", strata=strata) if len(strata) > 1 else ""
    return TableBlock(say("split_page.title"), tuple(heads), tuple(rows), numeric, note)


def _cut_cell(context: Context, cuts: pd.DataFrame) -> str:
    """Return the values of relative cuts, per stratum where there are several."""
    say = context.words.say
    several = cuts.loc[cuts["place"] != "", "stratum"].nunique() > 1
    key = "split_page.cut_of_stratum" if several else "split_page.cut"
    out = [
        context.words.phrase(Sentence(key, values={
            "metrics": row["metric"], "stratum": row["stratum"],
            "cut": value_text(str(row["metric"]), row["cut"]),
        }))
        for row in cuts[cuts["place"] != ""].to_dict("records")
    ]  # fmt: skip
    return "; ".join(out) or say("split_page.no_cut")


def _differences(context: Context, found: StudySubgroups) -> list[Block]:
    """Return for whom athletes.csv names another group than the rules."""
    say, differ = context.words.say, found.differences
    if differ.empty:
        return []
    empty = say("split_page.empty")
    who = [
        say("split_page.differ_one", athlete=context.athlete_said(str(r.athlete)),
            roster=r.roster or empty, subgroup=r.subgroup or empty)
        for r in differ.itertuples()
    ]  # fmt: skip
    return [Paragraph(say("split_page.differ", athletes=", ".join(who)), "note")]


# ---- strength and height ---------------------------------------------------------------


def _strength(context: Context, found: StudySubgroups) -> list[Block]:
    """Return whether relative strength goes with jump height, and what the cut adds."""
    say, result = context.words.say, found.results.get("strength")
    if result is None:
        return []
    context.tables["subgroups_strength"] = result.table
    said = [context.words.phrase(s) for s in result.sentences]
    threshold = found.results.get("threshold")
    if threshold is not None:
        context.tables["subgroups_threshold"] = threshold.table
        skip = ("threshold.correlation", *(() if context.full else _ADDS))
        said += [context.words.phrase(s) for s in threshold.sentences if s.key not in skip]
    placement = found.results.get("placement")
    groups, cuts = None, None
    if placement is not None:
        people = placement.points["placements"]
        groups = dict(zip(people["athlete"], people["subgroup"], strict=True))
        cuts = placement.points["cuts"]
        cuts = cuts[cuts["metric"] == STRENGTH]
    figures: list[Block] = []
    if context.full or _SEEN not in context.figures:  # else the squad's own figure shows it
        figure = relation_figure(result, groups=groups, order=context.study.groups, cuts=cuts)
        level = result.settings["level"]
        caption = say("split_page.strength_figure", session=found.session, level=level)
        figures = [context.figure("strength_and_height", figure, caption)]
    return [
        Heading(say("split_page.strength_heading")),
        Items(tuple(said), see=() if figures else (_SEEN,)),
        *figures,
        Paragraph(say("split_page.strength_caution"), "note"),
    ]


# ---- how certain -----------------------------------------------------------------------


def _certain(context: Context, found: StudySubgroups) -> list[Block]:
    """Return how many placements are certain, and once who is too close to call."""
    say, result = context.words.say, found.results.get("placement")
    if result is None:
        return []
    said = [context.words.phrase(s) for s in result.sentences if s.key != "placement.placed"]
    notes = [context.words.phrase(n) for n in result.notes if n.code not in _SAID_ELSEWHERE]
    without = [context.words.phrase(n) for n in result.notes if n.code == "no_subgroup"]
    blocks: list[Block] = [
        Heading(say("split_page.certain_heading")),
        Paragraph(say("split_page.certain_means"), "note"),
        Items((*said, *without)),
    ]
    if context.full:
        blocks.append(_everybody(context, result))
    if notes:
        blocks.append(Items(tuple(notes), small=True))
    return blocks


def _everybody(context: Context, result: Result) -> TableBlock:
    table = placement_table(result, context.words)
    rows = tuple(
        (context.athlete_name(str(r[0])), *map(str, r[1:])) for r in table.itertuples(index=False)
    )
    numeric = tuple("%" in "".join(map(str, table[c])) for c in table.columns)
    return TableBlock(context.words.say("split_page.table_title"), tuple(map(str, table.columns)), rows, numeric)  # fmt: skip
