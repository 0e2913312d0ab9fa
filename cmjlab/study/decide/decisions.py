"""A person's decisions on jumps: accept, reject, move an event, undo. A log, append only.

Each decision adds a row to ``decisions.csv`` with who, when and why; nothing is ever removed.
The last row for a jump's verdict counts, and the last row for each of its events. "undo"
takes back the verdict, or with an event the move of that event. What the rules said stays
visible beside what the person said.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from dataclasses import asdict, dataclass, field
from pathlib import Path

import pandas as pd

from cmjlab.catalog import MOVABLE_EVENTS
from cmjlab.checks import number, one_of
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.formula_guard import guarded
from cmjlab.safe_open import read_file
from cmjlab.study.folder.cells import find_table, read_cells
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW
from cmjlab.study.store.lock import locked
from cmjlab.tables import DECISIONS

_ACTIONS = DECISIONS.column("action").allowed


@dataclass(frozen=True)
class Decision:
    """What a person decides about one jump, complete enough to be written into the log.

    Attributes
    ----------
    action : str
        "accept" (use the jump whatever the rules say), "reject" (do not use it), "move" (fix an
        event at a time) or "undo" (take back the verdict, or with an event its move).
    file : str
        Path below the recordings folder, as in the jumps table.
    jump : int
        Number of the jump within its file.
    reason, who : str
        Why, and the coded id of the person.
    event : str
        One of weighing_start, weighing_end, onset, takeoff, landing; for "move" and "undo".
    time_s : float or None
        Where a moved event is put, seconds on the file's clock.
    when : str
        Time of the decision, ISO; empty: now.

    Raises
    ------
    ArgumentError
        When reason or person is missing, or action, event or time are not as said.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.Decision("reject", "sub-A01_ses-base1_run-01.csv", 1, reason="stepped off", who="T1").action
    'reject'
    """

    action: str
    file: str
    jump: int = 1
    reason: str = field(kw_only=True)
    who: str = field(kw_only=True)
    event: str = field(default="", kw_only=True)
    time_s: float | None = field(default=None, kw_only=True)
    when: str = field(default="", kw_only=True)

    def __post_init__(self) -> None:
        one_of("action", self.action, _ACTIONS)
        if self.event or self.action == "move":
            one_of("event", self.event, MOVABLE_EVENTS)
        if self.action == "move":
            number("time_s", self.time_s, unit="s")
        for name, text in (("reason", self.reason), ("who", self.who)):
            if not str(text).strip():
                raise ArgumentError(f"{name}: a decision needs it; found nothing.")


@dataclass(frozen=True)
class Decided:
    """What counts after all rows of the log.

    Attributes
    ----------
    verdicts : dict of (file, jump) to row
        Row (dict) with action "accept" or "reject", reason, who, when.
    moved : dict of file to dict of jump to dict of event to float
        Times fixed by a person, seconds on the file's clock.
    """

    verdicts: dict[tuple[str, int], dict[str, object]] = field(default_factory=dict)
    moved: dict[str, dict[int, dict[str, float]]] = field(default_factory=dict)


def decided_by(log: pd.DataFrame, problems: Problems) -> Decided:
    """Return what counts after all rows; rows that cannot be used are told and left out."""
    decided = Decided()
    for row in log.dropna(subset=["file", "jump", "action"]).to_dict("records"):
        file, jump, action = str(row["file"]).replace("\\", "/"), int(row["jump"]), row["action"]
        event = "" if pd.isna(row["event"]) else str(row["event"])
        if event and event not in MOVABLE_EVENTS:
            problems.add(
                "fail", "bad_event", where=("decisions", row[ROW], "event"), found=event,
                expected=", ".join(MOVABLE_EVENTS), remedy="The other events follow from these.",
            )  # fmt: skip
            continue
        if action == "move":
            if not event or pd.isna(row["time_s"]):
                problems.add(
                    "fail", "move_without_time", where=("decisions", row[ROW], "time_s"),
                    found=f"event {event!r}, time {row['time_s']}",
                    expected="an event and its time in seconds", remedy="Fill in both.",
                )  # fmt: skip
                continue
            decided.moved.setdefault(file, {}).setdefault(jump, {})[event] = float(row["time_s"])
        elif action == "undo" and event:
            decided.moved.get(file, {}).get(jump, {}).pop(event, None)
        elif action == "undo":
            decided.verdicts.pop((file, jump), None)
        else:
            decided.verdicts[file, jump] = row
    return decided


def write_decision(folder: Path, decision: Decision) -> Path:
    """Add a decision to decisions.csv of a folder, in the dialect in which it is written.

    Raises
    ------
    StudyError
        When the log is a workbook (nothing can be added safely) or is held by a program.
    """
    paths = find_table(folder, DECISIONS.name)
    if paths and paths[0].suffix.lower() == ".xlsx":
        raise StudyError(f"{paths[0].name}: save it as decisions.csv; rows cannot be added to it.")
    now = dt.datetime.now().astimezone().isoformat(timespec="seconds")
    row = {**asdict(decision), "when": decision.when or now}
    path = paths[0] if paths else folder / f"{DECISIONS.name}.csv"
    with locked(folder / "results" if (folder / "study.toml").exists() else folder):
        old = read_file(path, study=folder) if path.exists() else b""
        atomic_write(path, old + _line(path, old, row), lasting=True)
    return path


def _line(path: Path, old: bytes, row: dict[str, object]) -> bytes:
    """Return the new row (with a header when the file is new) as bytes."""
    header, delimiter, encoding, start = DECISIONS.names, ",", "utf-8", ""
    if old.strip():
        cells = read_cells(path)
        delimiter, encoding = cells.delimiter, cells.encoding.replace("-sig", "")
        header = [c.strip().casefold().replace(" ", "_") for c in cells.header] or header
        start = "" if old.endswith((b"\n", b"\r", b"\n\x00")) else "\r\n"
        if encoding == "utf-16":
            encoding = "utf-16-le" if old[:2] == b"\xff\xfe" else "utf-16-be"
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n")
    if not old.strip():
        writer.writerow(header)
    writer.writerow([_text(row.get(name), delimiter) for name in header])
    return (start + out.getvalue()).encode(encoding, errors="replace")


def _text(value: object, delimiter: str) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float):
        return repr(value).replace(".", ",") if delimiter == ";" else repr(value)
    return guarded(" ".join(str(value).split()))
