"""The command subgroups: evidence, placements, block sheets, pages for athletes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, measured
from cmjlab.cli.private import names_of

if TYPE_CHECKING:
    from cmjlab.report.build.subgroups import StudySubgroups
    from cmjlab.study.study import Study


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="Subgroups by your rules, block sheets, pages for athletes.")(subgroups)


def subgroups(
    study: StudyPath = HERE,
    pages: Annotated[
        bool, typer.Option(help="Write block sheets and a page per athlete (HTML, A4).")
    ] = True,
    within: Annotated[
        list[str] | None,
        typer.Option(help="Roster column with its own spread and cuts, besides sex; repeat."),
    ] = None,
    reference: Annotated[
        Path | None,
        typer.Option(
            help="Another reference table than reference.csv: metric, mean, sd or p5 …, source."
        ),
    ] = None,
    people: Annotated[
        bool,
        typer.Option("--names", help="Show the names of names.csv on block sheets and pages."),
    ] = False,
    each: Annotated[
        bool, typer.Option("--each", help="Write a block sheet for every athlete, too.")
    ] = False,
    results: Results = None,
) -> None:
    """Place athletes into subgroups by the rules of subgroups.csv, and say how sure it is."""
    with say.plain_errors():
        from cmjlab.errors import StatsError
        from cmjlab.files.table import read_table
        from cmjlab.report.build.subgroups import study_subgroups

        opened = measured(study, results)
        table = None if reference is None else read_table(reference)
        found = study_subgroups(opened, within=["sex", *(within or ())], reference=table)
        _evidence(found)
        if "placement" not in found.results:
            raise StatsError(f"no placement: {found.reasons['placement']}")
        _placement(found)
        _write(found, opened)
        if pages:
            _pages(found, opened, people, each)
        say.line()
        say.line(say.CAUTION)


#: Parts of the evidence, in words.
_EVIDENCE = {
    "threshold": "evidence for the cut",
    "measures": "repeatability of the measures",
    "split": "repeatability of the split",
    "standing": "each athlete's place in the squad",
    "force_distance": "force–distance balance",
}


def _evidence(found: StudySubgroups) -> None:
    """Print what speaks for a split, and what does not, before any placement."""
    say.line("Evidence first")
    results = [found.results[n] for n in ("threshold", "measures", "split") if n in found.results]
    for text in dict.fromkeys(str(s) for r in results for s in r.sentences):
        say.line(f"- {text}")
    for text in dict.fromkeys(n.text for r in results for n in r.notes):
        say.line(f"  note: {text}")
    for name, words in _EVIDENCE.items():
        if name in found.reasons and name not in found.results:
            say.line(f"- {words}: not available: {found.reasons[name]}")


def _placement(found: StudySubgroups) -> None:
    """Print one row per athlete with probabilities, then sentences, notes and balance."""
    from cmjlab.report.blocks.subgroup_tables import balance_table, placement_table

    result = found.results["placement"]
    say.line()
    say.line(f"How certain each placement is, from the values in {found.session}")
    say.table(placement_table(result))
    say.line()
    for text in result.sentences:
        say.line(str(text))
    for note in result.notes:
        say.line(f"note: {note.text}")
    say.line()
    say.line("Subgroups before the block")
    say.table(balance_table(result))
    say.line()


def _write(found: StudySubgroups, study: Study) -> None:
    """Write the placements, all estimates and the record of how the groups came about."""
    from cmjlab.files.atomic_write import atomic_write
    from cmjlab.files.table import write_table
    from cmjlab.safe_names import file_in

    study.results.mkdir(parents=True, exist_ok=True)
    result = found.results["placement"]
    tables = {
        "subgroups.csv": result.points["placements"],
        "subgroups_statistics.csv": result.table,
    }
    tables |= {
        f"subgroups_{name}.csv": found.results[name].table
        for name in ("threshold", "measures", "split", "standing")
        if name in found.results
    }
    for name, table in tables.items():
        path = file_in(study.results, name)
        write_table(table, path)
        say.line(f"table: {path}")
    path = file_in(study.results, "subgroups_record.json")
    atomic_write(path, json.dumps(dict(result.settings), indent=2, ensure_ascii=False) + "\n")
    say.line(f"record: {path}")
    _compare(found)


def _compare(found: StudySubgroups) -> None:
    """Say whether athletes.csv and study.toml tell the same as the rules."""
    differ = found.differences
    if len(differ):
        who = ", ".join(
            f"{r.athlete} ({r.roster or 'empty'} there, {r.subgroup or 'none'} here)"
            for r in differ.itertuples()
        )
        say.line(
            f"note: column group of athletes.csv differs for {who}. Analyses of change use that column."
        )
    record = found.results["placement"].settings["record"]
    plan = found.study.plan
    same = (
        plan.groups_formed == record["formed"]
        and set(plan.selected_on) == set(record["selected_on"])
        and plan.selected_in == record["selected_in"]
    )
    if not same and record["formed"] == "selected":
        on = ", ".join(f'"{m}"' for m in record["selected_on"])
        say.line(
            "note: study.toml says otherwise how the groups came about; for these rules [plan] needs"
            f' groups_formed = "selected", selected_on = [{on}], selected_in = "{record["selected_in"]}".'
        )


def _pages(found: StudySubgroups, study: Study, people: bool, each: bool) -> None:
    """Write block sheets and athletes' pages; without block.csv the sheets are left out, and told."""
    from cmjlab.report.sheets.athlete import write_athlete_summaries
    from cmjlab.report.sheets.block import write_block_sheets
    from cmjlab.report.sheets.block_each import write_person_sheets

    names = names_of(study) if people else None
    if study.block.empty:
        say.line("note: no block sheets, because block.csv has no rows.")
    else:
        path = write_block_sheets(study, groups=found, names=names)
        say.line(f"block sheets: {path} (print on A4)")
        if each:
            say.line(
                f"one sheet per athlete: {write_person_sheets(study, groups=found, names=names)}"
            )
    written = write_athlete_summaries(study, groups=found, names=names)
    say.line(f"athletes' pages: {len(written)} in {written[0].parent}")
