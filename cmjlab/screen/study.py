"""A Study on the screen: who was tested when, and what to ask it."""

from __future__ import annotations

from cmjlab.screen.card import Card, Grid
from cmjlab.study.folder.study_folder import StudyFolder
from cmjlab.words.catalog import read_words


def study_card(study: StudyFolder) -> Card:
    """Return what is shown of a study; nothing is measured for it, and no name of a person is shown."""
    words = read_words()
    say = words.say
    roster, files = study.athletes, study.files
    lines = [say("screen.people", athletes=roster["athlete"].nunique(), files=len(files))]
    sizes = roster["group"].dropna().astype(str).value_counts() if len(roster) else {}
    named = [f"{g} ({sizes[g]})" for g in study.groups if g in sizes]
    if named:
        lines.append(say("screen.groups", what=", ".join(named)))
    metric = words.label(study.plan.primary_metric)
    block = (
        say("screen.block", before=study.before, after=study.after, metric=metric)
        if study.before and study.after
        else say("screen.no_block", metric=metric)
    )
    last = [say("screen.ask"), say("screen.care")]
    if len(study.problems):
        last.insert(0, words.count("screen.problems", len(study.problems)))
    return Card(
        say("screen.study", title=study.title), (*lines, block), _sessions(study), last=tuple(last)
    )


def _sessions(study: StudyFolder) -> Grid:
    """Return the sessions in order with their roles, days, recordings and athletes."""
    say = read_words().say
    head = tuple(say(f"screen.{c}") for c in ("session", "role", "date", "recordings", "tested"))
    sessions = study.files["session"].astype(str)
    rows = []
    for row in study.sessions.to_dict("records"):
        mine = study.files[sessions == str(row["session"])]
        texts = ("" if v is None or v != v else str(v) for v in (row["session"], row["role"], row["date"]))  # fmt: skip
        rows.append((*texts, str(len(mine)), str(mine["athlete"].nunique())))
    return Grid(head, tuple(rows))
