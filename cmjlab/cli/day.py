"""The command today: the state of a test day, once or as files arrive."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.opening import HERE, Results, StudyPath, why_empty
from cmjlab.cli.private import Names, names_of

if TYPE_CHECKING:
    import pandas as pd

    from cmjlab.study.study import Study
    from cmjlab.study.today import TestDay

#: Sentences that stay on the screen below the table while watching.
_KEPT = 8


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="On the day: who has jumped, who must jump again and why.")(today)


def today(
    study: StudyPath = HERE,
    session: Annotated[
        str, typer.Option(help="Session of today; default: the last one with recordings.")
    ] = "",
    sheet: Annotated[bool, typer.Option(help="Print the run sheet for before the test.")] = False,
    watch: Annotated[
        bool, typer.Option("--watch", help="Stay and tell each new jump as its file arrives.")
    ] = False,
    names: Names = False,
    results: Results = None,
) -> None:
    """Show who has jumped, how high against the own noise, who must jump again and why."""
    with say.plain_errors():
        from cmjlab.study.study import Study
        from cmjlab.study.today import run_sheet
        from cmjlab.study.today import today as look

        opened = Study.open(study, results)
        shown = names_of(opened) if names else {}
        which = session or _latest(opened)
        if watch and not sheet:
            _watch(opened, which, shown)
            return
        if sheet:
            table = run_sheet(opened, which)
            say.table(table.assign(athlete=table["athlete"].replace(shown)))
            return
        _print(look(opened, which).named(shown), opened)
        say.line(say.CAUTION)


def _print(state: TestDay, study: Study) -> None:
    if len(state.athletes):
        say.table(day_table(state))
    else:
        say.line(f"nobody yet: {why_empty(study)}")
    for text in state.lines():
        say.line(text)


def day_table(state: TestDay) -> pd.DataFrame:
    """Return the athletes of a test day as a person reads them: heights in centimetres."""
    from cmjlab.words.catalog import read_words

    words, people = read_words(), state.athletes
    out = people[["athlete", "group"]].copy()
    out["status"] = [words.say(f"today.status_{s}") for s in people["status"]]
    out["valid jumps"] = [
        f"{v} of {w}" for v, w in zip(people["valid"], people["wanted"], strict=True)
    ]
    for name in ("height", "best", "last", "change"):
        form = "{:+.1f}" if name == "change" else "{:.1f}"
        values = 100 * people[f"{name}_m"].astype(float)
        out[f"{name} (cm)"] = [form.format(v) if v == v else "" for v in values]
    noise = 100 * people["noise_m"].astype(float)
    out["own noise (cm)"] = [f"±{v:.1f}" if v == v else "" for v in noise]
    said = {"no": "within noise", "more": "more", "less": "less"}
    out["against noise"] = [said.get(str(b), "") for b in people["beyond"]]
    empty = [c for c in out.columns if (out[c].isna() | (out[c].astype(str) == "")).all()]
    return out.drop(columns=[c for c in empty if c != "athlete"])


def _watch(study: Study, session: str, names: dict[str, str]) -> None:
    """Tell each new jump until somebody ends it; a terminal shows the table anew as well."""
    import sys

    from cmjlab.study.watch import Watch
    from cmjlab.words.catalog import read_words

    words = read_words(study.folder / "words.toml")
    screen = sys.stdout.isatty()
    told: list[str] = []
    say.line(words.say("today.watching", folder=say.named(study.settings.recordings)))
    try:
        for number, news in enumerate(Watch(study.folder, session, study.results)):
            fresh = news.lines(names, words) if number else []
            if screen or not number:
                if screen:
                    typer.echo("\033[2J\033[H", nl=False)
                _print(news.state.named(names), study)
            told = [*told, *fresh][-_KEPT:]
            for text in told if screen else fresh:
                say.line(text)
            if fresh and not screen:
                say.line(news.state.lines(words)[0])
            sys.stdout.flush()
    except KeyboardInterrupt:
        say.line(words.say("today.ended"))
    say.line(say.CAUTION)


def _latest(study: Study) -> str:
    """Return the last session of which there are recordings, else the first of the study."""
    order = [str(s) for s in study.sessions["session"]]
    tested = set(study.files["session"].astype(str))
    return next((s for s in reversed(order) if s in tested), order[0] if order else "")
