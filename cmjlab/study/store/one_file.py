"""Measure one file of a study: the unit of work that is computed once and kept.

Only what the file itself decides is computed here; athlete, session, group, verdicts and
checks that need other jumps are joined later, so a change of the roster costs nothing.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cmjlab.errors import CmjlabError, JumpError, ReadError
from cmjlab.files.contents import contents_of, too_large
from cmjlab.keys import ENGINE, file_sha256, key_of
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.safe_open import read_file

if TYPE_CHECKING:
    from cmjlab.jump.measure import Given
    from cmjlab.jump_types import Jump
    from cmjlab.recording import Recording
    from cmjlab.study.remote import RemoteFile

_MEGABYTE = 1_000_000


@dataclass(frozen=True)
class Task:
    """One file to measure.

    Attributes
    ----------
    file : str
        Path below the recordings folder.
    path : Path
        Where the file is.
    sha256 : str
        SHA-256 of its bytes.
    layout : Layout
        How it is to be read.
    stretches : tuple of (float, float)
        Start and stop of each stretch to use, seconds on the file's clock (±inf: open).
    moved : dict of int to dict of str to float
        Jump number -> event -> time that a person fixed.
    layout_key : str
        Key of the layout, when it is known already.
    weights : dict of int to (float, float)
        Jump number -> body weight from other jumps of the session and its standard error, N.
    loads : tuple of float
        What the athlete carried in each stretch, kg; empty: nothing in any.
    data : bytes or None
        The bytes of the file, for a worker that does not see it; None: it is read where it is.
    remote : RemoteFile or None
        Where its bytes are when the study lies at a URL; ``path`` only names it then.
    """

    file: str
    path: Path
    sha256: str
    layout: Layout = field(default_factory=Layout)
    stretches: tuple[tuple[float, float], ...] = ((float("-inf"), float("inf")),)
    moved: dict[int, dict[str, float]] = field(default_factory=dict)
    layout_key: str = ""
    weights: dict[int, tuple[float, float]] = field(default_factory=dict)
    loads: tuple[float, ...] = ()
    data: bytes | None = field(default=None, repr=False, compare=False)
    remote: RemoteFile | None = None

    @cached_property
    def key(self) -> str:
        """Key of the result: the file, how it is read, what is stated or known of it, engine."""
        parts: dict[str, Any] = {
            "file": self.file,
            "sha256": self.sha256,
            "layout": self.layout_key or layout_key(self.layout),
            "stretches": [[repr(a), repr(b)] for a, b in self.stretches],
            "moved": {str(j): e for j, e in self.moved.items() if e},
            "engine": ENGINE,
        }
        if self.weights:
            parts["weights"] = {str(j): [repr(v) for v in w] for j, w in self.weights.items()}
        if any(self.loads):
            parts["loads"] = [repr(load) for load in self.loads]
        return key_of(parts)

    def digest(self) -> str:
        """Return the SHA-256 of its bytes as they are now; OSError when they cannot be had."""
        return file_sha256(self.path) if self.remote is None else self.remote.sha256()

    def bytes(self) -> bytes:
        """Return its bytes; OSError when they cannot be had, ReadError when they are too many."""
        limit_mb = self.layout.size_limit_mb
        if self.data is not None:
            return self.data
        if self.remote is None:
            return read_file(self.path, limit_mb=limit_mb)
        if self.remote.size > limit_mb * _MEGABYTE:
            raise ReadError(too_large(self.path.name, self.remote.size / _MEGABYTE, limit_mb))
        return self.remote.read()

    def anywhere(self) -> Task:
        """Return the task for a process that may work in another folder: its path is whole."""
        return replace(self, path=self.path.absolute())

    def load_of(self, stretch: int) -> float:
        """Return what the athlete carried in a stretch, kg."""
        return self.loads[stretch] if self.loads else 0.0


def layout_key(layout: Layout) -> str:
    """Return the key of how a file is read; which files a layout is for does not matter."""
    return layout.replace(match="").key


@dataclass(frozen=True)
class FileResult:
    """Rows of one file: jumps and checks, and whether they may be kept."""

    key: str
    jumps: list[dict[str, Any]]
    checks: list[dict[str, Any]]
    keep: bool = True


def cut_stretch(recording: Recording, low: float, high: float) -> Recording:
    """Return the part of a recording between two times of its own clock, both included."""
    if low == float("-inf") and high == float("inf"):
        return recording
    rate, start = recording.rate_hz, recording.start_s
    first = max(0, int(np.ceil((low - start) * rate - 1e-6))) if np.isfinite(low) else 0
    last = recording.n_samples
    if np.isfinite(high):
        last = min(last, int(np.floor((high - start) * rate + 1e-6)) + 1)
    return recording.replace(
        force_n=recording.force_n[first : max(first, last)], start_s=start + first / rate
    )


def jumps_of(task: Task, method: Method) -> list[tuple[int, Jump | CmjlabError]]:
    """Return (stretch, Jump) for every jump of a file; jumps count through the whole file.

    A stretch or jump that cannot be analysed keeps its number and stands there as the error.

    Raises
    ------
    ReadError
        When the file cannot be read at all.
    """
    return jumps_in(read_task(task), task, method)


def jumps_in(
    recording: Recording, task: Task, method: Method
) -> list[tuple[int, Jump | CmjlabError]]:
    """Return (stretch, Jump) for every jump of a task's recording; see :func:`jumps_of`."""
    from cmjlab.jump.measure import measure_with
    from cmjlab.jump.split import split_with_contacts

    out: list[tuple[int, Jump | CmjlabError]] = []
    for stretch, (low, high) in enumerate(task.stretches):
        try:
            parts = split_with_contacts(cut_stretch(recording, low, high), method)
        except CmjlabError as problem:
            out.append((stretch, problem))
            continue
        for part, contacts in parts:
            number = len(out) + 1
            given = _given(task, stretch, number)
            try:
                jump = measure_with(part.replace(jump=number), method, given, contacts)
                out.append((stretch, jump))
            except CmjlabError as problem:
                out.append((stretch, problem))
        if not parts:
            out.append((stretch, JumpError(f"{task.file}: no jump found.")))
    return out


def read_task(task: Task) -> Recording:
    """Return the recording of a task: of its file, or of bytes that came from elsewhere."""
    from cmjlab.files.read import read_recording, recording_of

    if task.data is None and task.remote is None:
        return read_recording(task.path, layout=task.layout)
    data = task.bytes()
    contents = contents_of(task.path, data, limit_mb=task.layout.size_limit_mb)
    return recording_of(contents, task.layout)


def _given(task: Task, stretch: int, jump: int) -> Given:
    """Return what a person stated of a jump and what other jumps know of its weight."""
    from cmjlab.jump.measure import Given

    events, load = task.moved.get(jump, {}), task.load_of(stretch)
    if jump not in task.weights:
        return Given(events, load_kg=load)
    weight, se = task.weights[jump]
    return Given(events, weight, se, load)


def measure_file(task: Task, method: Method) -> FileResult:
    """Measure all jumps of a file; whatever goes wrong becomes a row with the reason."""
    try:
        found = jumps_of(task, method)
    except CmjlabError as problem:
        return unreadable_file(task, str(problem), keep=not isinstance(problem.__cause__, OSError))
    except OSError as problem:
        text = f"{task.file}: cannot be opened ({problem.strerror or problem})."
        return unreadable_file(task, text, keep=False)
    except Exception as problem:  # one odd file must never stop a season of data
        text = f"{task.file}: unexpected {type(problem).__name__}: {problem}. Please report it."
        return unreadable_file(task, text, keep=False)
    rows: list[dict[str, Any]] = []
    checks: list[dict[str, Any]] = []
    for number, (stretch, jump) in enumerate(found, start=1):
        if isinstance(jump, CmjlabError):
            rows.append(_error_row(task, stretch, number, str(jump)))
            continue
        if _changed(jump, task):
            return unreadable_file(
                task, f"{task.file}: changed while it was read; run again.", keep=False
            )
        rows.append(_jump_row(task, stretch, jump))
        checks += _check_rows(task, jump)
    return FileResult(task.key, rows, checks)


def measure_chunk(tasks: Sequence[Task], method: Method) -> list[FileResult]:
    """Measure some files in one worker process, which need not load any table for it."""
    return [measure_file(t, method) for t in tasks]


def flags_of(jump: Jump) -> str:
    """Return the checks of a jump that did not just pass, as they stand in its row."""
    return ";".join(sorted(f"{c.code}:{c.status}" for c in jump.flags))


def _changed(jump: Jump, task: Task) -> bool:
    source = jump.recording.source
    return bool(source and source.sha256 and task.sha256 and source.sha256 != task.sha256)


def unreadable_file(task: Task, error: str, *, keep: bool) -> FileResult:
    """Return the rows of a file that cannot be read: one for each stretch, with the reason."""
    rows = [_error_row(task, i, i + 1, error) for i in range(len(task.stretches))]
    return FileResult(task.key, rows, [], keep)


def _error_row(task: Task, stretch: int, jump: int, error: str) -> dict[str, Any]:
    row = _base_row(task, stretch, jump)
    row.update({"accepted_by_rules": False, "error": error})
    return row


def _base_row(task: Task, stretch: int, jump: int) -> dict[str, Any]:
    return {
        "key": task.key,
        "file": task.file,
        "sha256": task.sha256,
        "stretch": stretch,
        "jump": jump,
        "moved_events": ";".join(sorted(task.moved.get(jump, {}))),
        "flags": "",
        "error": "",
        "notes": "[]",
        "voided": "{}",
    }


def _jump_row(task: Task, stretch: int, jump: Jump) -> dict[str, Any]:
    row = _base_row(task, stretch, jump.recording.jump)
    row["rate_hz"] = jump.recording.rate_hz
    row["accepted_by_rules"] = jump.accepted
    row["flags"] = flags_of(jump)
    row["notes"] = json.dumps([[n.code, n.text] for n in jump.recording.notes])
    row["voided"] = json.dumps(dict(jump.voided), sort_keys=True)
    row.update(jump.metrics)
    return row


def _check_rows(task: Task, jump: Jump) -> list[dict[str, Any]]:
    return [
        {
            "key": task.key,
            "file": task.file,
            "jump": jump.recording.jump,
            "code": c.code,
            "status": c.status,
            "scope": c.scope,
            "value": float(c.value),
            "limit": float(c.limit),
            "unit": c.unit,
            "reason": c.reason,
        }
        for c in jump.checks
    ]
