"""A person's decisions on jumps: accept, reject, move an event, undo. A log, append only.

Each call adds a row to ``decisions.csv`` with who, when and why; nothing is ever removed.
The last row for a jump's verdict counts, and the last row for each of its events. "undo"
takes back the verdict, or with an event the move of that event. What the rules said stays
visible beside what the person said.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from cmjlab.checks import number, one_of
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.jump_types import MOVABLE_EVENTS
from cmjlab.study.folder.cells import find_table, read_cells
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import ROW, read_user_table
from cmjlab.study.store.parts import locked, write_whole
from cmjlab.tables import DECISIONS

if TYPE_CHECKING:
    from cmjlab.study.study import Study

_STEM = "decisions"


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


def read_log(folder: Path, results: Path, problems: Problems) -> pd.DataFrame:
    """Return the decisions log: the study's, then what was added in the results folder.

    Results outside the study folder (a read-only study) keep their own decisions.csv.
    """
    log = read_user_table(folder, _STEM, DECISIONS, problems)
    if results.resolve().parent != folder.resolve():
        log = pd.concat([log, read_user_table(results, _STEM, DECISIONS, problems)])
    return log.reset_index(drop=True)


def effect(log: pd.DataFrame, problems: Problems | None = None) -> Decided:
    """Return what counts after all rows; rows that cannot be used are told and left out."""
    problems = problems if problems is not None else Problems()
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


def accept(
    study: Study, file: str, jump: int = 1, *, reason: str, who: str, when: str | None = None
) -> Study:
    """Use a jump whatever the rules say; returns the study with this decision."""
    return _decide(study, {"file": file, "jump": jump, "action": "accept"}, reason, who, when)


def reject(
    study: Study, file: str, jump: int = 1, *, reason: str, who: str, when: str | None = None
) -> Study:
    """Do not use a jump whatever the rules say; returns the study with this decision."""
    return _decide(study, {"file": file, "jump": jump, "action": "reject"}, reason, who, when)


def move(
    study: Study,
    file: str,
    jump: int,
    event: str,
    time_s: float,
    *,
    reason: str,
    who: str,
) -> Study:
    """Fix an event of a jump at a time (seconds on the file's clock); returns the new study."""
    one_of("event", event, MOVABLE_EVENTS)
    row = {"file": file, "jump": jump, "action": "move", "event": event}
    row["time_s"] = number("time_s", time_s, unit="s")
    return _decide(study, row, reason, who, None)


def undo(
    study: Study,
    file: str,
    jump: int = 1,
    *,
    event: str = "",
    reason: str,
    who: str,
) -> Study:
    """Take back the verdict on a jump, or with ``event`` its move; returns the new study."""
    if event:
        one_of("event", event, MOVABLE_EVENTS)
    row = {"file": file, "jump": jump, "action": "undo", "event": event}
    return _decide(study, row, reason, who, None)


def _decide(study: Study, row: dict[str, object], reason: str, who: str, when: str | None) -> Study:
    if row["file"] not in set(study.files["file"]):
        raise ArgumentError(
            f"file: {row['file']!r} is no recording of this study; see study.files['file']."
        )
    for name, text in (("reason", reason), ("who", who)):
        if not str(text).strip():
            raise ArgumentError(f"{name}: a decision needs it; found nothing.")
    now = dt.datetime.now().astimezone().isoformat(timespec="seconds")
    append(study.decisions_folder, {**row, "reason": reason, "who": who, "when": when or now})
    return study.reload()


def append(folder: Path, row: dict[str, object]) -> Path:
    """Add one row to decisions.csv of a folder, in the dialect in which it is written.

    Raises
    ------
    StudyError
        When the log is a workbook (nothing can be added safely) or is held by a program.
    """
    paths = find_table(folder, _STEM)
    if paths and paths[0].suffix.lower() == ".xlsx":
        raise StudyError(f"{paths[0].name}: save it as decisions.csv; rows cannot be added to it.")
    path = paths[0] if paths else folder / f"{_STEM}.csv"
    with locked(folder / "results" if (folder / "study.toml").exists() else folder):
        old = path.read_bytes() if path.exists() else b""
        write_whole(path, old + _line(path, old, row))
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
    text = " ".join(str(value).split())
    return f"'{text}" if text[:1] in "=+-@" and text else text
