"""Cross-checks of people and sessions: do roster, recordings and the other tables agree."""

from __future__ import annotations

import pandas as pd

from cmjlab.checks import listed, suggestion
from cmjlab.study.folder.ids import likeness, look_alikes, looks_damaged, why_alike
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.same_test import check_conditions, check_file_dates
from cmjlab.study.folder.settings import StudySettings
from cmjlab.study.folder.user_tables import ROW

_ROSTER = "athletes"


def check_people(
    settings: StudySettings, tables: dict[str, pd.DataFrame], problems: Problems
) -> pd.DataFrame:
    """Check ids against each other and return the recordings that can be used.

    A recording is left out only when its session is not one of the study's; it is then named
    in the problems. Athletes who are not on the roster stay in, without a group.
    """
    roster, files = tables["athletes"], tables["files"]
    check_roster(roster, problems)
    known = list(roster["athlete"].dropna())
    _damaged(files["athlete"], "recordings", problems)
    _athletes_of_files(files, known, problems)
    usable = _sessions_of_files(files, settings.session_order, problems)
    _athletes_without_files(usable, roster, tables["participation"], problems)
    _same_trial(usable, problems)
    for stem in ("measures", "participation", "subgroups"):
        _ids_of_table(tables[stem], stem, known, problems)
    for stem in ("measures", "participation", "sessions"):
        _sessions_of_table(tables[stem], stem, settings.session_order, problems)
    _group_names(roster, settings, problems)
    _held_out_of_order(tables["sessions"], settings, problems)
    check_conditions(tables["sessions"], problems)
    check_file_dates(usable, settings, problems)
    _files_of_decisions(tables["decisions"], files, problems)
    return usable


def check_roster(roster: pd.DataFrame, problems: Problems) -> None:
    """Check the roster by itself: look-alikes, damaged ids, impossible values, groups of one."""
    ids = roster["athlete"].dropna()
    for group in look_alikes(ids):
        rows = ", ".join(str(n) for n in roster.loc[roster["athlete"].isin(group), ROW])
        problems.add(
            "fail", "ids_look_alike", where=(_ROSTER, rows, "athlete"), found=", ".join(group),
            expected="ids that cannot be confused",
            remedy=f"They differ only in {why_alike(group[0], group[1])}: one person or two?"
            " Rename or remove one.",
        )  # fmt: skip
    _damaged(ids, _ROSTER, problems)
    for word, number in zip(roster["athlete"], roster[ROW], strict=True):
        if pd.notna(word) and not str(word).isalnum() and not looks_damaged(str(word)):
            problems.add(
                "warn", "id_with_signs", where=(_ROSTER, number, "athlete"), found=word,
                expected="letters and digits only",
                remedy="Other signs do not survive in file names; rename the id, e.g. A07.",
            )  # fmt: skip
    limits = {
        "body_mass_kg": (20.0, 250.0, "kg"),
        "stature_m": (1.0, 2.5, "m"),
        "birth_year": (1920, 2025, ""),
    }
    for column, (low, high, unit) in limits.items():
        values = pd.to_numeric(roster[column])
        for number, value in zip(roster[ROW], values, strict=True):
            if pd.notna(value) and not low <= value <= high:
                problems.add(
                    "fail", "impossible_value", where=(_ROSTER, number, column),
                    found=f"{value:g} {unit}".strip(), expected=f"{low:g} to {high:g} {unit}".strip(),
                    remedy=_unit_hint(column, float(value)),
                )  # fmt: skip


def _unit_hint(column: str, value: float) -> str:
    if column == "stature_m" and 100 <= value <= 250:
        return f"This is in centimetres: write {value / 100:g}."
    if column == "body_mass_kg" and value > 250:
        return f"If this is newtons, the mass is {value / 9.80665:.1f} kg."
    return "Correct the cell or leave it empty."


def _damaged(ids: pd.Series, place: str, problems: Problems) -> None:
    for word in dict.fromkeys(str(w) for w in ids.dropna()):
        if looks_damaged(word):
            problems.add(
                "fail", "id_damaged", where=(place, "", "athlete"), found=word,
                expected="an id of letters and digits, e.g. A07",
                remedy="A spreadsheet has probably changed it: format the column as text, type again.",
            )  # fmt: skip


def _athletes_of_files(files: pd.DataFrame, known: list[str], problems: Problems) -> None:
    """Every athlete of a file stands on the roster; look-alikes are an error."""
    groups = files.groupby("athlete", sort=False)["file"] if len(files) else []
    by_likeness = {likeness(k): k for k in known}
    seen: dict[str, str] = {}
    for athlete, names in groups:
        other = seen.setdefault(likeness(athlete), athlete)
        like = by_likeness.get(likeness(athlete), other)
        if athlete in known:
            like = athlete
        if like != athlete:
            problems.add(
                "fail", "id_looks_like_another", where=(listed(names, most=3), "", "athlete"),
                found=athlete, expected=like,
                remedy=f"It differs from {like!r} only in {why_alike(athlete, like)}. Rename the"
                " file or the id, or list the file in recordings.csv.",
            )  # fmt: skip
        elif known and athlete not in known:
            problems.add(
                "warn", "athlete_not_on_roster", where=(listed(names, most=3), "", "athlete"),
                found=athlete, expected="an athlete of the roster",
                remedy=f"Add the athlete, or correct the file.{suggestion(athlete, known)}"
                " The jumps are used, without a group.",
            )  # fmt: skip


def _athletes_without_files(
    files: pd.DataFrame, roster: pd.DataFrame, participation: pd.DataFrame, problems: Problems
) -> None:
    tested = set(files["athlete"])
    explained = set(participation["athlete"].dropna())
    for athlete, number in zip(roster["athlete"], roster[ROW], strict=True):
        if pd.notna(athlete) and athlete not in tested and athlete not in explained:
            problems.add(
                "warn", "athlete_without_files", where=(_ROSTER, number, "athlete"), found=athlete,
                expected="at least one recording",
                remedy="Say why in participation.csv, add the files, or remove the row.",
            )  # fmt: skip


def _sessions_of_files(files: pd.DataFrame, order: list[str], problems: Problems) -> pd.DataFrame:
    like = {likeness(s): s for s in order}
    unknown = files[~files["session"].isin(order)]
    for session, names in unknown.groupby("session", sort=False)["file"]:
        near = like.get(likeness(session))
        if near:
            problems.add(
                "fail", "session_looks_like_another", where=(listed(names, most=3), "", "session"),
                found=session, expected=near,
                remedy=f"It differs from {near!r} only in {why_alike(session, near)}. Rename the"
                " file, or list it in recordings.csv.",
            )  # fmt: skip
        else:
            problems.add(
                "warn", "session_not_in_study", where=(listed(names, most=len(names)), "", "session"),
                found=f"{session} ({len(names)} file(s))", expected=", ".join(order),
                remedy="These files are not used: add the session to study.toml, in its place."
                + suggestion(session, order),
            )  # fmt: skip
    return files[files["session"].isin(order)].reset_index(drop=True)


def _same_trial(files: pd.DataFrame, problems: Problems) -> None:
    """The same athlete, session and trial in two files: one is probably a copy."""
    key = ["athlete", "session", "trial"]
    numbered = files[files["trial"].fillna("") != ""]
    twice = numbered[numbered.duplicated(key, keep=False)]
    for (athlete, session, trial), group in twice.groupby(key, sort=False):
        if group["file"].nunique() > 1:
            problems.add(
                "fail", "trial_twice", where=(listed(group["file"]), "", "trial"),
                found=f"{athlete}, {session}, trial {trial} in {len(group)} files",
                expected="one file per trial",
                remedy="Remove the copy, or give each its own trial number.",
            )  # fmt: skip


def _ids_of_table(table: pd.DataFrame, stem: str, known: list[str], problems: Problems) -> None:
    if not known or table.empty:
        return
    like = {likeness(k): k for k in known}
    part = table.dropna(subset=["athlete"])
    for athlete, rows in part.groupby("athlete", sort=False)[ROW]:
        if athlete in known:
            continue
        near = like.get(likeness(athlete))
        problems.add(
            "fail" if near else "warn", "unknown_athlete", where=(stem, listed(rows), "athlete"),
            found=athlete, expected=near or "an athlete of the roster",
            remedy=f"It differs from {near!r} only in {why_alike(athlete, near)}: correct it."
            if near
            else f"Correct the id or add the athlete.{suggestion(athlete, known)}",
        )  # fmt: skip


def _sessions_of_table(
    table: pd.DataFrame, stem: str, order: list[str], problems: Problems
) -> None:
    if table.empty:
        return
    for session, rows in table.dropna(subset=["session"]).groupby("session", sort=False)[ROW]:
        if session not in order:
            problems.add(
                "fail", "unknown_session", where=(stem, listed(rows), "session"), found=session,
                expected=", ".join(order), remedy=f"Correct it.{suggestion(session, order)}",
            )  # fmt: skip


def _group_names(roster: pd.DataFrame, settings: StudySettings, problems: Problems) -> None:
    groups = roster["group"].dropna()
    for group in look_alikes(groups):
        problems.add(
            "fail", "groups_look_alike", where=(_ROSTER, "", "group"), found=", ".join(group),
            expected="one spelling",
            remedy=f"They differ only in {why_alike(group[0], group[1])}: correct the roster.",
        )  # fmt: skip
    for group, count in groups.value_counts(sort=False).items():
        if count == 1:
            problems.add(
                "warn", "group_of_one", where=(_ROSTER, "", "group"), found=f"{group}: 1 athlete",
                expected="at least two athletes in a group",
                remedy="A group of one has no spread; a misspelt name is the usual cause.",
            )  # fmt: skip
    control = settings.plan.control_group
    if control and control not in set(groups):
        problems.add(
            "fail", "unknown_group", where=("study.toml", "", "plan.control_group"), found=control,
            expected=", ".join(dict.fromkeys(groups)) or "a group of the roster",
            remedy=f"Name a group of athletes.csv.{suggestion(control, list(groups))}",
        )  # fmt: skip
    if len(groups) and roster["group"].isna().any():
        rows = listed(roster.loc[roster["group"].isna(), ROW])
        problems.add(
            "warn", "no_group", where=(_ROSTER, rows, "group"), found="empty",
            expected="a group for every athlete",
            remedy="Athletes without a group are left out of comparisons between groups.",
        )  # fmt: skip


def _held_out_of_order(notes: pd.DataFrame, settings: StudySettings, problems: Problems) -> None:
    """Dates of sessions.csv run in the order of study.toml and agree with it."""
    held = dict(zip(notes["session"], notes["date"], strict=True))
    last = ("", "")
    for session, planned in zip(
        settings.sessions["session"], settings.sessions["date"], strict=True
    ):
        date = held.get(session)
        if pd.isna(date) or not date:
            continue
        if planned and planned != date:
            problems.add(
                "warn", "dates_differ", where=("sessions", "", "date"),
                found=f"{session}: {date}", expected=f"{planned} (study.toml)",
                remedy="Correct one of them; study.toml counts.",
            )  # fmt: skip
        if last[1] and date < last[1]:
            problems.add(
                "fail", "sessions_out_of_order", where=("sessions", "", "date"),
                found=f"{last[0]} on {last[1]} comes before {session} on {date}",
                expected="dates in the order of the sessions in study.toml",
                remedy="Correct a date or the order.",
            )  # fmt: skip
        last = (session, date)


def _files_of_decisions(log: pd.DataFrame, files: pd.DataFrame, problems: Problems) -> None:
    known = set(files["file"])
    for file, number in zip(log["file"], log[ROW], strict=True):
        if pd.notna(file) and str(file).replace("\\", "/") not in known:
            problems.add(
                "warn", "decision_without_file", where=("decisions", number, "file"), found=file,
                expected="a recording of the study",
                remedy=f"The row has no effect.{suggestion(file, known)}",
            )  # fmt: skip
