"""study.toml: title, sessions in order, plan, method and layouts."""

from __future__ import annotations

import datetime as dt
import os
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.checks import suggestion
from cmjlab.errors import ArgumentError
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.plan import Plan
from cmjlab.safe_open import LINKED, linked_folders, read_file
from cmjlab.settings import Settings
from cmjlab.study.folder.block_settings import BlockSettings
from cmjlab.study.folder.ids import look_alikes, tidy_id, why_alike
from cmjlab.study.folder.missing_folder import no_study_file
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import iso_date
from cmjlab.study.remote import Mirror
from cmjlab.toml_text import read_toml

ROLES = ("baseline", "mid", "post", "follow_up", "monitoring")
_SECTIONS = ("study", "sessions", "plan", "block", "method", "layout")
_STUDY_KEYS = ("title", "recordings", "file_names", LINKED)
_SESSION_KEYS = ("session", "role", "date")
_FILE = "study.toml"
S = TypeVar("S", bound=Settings)


@dataclass(frozen=True)
class StudySettings:
    """What study.toml says.

    Attributes
    ----------
    title : str
    recordings : Path
        Folder with the force files.
    file_names : str
        Template of the file names; "" for entity names (sub-…_ses-…_run-…).
    sessions : pandas.DataFrame
        Columns session, role, date (ISO text), in the order of the study.
    plan, method, layouts
        Choices; the first layout whose match fits a file is used.
    block : BlockSettings
        Weeks of the block, bar and plates.
    roots : tuple of Path
        Folders in which recordings may lie when links are followed: the study, what it names as
        its recordings folder, and its ``linked_folders``.
    mirror : Mirror or None
        What stands here of a study at a URL; None: the study is a folder.
    """

    title: str
    recordings: Path
    file_names: str
    sessions: pd.DataFrame
    plan: Plan
    method: Method
    layouts: tuple[Layout, ...]
    block: BlockSettings
    roots: tuple[Path, ...] = ()
    mirror: Mirror | None = None

    @property
    def session_order(self) -> list[str]:
        """Session ids in the order of the study."""
        return list(self.sessions["session"])

    @property
    def monitoring(self) -> list[str]:
        """Sessions with role monitoring, in order: weeks to follow, no part of the comparison."""
        return list(self.sessions.loc[self.sessions["role"] == "monitoring", "session"])

    @property
    def weeks_of_block(self) -> int:
        """Weeks of the block: as [block] says, else as the plan says, at least one."""
        return self.block.weeks or max(1, round(self.plan.block_weeks))

    def planned_session(self, which: str) -> str:
        """Return the session "before" or "after" the block, "" when there is none.

        An empty entry of the plan means the last session with role baseline, or post.
        """
        named = str(getattr(self.plan, which))
        if named:
            return named
        role = "baseline" if which == "before" else "post"
        found = self.sessions.loc[self.sessions["role"] == role, "session"]
        return str(found.iloc[-1]) if len(found) else ""


def read_settings(folder: Path, problems: Problems) -> StudySettings:
    """Read study.toml of a folder; whatever is wrong goes to ``problems``."""
    data = _toml(folder, problems)
    for section in data:
        if section not in _SECTIONS:
            problems.add(
                "fail", "unknown_section", where=(_FILE, "", section), found=section,
                expected=", ".join(_SECTIONS),
                remedy=f"Correct or remove it.{suggestion(section, _SECTIONS)}",
            )  # fmt: skip
    head = _section(data, "study", problems)
    _unknown(head, _STUDY_KEYS, "study", problems)
    for key, value in head.items():
        if key == LINKED and isinstance(value, list) and all(isinstance(v, str) for v in value):
            continue
        if not isinstance(value, str):
            problems.add("fail", "bad_setting", where=(_FILE, "", f"study.{key}"), found=value,
                         expected="text in quotation marks", remedy="Correct it.")  # fmt: skip
    # Without study.toml it is enough to say so once; sessions are not missed on top.
    missing = any(r["code"] == "no_study_file" for r in problems.rows)
    sessions = _sessions(data.get("sessions", []), Problems() if missing else problems)
    plan = _settings(Plan, _section(data, "plan", problems), "plan", problems)
    _check_plan(plan, list(sessions["session"]), problems)
    blocks = data.get("layout", [])
    if isinstance(blocks, dict):
        blocks = [blocks]
    if not isinstance(blocks, list):
        problems.add("fail", "not_a_section", where=(_FILE, "", "layout"), found=blocks,
                     expected="[[layout]] blocks", remedy="Write [[layout]] on its own line.")  # fmt: skip
        blocks = []
    recordings = folder / str(head.get("recordings", "recordings"))
    return StudySettings(
        title=str(head.get("title", folder.resolve().name)),
        recordings=recordings,
        file_names=str(head.get("file_names", "")),
        sessions=sessions,
        plan=plan,
        method=_method(_section(data, "method", problems), problems),
        layouts=tuple(
            _settings(Layout, b, f"layout {i}", problems) for i, b in enumerate(blocks, start=1)
        ),
        block=_block(_section(data, "block", problems), list(sessions["session"]), problems),
        roots=_roots(folder, recordings),
    )


def _roots(folder: Path, recordings: Path) -> tuple[Path, ...]:
    """Return where recordings may lie; a folder that study.toml names elsewhere is allowed by that."""
    named, home = (Path(os.path.abspath(p)) for p in (recordings, folder))
    elsewhere = () if named.is_relative_to(home) else (recordings,)
    return (folder, *elsewhere, *linked_folders(folder))


def _toml(folder: Path, problems: Problems) -> dict[str, Any]:
    path = folder / _FILE
    try:
        return read_toml(read_file(path, study=folder).decode("utf-8-sig"))
    except FileNotFoundError:
        problems.add(
            "fail", "no_study_file", where=(_FILE, "", ""), found="no such file",
            expected="study.toml in the study folder",
            remedy=no_study_file(folder),
        )  # fmt: skip
    except (OSError, UnicodeDecodeError) as problem:
        problems.add("fail", "not_readable", where=(_FILE, "", ""), found=str(problem),
                     expected="a text file in UTF-8", remedy="Save it as UTF-8.")  # fmt: skip
    except tomllib.TOMLDecodeError as problem:
        problems.add(
            "fail", "not_toml", where=(_FILE, "", ""), found=str(problem), expected="valid TOML",
            remedy="Texts stand in quotation marks, e.g. role = \"baseline\"; dates as 2026-04-03.",
        )  # fmt: skip
    return {}


def _section(data: dict[str, Any], name: str, problems: Problems) -> dict[str, Any]:
    value = data.get(name, {})
    if isinstance(value, dict):
        return value
    problems.add("fail", "not_a_section", where=(_FILE, "", name), found=value,
                 expected=f"a section [{name}]", remedy=f"Write [{name}] on its own line.")  # fmt: skip
    return {}


def _unknown(
    values: dict[str, Any], allowed: Sequence[str], section: str, problems: Problems
) -> None:
    for key in values:
        if key not in allowed:
            problems.add(
                "fail", "unknown_setting", where=(_FILE, "", f"{section}.{key}"), found=key,
                expected=", ".join(allowed),
                remedy=f"Correct or remove it.{suggestion(key, allowed)}",
            )  # fmt: skip


def _settings(kind: type[S], values: Any, section: str, problems: Problems) -> S:
    try:
        if not isinstance(values, dict):
            raise ArgumentError(f"found {values!r}; a table of settings is needed.")
        return kind.from_dict(values)
    except ArgumentError as problem:
        problems.add(
            "fail", "bad_setting", where=(_FILE, "", section), found=str(problem),
            expected="settings as documented", remedy="Correct the setting that is named.",
        )  # fmt: skip
        return kind()


def _block(values: dict[str, Any], sessions: list[str], problems: Problems) -> BlockSettings:
    block = _settings(BlockSettings, values, "block", problems)
    until = block.maximum_until
    if until and until not in sessions:
        problems.add(
            "fail", "unknown_session", where=(_FILE, "", "block.maximum_until"), found=until,
            expected=", ".join(sessions), remedy=f"Name a session.{suggestion(until, sessions)}",
        )  # fmt: skip
    return block


def method_from(values: dict[str, Any]) -> Method:
    """Return the Method of a section: a preset by name, with the other settings on top.

    Raises
    ------
    ArgumentError
        When a preset or setting is not known or not allowed.
    """
    changes = dict(values)
    base = Method.preset(str(changes.pop("preset", "recommended")))
    return base.replace(**changes)


def _method(values: dict[str, Any], problems: Problems) -> Method:
    try:
        return method_from(values)
    except ArgumentError as problem:
        problems.add(
            "fail", "bad_setting", where=(_FILE, "", "method"), found=str(problem),
            expected="settings as documented", remedy="Correct the setting that is named.",
        )  # fmt: skip
        return Method()


def _sessions(blocks: Any, problems: Problems) -> pd.DataFrame:
    """Return the sessions in order, checked."""
    rows: list[dict[str, str]] = []
    if not isinstance(blocks, list) or not blocks:
        problems.add(
            "fail", "no_sessions", where=(_FILE, "", "sessions"), found="no sessions",
            expected="one [[sessions]] block per session, in order",
            remedy="Add blocks with session, role and date: the order cannot be guessed from names.",
        )  # fmt: skip
        blocks = []
    for number, block in enumerate(blocks, start=1):
        if not isinstance(block, dict) or not str(block.get("session", "")).strip():
            problems.add("fail", "session_without_name", where=(_FILE, "", f"sessions {number}"),
                         found=block, expected='session = "base1"', remedy="Name it.")  # fmt: skip
            continue
        _unknown(block, _SESSION_KEYS, f"sessions {number}", problems)
        rows.append(_one_session(block, number, problems))
    frame = pd.DataFrame(rows, columns=list(_SESSION_KEYS), dtype="str")
    _compare_sessions(frame, problems)
    return frame.drop_duplicates("session").reset_index(drop=True)


def _one_session(block: dict[str, Any], number: int, problems: Problems) -> dict[str, str]:
    place = (_FILE, "", f"sessions {number}")
    role = str(block.get("role", "monitoring"))
    if role not in ROLES:
        problems.add("fail", "bad_role", where=place, found=role, expected=", ".join(ROLES),
                     remedy=f"Use one of these.{suggestion(role, ROLES)}")  # fmt: skip
    date = block.get("date", "")
    if isinstance(date, dt.datetime):
        date = date.date()
    try:
        date = iso_date(str(date)) if str(date).strip() else ""
    except ValueError as problem:
        found, expected, remedy = problem.args
        problems.add("fail", "bad_date", where=place, found=found, expected=expected, remedy=remedy)
        date = ""
    return {"session": tidy_id(block["session"]), "role": role, "date": str(date)}


def _compare_sessions(frame: pd.DataFrame, problems: Problems) -> None:
    for name in frame.loc[frame.duplicated("session"), "session"]:
        problems.add("fail", "session_twice", where=(_FILE, "", "sessions"), found=name,
                     expected="every session once", remedy="Remove or rename one.")  # fmt: skip
    for group in look_alikes(frame["session"]):
        problems.add(
            "fail", "sessions_look_alike", where=(_FILE, "", "sessions"), found=", ".join(group),
            expected="sessions that cannot be confused",
            remedy=f"They differ only in {why_alike(group[0], group[1])}: keep one, or rename.",
        )  # fmt: skip
    dated = frame[frame["date"] != ""]
    for (_, first), (_, second) in zip(
        dated.iloc[:-1].iterrows(), dated.iloc[1:].iterrows(), strict=True
    ):
        if second["date"] < first["date"]:
            problems.add(
                "fail", "sessions_out_of_order", where=(_FILE, "", "sessions"),
                found=f"{first['session']} on {first['date']} stands before"
                f" {second['session']} on {second['date']}",
                expected="sessions in the order of their dates",
                remedy="Correct a date or put the blocks in order.",
            )  # fmt: skip


def _check_plan(plan: Plan, sessions: list[str], problems: Problems) -> None:
    for key in ("before", "after", "selected_in"):
        name = str(getattr(plan, key))
        if name and name not in sessions:
            problems.add(
                "fail", "unknown_session", where=(_FILE, "", f"plan.{key}"), found=name,
                expected=", ".join(sessions), remedy=f"Name a session.{suggestion(name, sessions)}",
            )  # fmt: skip
    both = plan.before in sessions and plan.after in sessions
    if both and sessions.index(plan.before) >= sessions.index(plan.after):
        problems.add(
            "fail", "before_after_after", where=(_FILE, "", "plan.before"), found=plan.before,
            expected=f"a session earlier than {plan.after}", remedy="Swap before and after.",
        )  # fmt: skip
    named = {
        "primary_metric": [plan.primary_metric],
        "report_metrics": list(plan.report_metrics),
        "change_that_matters": list(plan.change_that_matters),
    }
    for key, metrics in named.items():
        for metric in metrics:
            if not isinstance(metric, str):
                problems.add(
                    "fail", "bad_setting", where=(_FILE, "", f"plan.{key}"), found=metric,
                    expected="names of metrics in quotation marks", remedy="Correct it.",
                )  # fmt: skip
            elif metric not in METRICS:
                problems.add(
                    "warn", "unknown_metric", where=(_FILE, "", f"plan.{key}"), found=metric,
                    expected="a metric of the catalog, or a measure with its unit",
                    remedy=f"Correct it, unless it is a measure of yours.{suggestion(metric, METRICS)}",
                )  # fmt: skip
    for metric, change in plan.change_that_matters.items():
        if isinstance(change, bool) or not isinstance(change, int | float) or not change > 0:
            problems.add(
                "fail", "bad_setting", where=(_FILE, "", f"plan.change_that_matters.{metric}"),
                found=change, expected="a number above 0, in the metric's unit",
                remedy="Write for instance jump_height_m = 0.015.",
            )  # fmt: skip
