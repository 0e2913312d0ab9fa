"""Targets on the page for coaches: one row each, a sentence per subgroup, what to do next."""

from __future__ import annotations

import re
from typing import Any

import pandas as pd

from cmjlab.catalog.direction import reading
from cmjlab.plots.style import group_looks
from cmjlab.plots.targets import no_picture, target_picture
from cmjlab.report.blocks.data import Block, FigureBlock, Items, Paragraph, TableBlock
from cmjlab.report.blocks.format import Estimate, cell, number_text
from cmjlab.report.build.context import Context
from cmjlab.report.sections.stopped import athlete_stops, not_shown, sort_targets, target_stops
from cmjlab.results import Reason, Result, Sentence, stored_values
from cmjlab.study.check.doubt import Doubt

_BRACKET = re.compile(r" \([^()]*\)$")
#: Verdicts that ask for something to be done, most pressing first.
_NEXT = ("opposite", "not_reached", "changed", "partly", "cannot_tell", "unchanged_not_shown",
         "reached")  # fmt: skip
#: Verdicts whose interval may lie wholly beyond the amount.
_WITH_SURELY = ("reached", "opposite", "changed")


def short_name(context: Context, metric: str) -> str:
    """Return the words for a measure without what stands in brackets behind, where that is clear."""
    label = context.words.label
    others = context.study.targets["metric"].dropna().astype(str)
    short = _BRACKET.sub("", label(metric))
    alike = [m for m in others if m != metric and _BRACKET.sub("", label(m)) == short]
    return label(metric) if alike else short


def target_blocks(context: Context, result: Result) -> list[Block]:
    """Return the table of the targets, a sentence per subgroup, and what both rest on."""
    answers = result.points["targets"]
    context.tables["targets"] = _marked(context, answers)
    rows = answers.to_dict("records")
    standing, _ = sort_targets(context, rows)
    return [
        Items(tuple(_subgroup_sentences(context, rows))),
        _table(context, result, rows),
        *_disagreements(context, standing),
    ]


def _marked(context: Context, answers: pd.DataFrame) -> pd.DataFrame:
    """Return the answers, with a column that says what stops a row where anything does."""
    keys = [
        " ".join(d.key for d in target_stops(context, row)) for row in answers.to_dict("records")
    ]
    return answers.assign(stopped=keys) if any(keys) else answers


# ---- the table -------------------------------------------------------------------------


def _table(context: Context, result: Result, rows: list[dict[Any, Any]]) -> TableBlock:
    say, study = context.words.say, context.study
    control = result.settings["control"]
    looks = group_looks(pd.Series([r["subgroup"] for r in rows]), result.settings["groups"])
    heads = [say(f"target_page.head_{c}") for c in ("target", "wanted", "answer")]
    heads.append(
        say("target_page.head_against", control=control)
        if control
        else say("target_page.head_within")
    )
    heads.append(say("target_page.head_athletes"))
    return TableBlock(
        say("target_page.title", before=study.before, after=study.after),
        tuple(heads),
        tuple(_cells(context, row) for row in rows),
        (False, False, False, True, True),
        _note(context, len(rows)),
        pictures=tuple(_picture(context, n, row, looks) for n, row in enumerate(rows, start=1)),
        picture_head=say("target_page.head_picture"),
    )


def _cells(context: Context, row: dict[Any, Any]) -> tuple[str, ...]:
    say = context.words.say
    named = say(
        "target_page.target", group=row["subgroup"], name=short_name(context, str(row["metric"]))
    )
    doubts = target_stops(context, row)
    if doubts:
        wanted = context.words.phrase(_wanted(row))
        return named, wanted, not_shown(context, doubts), "–", "–"
    known = pd.notna(row["athletes_known"])
    athletes = (
        say("target_page.athletes", beyond=int(row["athletes_beyond"]), known=int(row["athletes_known"]))
        if known
        else "–"
    )  # fmt: skip
    return (
        named,
        context.words.phrase(_wanted(row)),
        context.words.phrase(_verdict(row)),
        _change(context, row),
        athletes,
    )


def _wanted(row: dict[Any, Any]) -> Sentence:
    key = f"target_page.wanted_{row['wanted']}"
    amount = row["amount"]
    return Sentence(
        key if pd.notna(amount) else f"{key}_open", row["metric"], values={"amount": amount}
    )


def _verdict(row: dict[Any, Any]) -> Sentence:
    sure = "_surely" if row["surely"] and row["verdict"] in _WITH_SURELY else ""
    return Sentence(f"target_verdict.{row['verdict']}{sure}", row["metric"])


def _change(context: Context, row: dict[Any, Any]) -> str:
    """Return the change with its interval and unit, or why there is none."""
    words = context.words
    if pd.isna(row["change_low"]):
        code = row["reason_code"]
        values = {"group": row["subgroup"], **stored_values(row)}
        why = Reason(str(code), values) if pd.notna(code) else None
        return words.phrase(why) if why else words.say("cell.not_estimable")
    size = _estimate(row, "change")
    text = cell(words, size, signed=True)
    unit = words.phrase(
        Sentence("target_page.in_unit", row["metric"], values={"change": size.estimate})
    )
    shown = number_text(size.metric, size.estimate, signed=True)
    text = text.replace(shown, unit.replace(" ", "\u00a0"), 1)
    within = row["basis"] == "within" and context.study.plan.control_group
    return words.say("target_page.within", change=text) if within else text


def _estimate(row: dict[Any, Any], name: str) -> Estimate:
    estimate, low, high = (float(row[c]) for c in (name, f"{name}_low", f"{name}_high"))
    return Estimate(str(row["metric"]), estimate, low, high, int(row["n"]))


def _picture(
    context: Context, number: int, row: dict[Any, Any], looks: dict[str, dict[str, Any]]
) -> FigureBlock:
    doubts = target_stops(context, row)
    if doubts:
        return context.figure(f"target_{number}", no_picture(not_shown(context, doubts)), "")
    return context.figure(f"target_{number}", target_picture(row, looks[str(row["subgroup"])]), "")


def _note(context: Context, n: int) -> str:
    say = context.words.say
    several = say("target_page.note_together", n=n, level=context.study.plan.level) if n > 1 else ""
    return " ".join(t for t in (say("target_page.note_picture"), several) if t)


# ---- sentences -------------------------------------------------------------------------


def _subgroup_sentences(context: Context, rows: list[dict[Any, Any]]) -> list[str]:
    """Return one sentence per subgroup: measures with the same answer are named together."""
    out = []
    for group, mine in _by(rows, "subgroup").items():
        standing, stopped = sort_targets(context, mine)
        parts = [
            context.words.phrase(_short(context, code, alike))
            for code, alike in _by(standing, "verdict").items()
        ]
        parts += _left_out(context, stopped)
        out.append(context.words.say("target_page.subgroup", group=group, said="; ".join(parts)))
    return out


def _left_out(
    context: Context, stopped: list[tuple[dict[Any, Any], tuple[Doubt, ...]]]
) -> list[str]:
    """Return which measures of a subgroup are not answered, and why; the same reason stands once."""
    names: dict[str, list[str]] = {}
    for row, doubts in stopped:
        why = not_shown(context, doubts)
        names.setdefault(why, []).append(short_name(context, str(row["metric"])))
    return [context.words.say("stopped.target", names=n, why=why) for why, n in names.items()]


def _by(rows: list[dict[Any, Any]], column: str) -> dict[str, list[dict[Any, Any]]]:
    """Return the rows by their value in a column, in the order of appearance."""
    out: dict[str, list[dict[Any, Any]]] = {}
    for row in rows:
        out.setdefault(str(row[column]), []).append(row)
    return out


def _short(context: Context, code: str, rows: list[dict[Any, Any]]) -> Sentence:
    """Return what is said of all measures of a subgroup with one verdict."""
    names = [short_name(context, str(r["metric"])) for r in rows]
    moved = [_moved(r) for r in rows if pd.notna(r["change"])]
    return Sentence(
        f"target_short.{code}", values={"n": len(names), "names": names, "moved": moved}
    )


def _moved(row: dict[Any, Any]) -> Sentence:
    values = {"change": row["change"], "control": row["control"]}
    return Sentence(f"target_page.moved_{row['basis']}", str(row["metric"]), values=values)


def _disagreements(context: Context, rows: list[dict[Any, Any]]) -> list[Block]:
    """Return the other estimate where it answers differently, with why it can."""
    words, parts = context.words, []
    for row in rows:
        if pd.isna(row["agree"]) or row["agree"]:
            continue
        values = {
            "group": row["subgroup"],
            "name": short_name(context, str(row["metric"])),
            "main": context.words.statistic(row["statistic"]),
            "other": context.words.statistic(row["other_statistic"]),
            "main_change": row["change"],
            "change": row["other"],
            "low": row["other_low"],
            "high": row["other_high"],
            "verdict": Sentence(f"target_verdict.{row['other_verdict']}"),
        }
        parts.append(words.phrase(Sentence("target_page.apart", row["metric"], values=values)))
    if not parts:
        return []
    return [Paragraph(" ".join([*parts, words.say("target_page.why_apart")]))]


# ---- what to do next -------------------------------------------------------------------


def target_advice(context: Context, result: Result) -> list[str]:
    """Return what follows from the targets: one point per verdict, measures and groups named."""
    say = context.words.say
    rows, _ = sort_targets(context, result.points["targets"].to_dict("records"))
    out = []
    for code in _NEXT:
        mine = [r for r in rows if r["verdict"] == code and pd.notna(r["detectable"])]
        if not mine:
            continue
        named = [
            say("target_page.named", group=g, names=[short_name(context, str(r["metric"])) for r in alike])
            for g, alike in _by(mine, "subgroup").items()
        ]  # fmt: skip
        sizes = [
            Sentence("target_page.seen", r["metric"], values={"size": r["detectable"]})
            for r in mine
        ]
        out.append(say(f"target_next.{code}", targets="; ".join(named), sizes=sizes))
    return out


def wrong_way(context: Context, result: Result) -> list[str]:
    """Return whom to talk with: athletes who moved against the target by more than their noise."""
    people = context.analyses.result("change_individual")
    if people is None:
        return []
    changes = people.rows("individual_change")
    roster = context.study.athletes.drop_duplicates("athlete").set_index("athlete")["group"]
    changes = changes.assign(group=changes["athlete"].map(roster))
    out = []
    for row in result.points["targets"].to_dict("records"):
        metric, wanted = str(row["metric"]), str(row["wanted"])
        if wanted == "unchanged":
            continue
        mine = changes[(changes["metric"] == metric) & (changes["group"] == row["subgroup"])]
        limits = zip(mine["athlete"], mine["ci_low"], mine["ci_high"], strict=True)
        worse = [str(a) for a, low, high in limits
                 if reading(metric, low, high, wanted=wanted) == "worse"
                 and not athlete_stops(context, str(a), metric)]  # fmt: skip
        if worse:
            names = context.athlete_names(worse)
            name = short_name(context, metric)
            out.append(context.words.say("target_page.person", athletes=names, name=name))
    return out
