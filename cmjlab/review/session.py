"""A person looks at one jump after another and decides; every decision is written at once.

This is the whole review, without a window: the widget only draws it. The rows of the log are
written by ``Study.decide``; the numbers come from ``cmjlab.jump.measure``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.catalog import CHECKS, EVENT_LABELS, MOVABLE_EVENTS
from cmjlab.checks import one_of, suggestion
from cmjlab.errors import ArgumentError, CmjlabError, JumpError
from cmjlab.jump_types import Jump
from cmjlab.review.effect import compare_metrics, fixed_by_hand, refuse_wrong_order, remeasured
from cmjlab.study.decide.decisions import Decision

if TYPE_CHECKING:
    from cmjlab.plots.style import Picture
    from cmjlab.study.study import Study

#: Which jumps to page through.
WHICH_JUMPS = ("all", "flagged", "left_out", "undecided", "decided")


class Review:
    """Page through the jumps of a study and decide on each.

    Parameters
    ----------
    study : Study
        An opened study. It is read again after each decision (see ``study``).
    who : str, optional
        Coded id of the person, used for every decision that names nobody else.
    show : str
        Which jumps: "all", "flagged" (at least one flag), "left_out" (do not count),
        "undecided" (flagged, and nobody has decided yet) or "decided". The list is fixed when
        the review begins, so that a jump does not slip away once it has been decided.

    Attributes
    ----------
    study : Study
        The study as it stands after the last decision.
    place : int
        Which jump of the list is shown, from 0.

    Raises
    ------
    ArgumentError
        The study has no such jump.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import shutil, tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as place:
    ...     folder = shutil.copytree(cj.demo_study(mini=True), Path(place) / "study")
    ...     review = cj.Review(cj.Study.open(folder), who="T1")
    ...     said = review.reject("stepped off the plate")
    ...     len(review.study.decisions)
    1
    """

    def __init__(self, study: Study, *, who: str = "", show: str = "all") -> None:
        self.study = study
        self.who = who
        self.place = 0
        self._keys: list[tuple[str, int]] = []
        self._jump: Jump | str | None = None
        self.choose(show)

    # ---- where we are ----------------------------------------------------------------------

    def choose(self, show: str) -> int:
        """Make the list anew from the jumps asked for; return how many there are."""
        one_of("show", show, WHICH_JUMPS)
        table = self.study.measure()
        keep = _wanted(table, show)
        chosen = table[keep]
        here = self._keys[self.place] if self._keys else None
        self._keys = [(str(f), int(j)) for f, j in zip(chosen["file"], chosen["jump"], strict=True)]
        self.show = show
        self.place = self._keys.index(here) if here in self._keys else 0
        self._jump = None
        return len(self._keys)

    def __len__(self) -> int:
        return len(self._keys)

    @property
    def keys(self) -> tuple[tuple[str, int], ...]:
        """(file, jump) of every jump in the list."""
        return tuple(self._keys)

    @property
    def file(self) -> str:
        """File of the jump that is shown."""
        return self._key()[0]

    @property
    def number(self) -> int:
        """Number of the jump within its file."""
        return self._key()[1]

    def _key(self) -> tuple[str, int]:
        if not self._keys:
            raise ArgumentError(
                f"show: no jump of this study is {self.show.replace('_', ' ')!r}; choose another of"
                f" {', '.join(WHICH_JUMPS)}."
            )
        return self._keys[self.place]

    def next(self) -> Jump | None:
        """Go to the next jump (at the end: stay) and return it."""
        return self.go(self.place + 1)

    def previous(self) -> Jump | None:
        """Go to the jump before (at the start: stay) and return it."""
        return self.go(self.place - 1)

    def go(self, place: int) -> Jump | None:
        """Go to a place of the list, counted from 0; places beyond the ends are the ends."""
        self._key()
        self.place = min(max(0, int(place)), len(self._keys) - 1)
        self._jump = None
        return self.jump

    def find(self, file: str, jump: int = 1) -> Jump | None:
        """Go to a jump by its file and number.

        Raises
        ------
        ArgumentError
            It is not in the list.
        """
        if (file, jump) not in self._keys:
            raise ArgumentError(
                f"file: {file!r}, jump {jump}, is not among the {len(self)} jump(s) shown"
                f" ({self.show.replace('_', ' ')}); recordings are named as in jumps.csv."
                f"{suggestion(file, dict(self._keys))}"
            )
        return self.go(self._keys.index((file, jump)))

    # ---- what there is to see --------------------------------------------------------------

    @property
    def jump(self) -> Jump | None:
        """The jump in full; None when the file cannot be analysed (see ``trouble``)."""
        if self._jump is None:
            try:
                self._jump = self.study.jump(*self._key())
            except CmjlabError as error:
                self._jump = str(error)
        return self._jump if isinstance(self._jump, Jump) else None

    @property
    def trouble(self) -> str:
        """Why the file cannot be analysed; "" when it can."""
        return "" if self.jump is not None or not isinstance(self._jump, str) else self._jump

    @property
    def row(self) -> pd.Series:
        """The jump's row of the jumps table, as the study stands now."""
        table = self.study.measure()
        mine = table[(table["file"] == self.file) & (table["jump"] == self.number)]
        return mine.iloc[0]

    @property
    def flags(self) -> pd.DataFrame:
        """Rules that found something: code, label, status, scope, reason, remedy.

        Those that need the other jumps of the study are among them.
        """
        checks = self.study.checks
        mine = (checks["file"] == self.file) & (checks["jump"] == self.number)
        rows = checks[mine & checks["status"].isin(["note", "warn", "fail"])].copy()
        rows["label"] = [CHECKS[c].label if c in CHECKS else c for c in rows["code"]]
        rows["remedy"] = [CHECKS[c].remedy if c in CHECKS else "" for c in rows["code"]]
        worst = {"fail": 0, "warn": 1, "note": 2}
        order = rows["status"].map(worst).argsort(kind="stable")
        columns = ["code", "label", "status", "scope", "reason", "remedy"]
        return rows.iloc[order][columns].reset_index(drop=True)

    @property
    def log(self) -> pd.DataFrame:
        """All decisions on this jump, oldest first."""
        rows = self.study.decisions
        file = rows["file"].astype("str").str.replace("\\", "/", regex=False)
        mine = (file == self.file) & (rows["jump"] == self.number)
        return rows[mine].reset_index(drop=True)

    def status(self) -> str:
        """Return whether the jump counts, and who or what decided it, as one sentence."""
        row = self.row
        if str(row["error"]):
            return f"Cannot be used: {row['error']}"
        rules = "the rules would use it" if row["accepted_by_rules"] else "the rules leave it out"
        decided = self.study.decided.verdicts.get((self.file, self.number))
        if decided is None:
            counts = "Counts" if row["accepted"] else "Does not count"
            moved = fixed_by_hand(self.study, self.file, self.number)
            words = f"{counts}: {'a rule failed' if not row['accepted'] else 'no rule against it'}"
            return words + (
                f"; moved by hand: {', '.join(EVENT_LABELS[e] for e in moved)}." if moved else "."
            )
        word = "Counts: accepted" if decided["action"] == "accept" else "Does not count: rejected"
        return f"{word} by {decided['who']} ({decided['reason']}); {rules}."

    def figure(self) -> Picture:
        """Draw the jump.

        Raises
        ------
        JumpError
            The file cannot be analysed.
        """
        from cmjlab.plots.jump import jump_figure

        return jump_figure(self._measured())

    def _measured(self) -> Jump:
        jump = self.jump
        if jump is None:
            raise JumpError(self.trouble)
        return jump

    def effect(
        self,
        event: str | None = None,
        time_s: float | None = None,
        *,
        metrics: Sequence[str] | None = None,
    ) -> pd.DataFrame:
        """Return what moving an event does to the metrics, without writing anything.

        Parameters
        ----------
        event : str, optional
            One of weighing_start, weighing_end, onset, takeoff, landing. Without it: what all
            moves made so far did, against the events found by the rules.
        time_s : float, optional
            Time on the file's clock, seconds; must be given with ``event``.
        metrics : sequence of str, optional
            Default: the report's metrics of the plan.

        Returns
        -------
        pandas.DataFrame
            metric, label, unit, before, after, difference (in the unit of the tables).

        Raises
        ------
        ArgumentError
            No such event or metric, or a time outside the recording or out of order.
        JumpError
            The file, or the jump with this event, cannot be analysed.
        """
        jump = self._measured()
        fixed = fixed_by_hand(self.study, self.file, self.number)
        if event is None:
            return compare_metrics(self.study, remeasured(jump, {}), jump, metrics)
        if time_s is None:
            raise ArgumentError(
                f"time_s: a time in seconds is needed to move {EVENT_LABELS.get(event, event)}."
            )
        one_of("event", event, MOVABLE_EVENTS)
        return compare_metrics(self.study, jump, self._tried(jump, fixed, event, time_s), metrics)

    def _tried(self, jump: Jump, fixed: dict[str, float], event: str, time_s: float) -> Jump:
        """Return the jump with one more event fixed; refuse what leaves no jump."""
        tried = remeasured(jump, {**fixed, event: time_s})
        refuse_wrong_order(tried, event)
        had, has = (j.metrics["jump_height_m"] == j.metrics["jump_height_m"] for j in (jump, tried))
        if had and not has:
            why = tried.voided.get("jump_height_m", "the force does not allow it")
            raise JumpError(f"{EVENT_LABELS[event]} at {time_s:.4f} s leaves no jump height: {why}")
        return tried

    # ---- deciding --------------------------------------------------------------------------

    def accept(self, reason: str, who: str | None = None) -> str:
        """Use this jump whatever the rules say; returns ``status()``."""
        self._decide("accept", reason, who)
        return self.status()

    def reject(self, reason: str, who: str | None = None) -> str:
        """Do not use this jump whatever the rules say; returns ``status()``."""
        self._decide("reject", reason, who)
        return self.status()

    def _decide(
        self,
        action: str,
        reason: str,
        who: str | None,
        *,
        event: str = "",
        time_s: float | None = None,
    ) -> None:
        """Write a decision on this jump; the study is then read again, and the jump with it."""
        file, number = self._key()
        who = self.who if who is None else who
        self.study = self.study.decide(
            Decision(action, file, number, event=event, time_s=time_s, reason=reason, who=who)
        )
        self._jump = None

    def move(
        self, event: str, time_s: float, *, reason: str, who: str | None = None
    ) -> pd.DataFrame:
        """Fix an event of this jump by hand; returns the effect on the metrics.

        Parameters
        ----------
        event : str
            One of weighing_start, weighing_end, onset, takeoff, landing.
        time_s : float
            Time on the file's clock, seconds.
        reason : str
            Why; it goes into the log.
        who : str, optional
            Coded id of the person; default: that of the review.

        Raises
        ------
        ArgumentError
            No such event, or a time outside the recording or out of order; nothing is written.
        JumpError
            With this event there would be no jump left; nothing is written.
        """
        effect = self.effect(event, time_s)
        self._decide("move", reason, who, event=event, time_s=time_s)
        return effect

    def undo(self, reason: str, event: str = "", who: str | None = None) -> str:
        """Take back the verdict, or with ``event`` its move; returns ``status()``.

        Raises
        ------
        ArgumentError
            There is nothing to take back; nothing is written.
        """
        file, number = self._key()
        if event:
            one_of("event", event, MOVABLE_EVENTS)
        there = (
            event in fixed_by_hand(self.study, file, number)
            if event
            else (file, number) in self.study.decided.verdicts
        )
        if not there:
            what = f"move of {EVENT_LABELS[event]}" if event else "verdict"
            raise ArgumentError(f"undo: {file}, jump {number}, has no {what} to take back.")
        self._decide("undo", reason, who, event=event)
        return self.status()


def _wanted(table: pd.DataFrame, show: str) -> pd.Series:
    """Return which rows of the jumps table belong to a choice."""
    flagged = (table["flags"].fillna("") != "") | (table["error"].fillna("") != "")
    decided = (table["verdict"].fillna("") != "") | (table["moved_events"].fillna("") != "")
    return {
        "all": pd.Series(True, index=table.index),
        "flagged": flagged,
        "left_out": ~table["accepted"].astype(bool),
        "undecided": flagged & ~decided,
        "decided": decided,
    }[show]
