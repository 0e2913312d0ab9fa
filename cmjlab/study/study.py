"""A study folder: settings, people, recordings, decisions and what was computed from them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab.errors import ArgumentError, CmjlabError, StudyError
from cmjlab.jump_types import Jump
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.plan import Plan
from cmjlab.study.decide import combine as joined
from cmjlab.study.decide.decisions import Decided, effect, read_log
from cmjlab.study.folder.missing_folder import no_folder
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.recordings import list_recordings, which_layout
from cmjlab.study.folder.roster import check_people
from cmjlab.study.folder.settings import StudySettings, read_settings
from cmjlab.study.folder.user_tables import ROW, read_user_table
from cmjlab.study.store.batch import ProgressCallback
from cmjlab.study.store.cached import can_write, rows_of
from cmjlab.study.store.one_file import Task, jumps_of, layout_key
from cmjlab.study.summarise import summarise_sessions
from cmjlab.tables import ATHLETES, USER_TABLES


@dataclass(frozen=True)
class _Measured:
    jumps: pd.DataFrame
    checks: pd.DataFrame
    rows: pd.DataFrame


class Study:
    """A study folder, read once; open it again (or :meth:`reload`) to see later changes.

    Attributes
    ----------
    folder, results : Path
        The user's folder, and where results go.
    settings : StudySettings
        What study.toml says.
    title : str
    plan : Plan
    method : Method
    layouts : tuple of Layout
    sessions : pandas.DataFrame
        session, role, date in the order of the study, with the notes of sessions.csv.
    athletes, measures, participation, decisions, subgroups, block : pandas.DataFrame
        The tables of the folder in their declared columns; empty when there is no file.
    files : pandas.DataFrame
        Recordings in use: file, path, athlete, session, trial, date, start, stop, stretch.
    """

    def __init__(
        self,
        folder: Path,
        results: Path,
        settings: StudySettings,
        tables: dict[str, pd.DataFrame],
        found: Problems,
    ) -> None:
        self.folder, self.results, self.settings = folder, results, settings
        self._tables = tables
        self._found = found
        self._measured: _Measured | None = None
        self._layouts = (*settings.layouts, Layout())
        self._layout_keys = tuple(layout_key(layout) for layout in self._layouts)
        self.decided: Decided = effect(tables["decisions"], found)
        self.files = check_people(settings, tables, found)
        self._public = {
            stem: table.drop(columns=ROW, errors="ignore") for stem, table in tables.items()
        }
        self._parts: dict[str, list[tuple[Path, float, float]]] = {}
        listed = tables["files"]
        listed = listed[listed["file"].isin(self.files["file"])]
        for file, path, start, stop in listed[["file", "path", "start", "stop"]].itertuples(
            index=False
        ):  # stretches that are not used keep their place: jump numbers never shift
            low = start if start == start else float("-inf")
            high = stop if stop == stop else float("inf")
            self._parts.setdefault(file, []).append((path, low, high))

    @classmethod
    def open(cls, folder: str | Path, results: str | Path | None = None) -> Study:
        """Open a study folder.

        Parameters
        ----------
        folder : str or Path
            Folder with study.toml.
        results : str or Path, optional
            Where results go; default ``results`` in the folder. Give another place when the
            folder cannot be written to.

        Returns
        -------
        Study

        Raises
        ------
        StudyError
            When a problem must be solved first; ``.problems`` lists all of them.
        """
        study = cls.read(folder, results)
        study._found.stop_if_failed(study.title)
        return study

    @classmethod
    def read(cls, folder: str | Path, results: str | Path | None = None) -> Study:
        """Open a study folder whatever its problems are (for checks and repairs)."""
        folder = Path(folder)
        target = Path(results) if results is not None else folder / "results"
        found = Problems()
        if not folder.is_dir():
            raise StudyError(no_folder(folder))
        settings = read_settings(folder, found)
        tables = {
            stem: read_user_table(folder, stem, table, found)
            for stem, table in USER_TABLES.items()
            if stem not in ("names", "decisions")
        }
        tables["decisions"] = read_log(folder, target, found)
        tables["files"] = list_recordings(settings, tables["recordings"], found)
        return cls(folder, target, settings, tables, found)

    def reload(self) -> Study:
        """Return the study as the folder stands now."""
        return Study.open(self.folder, self.results)

    def with_choices(self, *, method: Method | None = None, plan: Plan | None = None) -> Study:
        """Return the same study with another Method or Plan, for comparison."""
        settings = replace(self.settings, method=method or self.method, plan=plan or self.plan)
        return Study(self.folder, self.results, settings, self._tables, Problems())

    def _table(self, stem: str) -> pd.DataFrame:
        return self._public[stem].copy()

    @property
    def title(self) -> str:
        """Title of the study."""
        return self.settings.title

    @property
    def plan(self) -> Plan:
        """The Plan of the study."""
        return self.settings.plan

    @property
    def method(self) -> Method:
        """The Method of the study."""
        return self.settings.method

    @property
    def layouts(self) -> tuple[Layout, ...]:
        """Layouts of files; the first match is used."""
        return self.settings.layouts

    @property
    def athletes(self) -> pd.DataFrame:
        """The roster."""
        return self._table("athletes")

    @property
    def measures(self) -> pd.DataFrame:
        """Values that do not come from the plate."""
        return self._table("measures")

    @property
    def participation(self) -> pd.DataFrame:
        """Who was missing, and why."""
        return self._table("participation")

    @property
    def decisions(self) -> pd.DataFrame:
        """The log of decisions."""
        return self._table("decisions")

    @property
    def subgroups(self) -> pd.DataFrame:
        """Rules of subgroups and moves by hand."""
        return self._table("subgroups")

    @property
    def block(self) -> pd.DataFrame:
        """Exercises of the block."""
        return self._table("block")

    @property
    def sessions(self) -> pd.DataFrame:
        """Sessions in order: session, role, date, and how each was held."""
        notes = self._table("sessions").drop_duplicates("session")
        out = self.settings.sessions.merge(
            notes.rename(columns={"date": "date_held"}), on="session", how="left", validate="1:1"
        )
        held = out.pop("date_held")
        out["date"] = out["date"].where(out["date"] != "", held)
        return out

    @property
    def problems(self) -> pd.DataFrame:
        """Everything noticed while opening and measuring, one a row."""
        return self._found.frame()

    @property
    def before(self) -> str:
        """Session before the block, "" when there is none."""
        return self.settings.planned_session("before")

    @property
    def after(self) -> str:
        """Session after the block, "" when there is none."""
        return self.settings.planned_session("after")

    @property
    def decisions_folder(self) -> Path:
        """Folder whose decisions.csv takes new rows."""
        inside = self.results.resolve().parent == self.folder.resolve()
        return self.folder if inside or os.access(self.folder, os.W_OK) else self.results

    def task(self, file: str, sha256: str = "") -> Task:
        """Return what is to be done with one file."""
        if file not in self._parts:
            raise ArgumentError(f"file: {file!r} is no recording of this study; see study.files.")
        parts = self._parts[file]
        stretches = tuple((low, high) for _, low, high in parts)
        moved = {j: e for j, e in self.decided.moved.get(file, {}).items() if e}
        place = which_layout(file, self._layouts)
        layout, key = self._layouts[place], self._layout_keys[place]
        return Task(file, parts[0][0], sha256, layout, stretches, moved, key)

    def measure(
        self,
        workers: int | str = "auto",
        progress: ProgressCallback | None = None,
        *,
        force: bool = False,
    ) -> pd.DataFrame:
        """Return the jumps table; only files that are new or changed are measured.

        Parameters
        ----------
        workers : int or "auto"
            Processes to use; "auto" starts more than one only when that is faster.
        progress : callable, optional
            Called with a Progress after each file.
        force : bool
            Go on although another run holds the study's lock.

        Returns
        -------
        pandas.DataFrame
            Columns of ``cmjlab.tables.JUMPS`` with the roster joined; ``session`` is an
            ordered category. Files that cannot be read are rows with ``error``.
        """
        if self._measured is None:
            rows, checks = rows_of(
                [self.task(file) for file in self._parts],
                self.method,
                results=self.results if self._can_keep() else None,
                workers=workers,
                progress=progress,
                force=force,
            )
            rows = joined.join_recordings(rows, self.files)
            rows["date"] = self._dates(rows)
            rows = joined.sort_jumps(rows, self.settings.session_order, self.athletes)
            rows, checks = joined.apply_decisions(rows, checks, self.decided)
            jumps = joined.hand_out(rows, self.settings.sessions, self.athletes)
            self._measured = _Measured(jumps, checks, rows)
        return self._measured.jumps.copy()

    def _dates(self, rows: pd.DataFrame) -> pd.Series:
        sessions = self.sessions
        days = dict(zip(sessions["session"], sessions["date"], strict=True))
        own = rows["date"].where(rows["date"].fillna("") != "", rows["session"].map(days))
        return own.where(own.fillna("") != "", None).astype("str")

    def _can_keep(self) -> bool:
        """Return whether results can be written; tell it once when they cannot."""
        if can_write(self.results):
            return True
        self._found.add(
            "warn", "results_not_kept", where=(str(self.results.name), "", ""),
            found="the folder cannot be written to", expected="a place for results",
            remedy="Give another place: --results FOLDER, or Study.open(folder, results=\"...\"). All is measured anew.",
        )  # fmt: skip
        return False

    @property
    def checks(self) -> pd.DataFrame:
        """Every quality rule of every jump: file, jump, code, status, scope, value, limit."""
        self.measure()
        assert self._measured is not None
        return self._measured.checks.copy()

    @property
    def voided(self) -> pd.DataFrame:
        """Metrics that a failed check made empty: file, jump, metric, reason."""
        self.measure()
        assert self._measured is not None
        return joined.unpacked(self._measured.rows, "voided", ("metric", "reason"))

    @property
    def reading_notes(self) -> pd.DataFrame:
        """What was assumed while reading: file, jump, code, text."""
        self.measure()
        assert self._measured is not None
        return joined.unpacked(self._measured.rows, "notes", ("code", "text"))

    def sessions_table(self, how: str | None = None) -> pd.DataFrame:
        """Return one row per athlete and session: accepted jumps summarised, measures beside.

        Parameters
        ----------
        how : str, optional
            "mean", "best", "median" or "best_n_mean"; default as the Plan says.

        Returns
        -------
        pandas.DataFrame
            Columns of ``cmjlab.tables.SESSIONS``, the roster's declared columns, one column
            per measure (``squat_1rm_kg``) and ``relative_strength`` where it can be had.
            Columns of the user's own stay in ``athletes`` and in the jumps table.
        """
        own = [c for c in self.athletes.columns if c not in ATHLETES.names]
        table = self.measure().drop(columns=own)
        plan: Plan = self.plan
        out = summarise_sessions(
            table, how or plan.summary, jumps_wanted=plan.jumps_wanted, best_n=plan.best_n
        )
        return joined.finish_sessions(out, self.measures, self.settings.sessions, self.athletes)

    def jump(self, file: str, jump: int = 1) -> Jump:
        """Return one jump in full (events, motion, checks), with moved events applied.

        Parameters
        ----------
        file : str
            Path below the recordings folder, as in the jumps table.
        jump : int
            Number of the jump within its file.

        Raises
        ------
        ArgumentError
            When the study has no such file or jump.
        ReadError, JumpError
            When the file or the jump cannot be analysed.
        """
        found = jumps_of(self.task(file), self.method)
        if not 1 <= jump <= len(found):
            raise ArgumentError(f"jump: found {jump}, {file} holds {len(found)} jump(s).")
        stretch, result = found[jump - 1]
        if isinstance(result, CmjlabError):
            raise result
        listed = self._tables["files"]
        part = listed[listed["file"] == file].iloc[stretch]
        recording = result.recording.replace(
            athlete=part["athlete"], session=part["session"], trial=part["trial"] or None
        )
        return replace(result, recording=recording)

    def curves(
        self,
        quantity: str,
        *,
        phases: Sequence[str] = ("unweighting", "braking", "propulsion"),
        points: int = 101,
    ) -> pd.DataFrame:
        """Return time-normalised curves of the accepted jumps; see ``cmjlab.study.curves``."""
        from cmjlab.study.curves import curves

        return curves(self, quantity, phases=phases, points=points)

    def flow(self) -> dict[str, Any]:
        """Return who and what was counted in and out, and why; see ``cmjlab.study.flow``."""
        from cmjlab.study.flow import flow

        return flow(self)

    def provenance(self) -> dict[str, Any]:
        """Return everything needed to trace the numbers, as plain data."""
        from cmjlab.study.flow import provenance

        return provenance(self)
