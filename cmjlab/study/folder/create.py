"""Make a study folder: study.toml with comments, and every table with a filled example line."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.files.atomic_write import atomic_copy, atomic_write
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.plan import Plan
from cmjlab.recording import Recording
from cmjlab.safe_names import file_in
from cmjlab.settings import Settings
from cmjlab.study.folder.block_settings import BlockSettings
from cmjlab.study.folder.cells import find_table
from cmjlab.study.folder.ids import tidy_id
from cmjlab.study.folder.settings import ROLES
from cmjlab.study.folder.user_tables import iso_date
from cmjlab.tables import USER_TABLES, Table

#: Example lines of the tables, written as remarks: they are not data.
EXAMPLES: dict[str, dict[str, str]] = {
    "athletes": {
        "athlete": "A07", "group": "jump", "sex": "female", "birth_year": "2007",
        "stature_m": "1.75", "body_mass_kg": "68.4", "position": "wing", "team": "under 19",
    },
    "recordings": {
        "file": "monday/trial 4.csv", "athlete": "A07", "session": "base1", "trial": "2",
        "date": "2026-08-31", "start": "", "stop": "", "load_kg": "",
    },
    "sessions": {
        "session": "base1", "date": "2026-08-31", "tester": "T1", "surface": "wooden floor",
        "footwear": "own training shoes", "wording": "as high as you can",
        "warm_up": "ten minutes, three practice jumps", "load_kg": "", "stable": "",
        "deviations": "none",
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
        "reps": "5", "weeks": "", "percent_of": "",
    },
    "targets": {
        "subgroup": "strength", "metric": "jump_height_m", "wanted": "more", "amount": "0.015",
        "why": "strength is what holds their jump back",
    },
    "reference": {
        "metric": "jump_height_m", "sex": "female", "position": "", "level": "under 19",
        "mean": "0.27", "sd": "0.04", "p5": "", "p10": "", "p25": "", "p50": "", "p75": "", "p90": "",
        "p95": "", "n": "40", "source": "author, year, journal, table",
    },
    "names": {"athlete": "A07", "name": "Example Person"},
}  # fmt: skip
_TEMPLATE = Path(__file__).with_name("template") / "study.toml"


def create_study(
    folder: str | Path,
    roster: pd.DataFrame | None = None,
    recordings: Iterable[Recording | str | Path] = (),
    settings: dict[str, Any] | str | None = None,
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
    settings : dict or str, optional
        Contents of study.toml: plain data (study, sessions, plan, method, layout), or its
        text, e.g. from :func:`template_toml`. Nothing: the commented template.
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
    text = template_toml() if settings is None else settings
    if not isinstance(text, str):
        text = study_toml(text)
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    atomic_write(folder / "study.toml", text)
    for stem, table in USER_TABLES.items():
        if stem not in given and not find_table(folder, stem) and stem != "recordings":
            _write_example(file_in(folder, f"{stem}.csv"), stem, table)
    for stem, frame in given.items():
        _write_given(file_in(folder, f"{stem}.csv"), frame)
    _write_recordings(folder / "recordings", recordings, resolution_n, suffix)
    return folder


def sessions_from_text(text: str) -> list[dict[str, str]]:
    """Return sessions from a short text such as "base1:baseline:2026-08-31, post:post".

    Each session is its id, its role and, if known, its date, with colons between.

    Raises
    ------
    ArgumentError
        When a part is not of that form.
    """
    sessions = []
    for part in filter(None, (p.strip() for p in text.split(","))):
        words = [w.strip() for w in part.split(":")]
        if not 2 <= len(words) <= 3 or words[1] not in ROLES or not words[0]:
            raise ArgumentError(
                f"sessions: found {part!r}; write id:role or id:role:date, e.g. base1:baseline."
                f" Roles are {', '.join(ROLES)}."
            )
        block = {"session": words[0], "role": words[1]}
        if len(words) == 3:
            try:
                block["date"] = iso_date(words[2])
            except ValueError as problem:
                found, expected, remedy = problem.args
                raise ArgumentError(
                    f"sessions: found {found!r}, expected {expected}. {remedy}"
                ) from None
        sessions.append(block)
    return sessions


def template_toml(title: str = "", sessions: Sequence[dict[str, str]] = ()) -> str:
    """Return the commented study.toml, with this title and these sessions put in.

    Parameters
    ----------
    title : str
        Title; empty: the example's.
    sessions : sequence of dict
        session, role and date, as from :func:`sessions_from_text`; empty: the example's.
    """
    import tomli_w

    text = _TEMPLATE.read_text(encoding="utf-8")
    if title:
        line = tomli_w.dumps({"title": title}).strip()
        text = re.sub(r"^title = .*$", lambda _: line, text, count=1, flags=re.MULTILINE)
    if sessions:
        first, last = text.index("\n[[sessions]]\n") + 1, text.index("\n[plan]\n") + 1
        text = text[:first] + _blocks("sessions", sessions) + text[last:]
        for which in ("before", "after"):
            text = re.sub(rf'^{which} = "\w*" *', f'{which} = "" ', text, flags=re.MULTILINE)
    return text


def study_toml(settings: dict[str, Any]) -> str:
    """Return study.toml for plain settings, checked, with a remark at the top.

    Raises
    ------
    ArgumentError
        When a section, role or setting does not exist.
    """
    import tomli_w

    allowed = ("study", "sessions", "plan", "block", "method", "layout")
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
    BlockSettings.from_dict(data.get("block", {}))
    method = dict(data.get("method", {}))
    Method.preset(str(method.pop("preset", "recommended"))).replace(**method)
    for layout in data.get("layout", []):
        Layout.from_dict(layout)
    head = (
        "# Settings of this study. Sessions stand in the order in which they were held;\n"
        f"# role: {', '.join(ROLES)}. Dates as year-month-day.\n\n"
    )
    listed = {k: data.pop(k) for k in ("sessions", "layout") if k in data}
    text = head + tomli_w.dumps(data)
    for name, blocks in listed.items():
        text += "\n" + _blocks(name, blocks)
    return text


def _blocks(name: str, blocks: Sequence[dict[str, Any]]) -> str:
    """Return [[name]] blocks, one below the other."""
    import tomli_w

    return "".join(f"[[{name}]]\n{tomli_w.dumps(b)}\n" for b in blocks)


def _plain(value: Any) -> Any:
    """Return plain data for TOML: settings objects become dicts of what is not usual."""
    if isinstance(value, Settings):
        usual = type(value)().to_dict()
        return {k: v for k, v in value.to_dict().items() if v != usual[k]}
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
    atomic_write(path, b"\xef\xbb\xbf" + out.getvalue().encode("utf-8"))


def _write_given(path: Path, frame: pd.DataFrame) -> None:
    from cmjlab.files.table import write_table

    write_table(frame, path)


def _write_recordings(
    folder: Path, recordings: Iterable[Recording | str | Path], resolution_n: float, suffix: str
) -> None:
    from cmjlab.files.write import write_recording

    for item in recordings:
        if isinstance(item, Recording):
            write_recording(
                item, file_in(folder, entity_name(item, suffix)), resolution_n=resolution_n
            )
        else:
            target = file_in(folder, Path(item).name)
            if target.exists():
                raise StudyError(
                    f"{target.name}: stands in the study already; it is kept as it is."
                )
            atomic_copy(Path(item), target)


def entity_name(recording: Recording, suffix: str = ".csv") -> str:
    """Return the file name of a recording: sub-<athlete>_ses-<session>_run-<n>.<ext>.

    Raises
    ------
    ArgumentError
        When athlete or session is missing or holds signs that a file name cannot carry.
    """
    parts = []
    for entity, value in (("sub", recording.athlete), ("ses", recording.session)):
        word = tidy_id(value or "")
        if not word or not word.isalnum():
            raise ArgumentError(
                f"recording: its {'athlete' if entity == 'sub' else 'session'} is {value!r}; letters"
                " and digits are needed for a file name."
            )
        parts.append(f"{entity}-{word}")
    if recording.trial:
        word = tidy_id(recording.trial)
        parts.append(f"run-{word.zfill(2) if word.isdecimal() else word}")
    return "_".join(parts) + suffix
