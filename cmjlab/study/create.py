"""Make a study folder: study.toml with comments, and every table with a filled example line."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.plan import Plan
from cmjlab.recording import Recording
from cmjlab.study.cells import find_table
from cmjlab.study.folder import ROLES
from cmjlab.study.ids import plain
from cmjlab.tables import USER_TABLES, Table

#: Example lines of the tables, written as remarks: they are not data.
EXAMPLES: dict[str, dict[str, str]] = {
    "athletes": {
        "athlete": "A07", "group": "jump", "sex": "female", "birth_year": "2007",
        "stature_m": "1.75", "body_mass_kg": "68.4", "position": "wing", "team": "under 19",
    },
    "recordings": {
        "file": "monday/trial 4.csv", "athlete": "A07", "session": "base1", "trial": "2",
        "date": "2026-08-31", "start": "", "stop": "",
    },
    "sessions": {
        "session": "base1", "date": "2026-08-31", "tester": "T1", "surface": "wooden floor",
        "footwear": "own training shoes", "wording": "as high as you can",
        "warm_up": "ten minutes, three practice jumps", "deviations": "none",
    },
    "measures": {
        "athlete": "A07", "session": "base1", "date": "2026-09-01", "measure": "squat_1rm",
        "value": "105", "unit": "kg", "how": "tested to parallel", "note": "",
    },
    "participation": {
        "athlete": "A07", "session": "post", "from": "", "to": "", "status": "absent",
        "reason": "school trip",
    },
    "decisions": {
        "file": "sub-A07_ses-base1_run-02.csv", "jump": "1", "action": "reject", "event": "",
        "time_s": "", "reason": "swung the arms", "who": "T1",
        "when": "2026-08-31T17:20:00+02:00",
    },
    "subgroups": {
        "subgroup": "strength", "rule": "relative_strength < 1.5", "athlete": "", "reason": "",
    },
    "block": {
        "exercise": "drop jump", "subgroup": "all", "start_position": "box 30 cm",
        "range": "short", "intent": "as fast as possible", "load": "body weight", "sets": "4",
        "reps": "5",
    },
    "names": {"athlete": "A07", "name": "Example Person"},
}  # fmt: skip
_TEMPLATE = Path(__file__).with_name("template") / "study.toml"


def create_study(
    folder: str | Path,
    roster: pd.DataFrame | None = None,
    recordings: Iterable[Recording | str | Path] = (),
    settings: dict[str, Any] | None = None,
    *,
    tables: dict[str, pd.DataFrame] | None = None,
    resolution_n: float = 0.1,
    suffix: str = ".csv",
) -> Path:
    """Write a new study folder; nothing that is there already is changed.

    Parameters
    ----------
    folder : str or Path
        Folder to make; it must not hold a study yet.
    roster : pandas.DataFrame, optional
        Becomes athletes.csv.
    recordings : iterable of Recording or path
        Recordings (written as entity names from their athlete, session and trial) or files
        (copied with their own name).
    settings : dict, optional
        Contents of study.toml as plain data: study, sessions, plan, method, layout. Nothing:
        the commented template.
    tables : dict of str to DataFrame, optional
        Further tables by file stem ("measures", "participation", …).
    resolution_n : float
        Step to which written force is rounded, newtons.
    suffix : str
        Format of written recordings: ".csv", ".csv.gz", …

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    StudyError
        When a study stands there already.
    ArgumentError
        When settings or tables have names that do not exist.
    """
    folder = Path(folder)
    if (folder / "study.toml").exists():
        raise StudyError(
            f"{folder.name}: a study stands there already (study.toml). Choose another folder."
        )
    given = dict(tables or {})
    if roster is not None:
        given["athletes"] = roster
    for stem in given:
        if stem not in USER_TABLES:
            raise ArgumentError(
                f"tables: there is no table {stem!r}.{suggestion(stem, USER_TABLES)}"
                f" Tables are {', '.join(USER_TABLES)}."
            )
    text = _TEMPLATE.read_text(encoding="utf-8") if settings is None else study_toml(settings)
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    for stem, table in USER_TABLES.items():
        if stem not in given and not find_table(folder, stem) and stem != "recordings":
            _write_example(folder / f"{stem}.csv", stem, table)
    for stem, frame in given.items():
        _write_given(folder / f"{stem}.csv", frame)
    _write_recordings(folder / "recordings", recordings, resolution_n, suffix)
    return folder


def study_toml(settings: dict[str, Any]) -> str:
    """Return study.toml for plain settings, checked, with a remark at the top.

    Raises
    ------
    ArgumentError
        When a section, role or setting does not exist.
    """
    import tomli_w

    allowed = ("study", "sessions", "plan", "method", "layout")
    for section in settings:
        if section not in allowed:
            raise ArgumentError(
                f"settings: there is no section {section!r}; sections are {', '.join(allowed)}."
                f"{suggestion(section, allowed)}"
            )
    data = {k: _plain(settings[k]) for k in allowed if k in settings}
    for block in data.get("sessions", []):
        role = block.get("role", "monitoring")
        if role not in ROLES:
            raise ArgumentError(f"settings: role {role!r} is not one of {', '.join(ROLES)}.")
    Plan.from_dict(data.get("plan", {}))
    method = dict(data.get("method", {}))
    Method.preset(str(method.pop("preset", "recommended"))).replace(**method)
    for layout in data.get("layout", []):
        Layout.from_dict(layout)
    head = (
        "# Settings of this study. Sessions stand in the order in which they were held;\n"
        f"# role: {', '.join(ROLES)}. Dates as year-month-day.\n\n"
    )
    return head + tomli_w.dumps(data)


def _plain(value: Any) -> Any:
    """Return plain data for TOML: settings objects become dicts, tuples lists."""
    if isinstance(value, Plan | Method | Layout):
        return value.to_dict()
    if isinstance(value, pd.DataFrame):
        return [{k: v for k, v in r.items() if v != ""} for r in value.to_dict("records")]
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return value


def _write_example(path: Path, stem: str, table: Table) -> None:
    """Write the header and one example line, which is a remark and no data."""
    example = EXAMPLES[stem]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.names)
    cells = [example.get(n, "") for n in table.names]
    writer.writerow([f"# {cells[0]}", *cells[1:]])
    path.write_bytes(b"\xef\xbb\xbf" + out.getvalue().encode("utf-8"))


def _write_given(path: Path, frame: pd.DataFrame) -> None:
    from cmjlab.files.table import write_table

    write_table(frame, path)


def _write_recordings(
    folder: Path, recordings: Iterable[Recording | str | Path], resolution_n: float, suffix: str
) -> None:
    from cmjlab.files.write import write_recording

    for item in recordings:
        if isinstance(item, Recording):
            write_recording(item, folder / entity_name(item, suffix), resolution_n=resolution_n)
        else:
            target = folder / Path(item).name
            if target.exists():
                raise StudyError(
                    f"{target.name}: stands in the study already; it is kept as it is."
                )
            shutil.copy2(item, target)


def entity_name(recording: Recording, suffix: str = ".csv") -> str:
    """Return the file name of a recording: sub-<athlete>_ses-<session>_run-<n>.<ext>.

    Raises
    ------
    ArgumentError
        When athlete or session is missing or holds signs that a file name cannot carry.
    """
    parts = []
    for entity, value in (("sub", recording.athlete), ("ses", recording.session)):
        word = plain(value or "")
        if not word or not word.isalnum():
            raise ArgumentError(
                f"recording: its {'athlete' if entity == 'sub' else 'session'} is {value!r}; letters"
                " and digits are needed for a file name."
            )
        parts.append(f"{entity}-{word}")
    if recording.trial:
        word = plain(recording.trial)
        parts.append(f"run-{word.zfill(2) if word.isdecimal() else word}")
    return "_".join(parts) + suffix
