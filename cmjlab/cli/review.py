"""The command ``review``: look at one jump and decide on it, without a notebook."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.catalog import EVENT_LABELS, STATUS_LABELS
from cmjlab.cli import names, say
from cmjlab.cli.pace import progress

if TYPE_CHECKING:
    from cmjlab.review.session import Review

_ACTIONS = "accept, reject, move or undo"


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command(short_help="One jump with its flags and log; accept, reject, move an event.")(
        review
    )


def review(
    study: Annotated[Path, typer.Argument(help="The study folder.", show_default=False)],
    file: Annotated[
        str, typer.Argument(help="The recording, as in jumps.csv; none: list flagged jumps.")
    ] = "",
    jump: Annotated[int, typer.Option(help="Number of the jump within the file.")] = 1,
    action: Annotated[str, typer.Option("--do", help=f"{_ACTIONS}; none: only show.")] = "",
    reason: Annotated[str, typer.Option(help="Why; needed for every decision.")] = "",
    who: Annotated[str, typer.Option(help="Coded id of the person who decides.")] = "",
    move: Annotated[
        str, typer.Option("--event", help='Event and time, "onset=1.234"; to undo, "onset".')
    ] = "",
) -> None:
    """Show a jump with its flags and log, and write a decision on it to decisions.csv."""
    with say.plain_errors():
        from cmjlab.review.session import Review
        from cmjlab.study.study import Study

        opened = Study.open(study)
        with progress("measuring") as step:
            opened.measure(progress=step)
        if not file:
            _list(Review(opened, who=who, show="flagged"))
            return
        shown = Review(opened, who=who)
        shown.find(file, jump)
        _do(shown, action, reason, move)
        _show(shown)


def _list(review: Review) -> None:
    table = review.study.measure()
    keys = set(review.keys)
    mine = table[[k in keys for k in zip(table["file"], table["jump"], strict=True)]]
    columns = ["file", "jump", "accepted", "verdict", "moved_events", "flags"]
    shown = mine[columns].assign(
        moved_events=mine["moved_events"].map(names.events_in_words),
        flags=mine["flags"].map(names.flags_in_words),
    )
    say.table(shown)
    say.line(f"{len(review)} of {len(table)} jumps have flags. Name one to see it.")


def _event(text: str) -> tuple[str, float | None]:
    """Return the event and the time of "onset=1.234"; None when there is no time."""
    from cmjlab.errors import ArgumentError

    name, sign, number = text.partition("=")
    event = names.find_event(name) if name.strip() else ""
    if not sign:
        return event, None
    try:
        return event, float(number.replace(",", "."))
    except ValueError:
        raise ArgumentError(
            f"--event: found {text!r}, needed is an event and seconds, onset=1.234."
        ) from None


def _do(review: Review, action: str, reason: str, move: str) -> None:
    """Do what was asked; without an action a move is only tried."""
    from cmjlab.checks import one_of
    from cmjlab.errors import ArgumentError
    from cmjlab.review.effect import effect_in_words

    event, time_s = _event(move)
    if action:
        one_of("--do", action, ("accept", "reject", "move", "undo"))
    if action == "move" and time_s is None:
        raise ArgumentError("--event: a move needs an event and seconds, onset=1.234.")
    if action in ("accept", "reject"):
        getattr(review, action)(reason)
    elif action == "undo":
        review.undo(reason, event)
    elif time_s is not None:
        tried = review.effect(event, time_s)
        if action == "move":
            review.move(event, time_s, reason=reason)
        for label, before, after, change in effect_in_words(tried):
            say.line(f"{label}: {before} -> {after} ({change})")
        if not action:
            say.line("Only shown: nothing has been written. --do move writes it.")


def _show(review: Review) -> None:
    say.line(f"{review.file}, jump {review.number}")
    say.line(review.status())
    if review.jump is not None:
        for name, time_s in review.jump.events.items():
            place = f"{time_s:.4f} s" if time_s == time_s else "not found"
            say.line(f"  {EVENT_LABELS[name]}: {place}")
    for row in review.flags.to_dict("records"):
        say.line(f"{STATUS_LABELS[row['status']]}: {row['label']}: {row['reason']}")
    for row in review.log.to_dict("records"):
        say.line(f"{row['when']} {row['who']}: {row['action']} ({row['reason']})")
    say.line(say.CAUTION)
