"""Force files of a copy: written anew from the numbers, so that nothing else of the old file is left.

A file of a lab carries more than force: names in its header, the date, the computer, remarks. The
copy holds the force in newtons and the sampling rate, every digit of them, as Parquet. Each file is
read again after it was written; what does not come back to the last bit is left out and told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from cmjlab.errors import CmjlabError
from cmjlab.files.read import read_recording
from cmjlab.files.write import write_recording
from cmjlab.layout import Layout
from cmjlab.recording import Recording
from cmjlab.safe_names import file_in, safe_name
from cmjlab.share.identities import Identities
from cmjlab.study.store.batch import Progress, ProgressCallback
from cmjlab.study.store.one_file import cut_stretch, jumps_of
from cmjlab.study.study import Study

#: How the force files of a copy are read: newtons, pushing down positive, as they were written.
LAYOUT = Layout(force_unit="N", sign=1)
#: A clock that begins later than this tells the time of day, or the day (our own choice).
_LATE_S = 600.0
#: Folder of the force files in a copy.
FOLDER = "recordings"


@dataclass
class Forces:
    """The force files of a copy.

    Attributes
    ----------
    rows : list of dict
        Rows of recordings.csv of the copy.
    names : dict of (file, stretch) to str
        Own file and number of its stretch -> file of the copy.
    clocks : dict of str to float
        Own file -> seconds by which its clock was set back, where it told the time of day.
    left_out : list of (file, reason)
        Files that are not in the copy.
    """

    rows: list[dict[str, object]] = field(default_factory=list)
    names: dict[tuple[str, int], str] = field(default_factory=dict)
    clocks: dict[str, float] = field(default_factory=dict)
    left_out: list[tuple[str, str]] = field(default_factory=list)


def write_forces(
    study: Study, found: Identities, folder: Path, progress: ProgressCallback | None = None
) -> Forces:
    """Write the force files of a study into a copy.

    Parameters
    ----------
    study : Study
    found : Identities
        Ids and dates of the copy.
    folder : Path
        The copy; files go to its folder of recordings.
    progress : callable, optional
        Called with a Progress after each file.
    """
    out = Forces()
    place = folder / FOLDER
    place.mkdir(parents=True)
    counts: dict[tuple[str, str], int] = {}
    files = study.files
    for done, (stretch, recording, row) in enumerate(_parts(study, out), start=1):
        athlete, session = found.athletes[str(row["athlete"])], found.sessions[str(row["session"])]
        counts[athlete, session] = number = counts.get((athlete, session), 0) + 1
        name = f"sub-{athlete}_ses-{safe_name(session)}_run-{number:02d}.parquet"
        why = _write(recording, file_in(place, name))
        if why:
            out.left_out.append((str(row["file"]), why))
        else:
            out.names[str(row["file"]), stretch] = name
            out.rows.append(_listed(row, name, found, study))
        if progress is not None:
            progress(Progress(done, len(files), name))
    return out


def _parts(study: Study, out: Forces) -> Iterator[tuple[int, Recording, dict[str, object]]]:
    """Yield every stretch of every file in use: its number, its force, its row."""
    for file, rows in study.files.groupby("file", sort=False):
        task = study.task(str(file))
        try:
            whole = read_recording(task.path, layout=task.layout)
        except (CmjlabError, OSError):
            out.left_out.append((str(file), "not_read"))
            continue
        for row in rows.to_dict("records"):
            stretch = int(row["stretch"])
            part = cut_stretch(whole, *task.stretches[stretch])
            if abs(whole.start_s) > _LATE_S:
                out.clocks[str(file)] = whole.start_s
                part = part.replace(start_s=part.start_s - whole.start_s)
            yield stretch, part, row


def _write(recording: Recording, path: Path) -> str:
    """Write one recording; return why it is not in the copy, "" when it is."""
    if not recording.n_samples:
        return "empty"
    write_recording(recording, path, time=False)
    try:
        again = read_recording(path, layout=LAYOUT)
        same = same_recording(recording, again)
    except CmjlabError:
        same = False
    if not same:
        path.unlink()
    return "" if same else "not_alike"


def same_recording(one: Recording, other: Recording) -> bool:
    """Return whether two recordings hold the same numbers, to the last bit."""
    return (
        (one.rate_hz, one.start_s, one.plates) == (other.rate_hz, other.start_s, other.plates)
        and one.force_n.shape == other.force_n.shape
        and bool(np.array_equal(one.force_n, other.force_n, equal_nan=True))
    )


def _listed(
    row: dict[str, object], name: str, found: Identities, study: Study
) -> dict[str, object]:
    """Return the row of recordings.csv of one file of the copy."""
    days = dict(zip(study.sessions["session"], study.sessions["date"], strict=True))
    own, session = str(row["athlete"]), str(row["session"])
    date = row["date"] if row["date"] and not pd.isna(row["date"]) else days.get(session)  # type: ignore[call-overload]
    trial = str(row["trial"] or "")
    return {
        "file": name,
        "athlete": found.athletes[own],
        "session": found.sessions[session],
        "trial": trial if trial.isdecimal() else "",
        "date": found.day(date, own),
        "load_kg": row["load_kg"],
    }


def jump_numbers(study: Study, file: str) -> dict[int, tuple[int, int]]:
    """Return for each jump of a file its stretch, and its number within that stretch."""
    task = study.task(file)
    if len(task.stretches) == 1:
        return {}
    out: dict[int, tuple[int, int]] = {}
    within: dict[int, int] = {}
    for number, (stretch, _) in enumerate(jumps_of(task, study.method), start=1):
        within[stretch] = within.get(stretch, 0) + 1
        out[number] = (stretch, within[stretch])
    return out
