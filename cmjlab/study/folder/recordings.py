"""Which force files a study has, and to whom and to which session each belongs."""

from __future__ import annotations

import fnmatch
import os
import unicodedata
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from cmjlab.errors import ArgumentError
from cmjlab.layout import Layout
from cmjlab.safe_names import inside
from cmjlab.safe_open import LINKED
from cmjlab.study.folder.file_names import (
    SUFFIXES,
    Template,
    from_entities,
    stem_and_suffix,
    trial_id,
)
from cmjlab.study.folder.ids import natural_order
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.settings import StudySettings
from cmjlab.study.folder.user_tables import ROW, iso_date

#: Columns of the list of recordings; ``stretch`` counts the rows of one file from 0.
COLUMNS = ("file", "path", "athlete", "session", "trial", "date", "start", "stop", "stretch",
           "load_kg")  # fmt: skip
_IGNORED = ("thumbs.db", "desktop.ini", "dataset_description.json")


def files_below(
    folder: Path, problems: Problems | None = None, roots: Sequence[Path] = ()
) -> dict[str, Path]:
    """Return all files below a folder by their NFC path with forward slashes, sorted.

    Linked folders are followed once. Hidden files and the lock files of spreadsheets are left
    out; folders that cannot be opened, links that lead out of all ``roots`` (when there are any)
    and names that differ only in their Unicode form are told as problems.
    """
    problems = problems if problems is not None else Problems()
    found: dict[str, Path] = {}
    seen = {os.path.realpath(folder)}
    if roots and _leads_out(folder, folder.name, roots, problems):
        return {}

    def closed(problem: OSError) -> None:
        problems.add(
            "fail", "folder_closed", where=(Path(problem.filename).name, "", ""),
            found=problem.strerror or str(problem), expected="a folder that can be opened",
            remedy="Ask for the right to read it, or move it away.",
        )  # fmt: skip

    for place, folders, names in os.walk(folder, onerror=closed, followlinks=True):
        inner = []
        for name in sorted(f for f in folders if not f.startswith(".")):
            if roots and _leads_out(Path(place, name), name, roots, problems):
                continue
            real = os.path.realpath(os.path.join(place, name))
            if real not in seen:
                seen.add(real)
                inner.append(name)
        folders[:] = inner
        here, below = Path(place), Path(place).relative_to(folder).as_posix()
        above = "" if below == "." else f"{below}/"
        for name in sorted(names):
            if name.startswith((".", "~$")) or name.lower() in _IGNORED:
                continue
            path = here / name
            key = unicodedata.normalize("NFC", f"{above}{name}")
            if roots and _leads_out(path, key, roots, problems):
                continue
            if key in found:
                problems.add(
                    "fail", "file_name_twice", where=(key, "", ""),
                    found="two files whose names differ only in the Unicode form of an accent",
                    expected="different names", remedy="Rename or remove one of them.",
                )  # fmt: skip
            found[key] = path
    return {k: found[k] for k in sorted(found, key=natural_order)}


def _leads_out(path: Path, name: str, roots: Sequence[Path], problems: Problems) -> bool:
    """Return whether a link leads out of all roots, after telling it."""
    if not os.path.islink(path) or any(inside(path, root) for root in roots):
        return False
    there = Path(os.path.realpath(path))
    allowed = (there if there.is_dir() else there.parent).as_posix()
    problems.add(
        "fail", "link_out_of_study", where=(name, "", ""), found=f"a link to {there}",
        expected="files inside the study, or in a folder that study.toml allows",
        remedy=f'Copy it into the study, or write {LINKED} = ["{allowed}"] under [study].',
    )  # fmt: skip
    return True


def list_recordings(
    settings: StudySettings, table: pd.DataFrame, problems: Problems
) -> pd.DataFrame:
    """Return one row per file (or stretch of a file) that belongs to an athlete and session.

    Parameters
    ----------
    settings : StudySettings
        Folder of the recordings and form of the file names.
    table : pandas.DataFrame
        recordings.csv as read; its rows win over what file names say.
    problems : Problems
        Receives every file that could not be placed, with the reason.

    Returns
    -------
    pandas.DataFrame
        Columns :data:`COLUMNS`; sorted by file name in natural order.
    """
    there = settings.recordings.is_dir()
    if not there:
        problems.add(
            "warn", "no_recordings", where=(settings.recordings.name, "", ""),
            found="no such folder", expected="a folder with force files",
            remedy="Create it, or name another one as recordings = \"...\" under [study].",
        )  # fmt: skip
    files = files_below(settings.recordings, problems, settings.roots) if there else {}
    if not files and there:
        problems.add(
            "note", "no_recordings", where=(settings.recordings.name, "", ""),
            found="no files yet", expected="force files",
            remedy="Copy the recordings there (names like sub-A07_ses-base1_run-1.csv), or run"
            " 'cmjlab gather' for files of any other name.",
        )  # fmt: skip
    rows = _rows_of_table(files, table, problems)
    named = {r["file"] for r in rows}
    template = _template(settings.file_names, problems)
    for file, path in files.items():
        if file in named:
            continue
        fields = _from_name(file, template, settings.file_names, problems)
        if fields is not None:
            rows.append({"file": file, "path": path, "stretch": 0, **fields})
    rows.sort(key=lambda r: (natural_order(r["file"]), r["stretch"]))
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    for column in ("file", "athlete", "session", "trial", "date"):
        frame[column] = frame[column].astype("str")
    numbers = {"start": "float64", "stop": "float64", "load_kg": "float64"}
    return frame.astype({**numbers, "stretch": "int64"})


def _template(text: str, problems: Problems) -> Template | None:
    if not text:
        return None
    try:
        return Template(text)
    except ArgumentError as problem:
        problems.add(
            "fail", "bad_template", where=("study.toml", "", "study.file_names"), found=str(problem),
            expected="{session}/{athlete}_{trial}.csv", remedy="Correct the template.",
        )  # fmt: skip
        return None


def _from_name(
    file: str, template: Template | None, text: str, problems: Problems
) -> dict[str, str] | None:
    """Return the fields in a file name, or None after telling why there are none."""
    if not stem_and_suffix(file)[1] or not _is_recording(file):
        problems.add(
            "note", "not_a_recording", where=(file, "", ""), found="another kind of file",
            expected=f"a force file ({', '.join(SUFFIXES)})", remedy="It is not used.",
        )  # fmt: skip
        return None
    readings = template.match(file) if template else [from_entities(file)]
    if len(readings) > 1:
        problems.add(
            "fail", "ambiguous_name", where=(file, "", ""),
            found=" or ".join(str(r) for r in readings), expected=f"one reading by {text!r}",
            remedy="List the file in recordings.csv; 'cmjlab gather' drafts that table.",
        )  # fmt: skip
        return None
    fields = readings[0] if readings else {}
    missing = [k for k in ("athlete", "session") if not fields.get(k)]
    if missing:
        problems.add(
            "warn", "name_not_understood", where=(file, "", ""),
            found=f"no {' and no '.join(missing)} in the file name",
            expected=text or "sub-<athlete>_ses-<session>_run-<n>.<ext>",
            remedy="It is not used: list it in recordings.csv ('cmjlab gather' drafts that table).",
        )  # fmt: skip
        return None
    if fields.get("date"):
        try:
            fields["date"] = iso_date(fields["date"])
        except ValueError as problem:
            found, expected, remedy = problem.args
            problems.add("warn", "bad_date", where=(file, "", "date"), found=found,
                         expected=expected, remedy=f"{remedy} The date is not used.")  # fmt: skip
            fields["date"] = ""
    return fields


def _is_recording(file: str) -> bool:
    return any(stem_and_suffix(file)[1].lower().startswith(s) for s in SUFFIXES)


def _rows_of_table(
    files: dict[str, Path], table: pd.DataFrame, problems: Problems
) -> list[dict[str, object]]:
    """Return the rows of recordings.csv whose file exists, with their stretch number."""
    rows: list[dict[str, object]] = []
    usable = table.dropna(subset=["file", "athlete", "session"])
    by_case = {f.casefold(): f for f in files}
    for record in usable.to_dict("records"):
        word = unicodedata.normalize("NFC", str(record["file"])).replace("\\", "/")
        word = word.removeprefix("./")
        if word not in files:
            near = by_case.get(word.casefold())
            problems.add(
                "fail", "no_such_file", where=("recordings.csv", record[ROW], "file"), found=word,
                expected="a file below the recordings folder",
                remedy=f"Did you mean {near!r}?" if near else "Correct the path or remove the row.",
            )  # fmt: skip
            continue
        taken = ("athlete", "session", "trial", "date", "start", "stop", "load_kg")
        row = {k: record[k] for k in taken}
        row["trial"] = "" if pd.isna(row["trial"]) else trial_id(str(row["trial"]))
        row["date"] = "" if pd.isna(row["date"]) else row["date"]
        rows.append({"file": word, "path": files[word], **row, "row": record[ROW]})
    return _stretches(rows, problems)


def _stretches(rows: list[dict[str, object]], problems: Problems) -> list[dict[str, object]]:
    """Number the rows of each file by start, and refuse stretches that overlap."""
    by_file: dict[object, list[dict[str, object]]] = {}
    for row in rows:
        by_file.setdefault(row["file"], []).append(row)
    for file, group in by_file.items():
        group.sort(key=lambda r: _bounds(r)[0])
        for number, row in enumerate(group):
            row["stretch"] = number
            low, high = _bounds(row)
            if not low < high:
                problems.add(
                    "fail", "empty_stretch", where=("recordings.csv", row["row"], "stop"),
                    found=f"{low:g} to {high:g} s", expected="stop after start", remedy="Correct it.",
                )  # fmt: skip
        for first, second in zip(group, group[1:], strict=False):
            if _bounds(second)[0] < _bounds(first)[1]:
                problems.add(
                    "fail", "stretches_overlap",
                    where=("recordings.csv", f"{first['row']}, {second['row']}", "start"),
                    found=f"{file} stands twice and the stretches overlap",
                    expected="one row per file, or start and stop that do not overlap",
                    remedy="Give start and stop for each row, or remove one.",
                )  # fmt: skip
    return [r for g in by_file.values() for r in g]


def _bounds(row: dict[str, object]) -> tuple[float, float]:
    start, stop = row["start"], row["stop"]
    return (
        float(start) if pd.notna(start) else float("-inf"),  # type: ignore[arg-type]
        float(stop) if pd.notna(stop) else float("inf"),  # type: ignore[arg-type]
    )


def which_layout(file: str, layouts: Sequence[Layout]) -> int:
    """Return the place of the first layout whose match fits the path or the name of a file.

    The last of ``layouts`` is the usual one, for files that no other fits.
    """
    name = file.rpartition("/")[2]
    for place, layout in enumerate(layouts[:-1]):
        pattern = layout.match
        if not pattern or fnmatch.fnmatchcase(file, pattern) or fnmatch.fnmatchcase(name, pattern):
            return place
    return len(layouts) - 1
