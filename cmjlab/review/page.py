"""The pieces of the review that are read: HTML from a Review, everything escaped."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from typing import TYPE_CHECKING

from cmjlab.catalog import EVENT_LABELS, STATUS_LABELS
from cmjlab.errors import CmjlabError
from cmjlab.review.effect import effect_in_words

if TYPE_CHECKING:
    import pandas as pd

    from cmjlab.review.session import Review

_CELL = "padding:0.1em 0.8em 0.1em 0; text-align:left; vertical-align:top"
_NUMBER = "padding:0.1em 0.8em 0.1em 0; text-align:right; vertical-align:top"


def heading(review: Review) -> str:
    """Return where we are: place in the list, athlete, session, file, and whether it counts."""
    row = review.row
    where = " · ".join(
        f"{name} {html.escape(str(row[column]))}"
        for name, column in (("athlete", "athlete"), ("session", "session"), ("trial", "trial"))
        if str(row[column]) not in ("", "nan", "<NA>", "None")
    )
    file = html.escape(f"{review.file}, jump {review.number}")
    return (
        f"<div><strong>Jump {review.place + 1} of {len(review)}</strong> · {where}"
        f"<br><small>{file}</small><br><span>{html.escape(review.status())}</span></div>"
    )


def picture(review: Review) -> str:
    """Return the figure with its alt text, or why there is none."""
    try:
        figure = review.figure()
    except CmjlabError as error:
        return message(str(error), bad=True)
    data = base64.b64encode(figure.png(dpi=110)).decode("ascii")
    alt = html.escape(figure.alt_text, quote=True)
    return (
        f'<img src="data:image/png;base64,{data}" alt="{alt}"'
        ' style="max-width:100%; width:44em; background:white">'
    )


def flags_table(review: Review) -> str:
    """Return the flags with reasons and what can be done."""
    flags = review.flags
    if flags.empty:
        return "<p>No flags: every rule that could be assessed passed.</p>"
    rows = [
        (STATUS_LABELS[str(r["status"])], str(r["label"]), str(r["reason"]), str(r["remedy"]))
        for r in flags.to_dict("records")
    ]
    return _table("Flags", ("", "Rule", "What was found", "What can be done"), rows)


def log_table(review: Review) -> str:
    """Return the decisions on this jump, the newest last."""
    log = review.log
    if log.empty:
        return "<p>Nobody has decided on this jump.</p>"
    rows = [
        (
            str(r["when"]),
            str(r["who"]),
            f"{r['action']} {EVENT_LABELS.get(_known(r['event']), '')}".strip(),
            f"{r['time_s']:.4f} s" if r["time_s"] == r["time_s"] else "",
            str(r["reason"]),
        )
        for r in log.to_dict("records")
    ]
    return _table("Decisions on this jump", ("When", "Who", "What", "Time", "Reason"), rows)


def effect_table(effect: pd.DataFrame, title: str) -> str:
    """Return metrics before and after a move, and the difference."""
    heads = ("Metric", "Before", "After", "Difference")
    return _table(title, heads, effect_in_words(effect), numbers=(1, 2, 3))


def message(text: str, *, bad: bool = False) -> str:
    """Return a message that a screen reader reads out when it appears."""
    role = "alert" if bad else "status"
    mark = "<strong>Not done:</strong> " if bad else ""
    return f'<p role="{role}">{mark}{html.escape(text)}</p>'


def _known(value: object) -> str:
    return "" if value is None or value != value else str(value)


def _table(
    title: str,
    heads: tuple[str, ...],
    rows: Sequence[tuple[str, ...]],
    numbers: tuple[int, ...] = (),
) -> str:
    style = [_NUMBER if i in numbers else _CELL for i in range(len(heads))]
    top = "".join(
        f'<th scope="col" style="{s}">{html.escape(h)}</th>'
        for h, s in zip(heads, style, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(f'<td style="{s}">{html.escape(c)}</td>' for c, s in zip(row, style, strict=True))
        + "</tr>"
        for row in rows
    )
    return (
        f'<table style="border-collapse:collapse; line-height:1.35"><caption style="text-align:left;'
        f' font-weight:bold">{html.escape(title)}</caption><thead><tr>{top}</tr></thead>'
        f"<tbody>{body}</tbody></table>"
    )
