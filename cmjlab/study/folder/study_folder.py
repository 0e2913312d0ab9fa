"""What stands in a study folder: settings, people, recordings, and the tables a person keeps."""

from __future__ import annotations

import os
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Self

import pandas as pd

from cmjlab.errors import StudyError
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.plan import Plan
from cmjlab.study.folder.block_rows import check_block
from cmjlab.study.folder.cross_checks import check_people
from cmjlab.study.folder.loads import with_loads
from cmjlab.study.folder.missing_folder import no_folder
from cmjlab.study.folder.participation import check_participation
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.recordings import list_recordings
from cmjlab.study.folder.reference import check_reference
from cmjlab.study.folder.settings import StudySettings, read_settings
from cmjlab.study.folder.targets import check_targets
from cmjlab.study.folder.user_tables import ROW, read_user_table
from cmjlab.study.folder.wide_measures import read_measures
from cmjlab.study.remote import Mirror, is_url, mirrored
from cmjlab.study.shared_names import SharedNames
from cmjlab.tables import DECISIONS, USER_TABLES

#: Tables that are not read with the others: names are private, the log may stand in two places.
_READ_APART = ("names", "decisions", "measures")


class StudyFolder:
    """A study folder as it was read; nothing in it has been measured.

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
    athletes, measures, participation, decisions, subgroups, block, targets, recordings : DataFrame
        The tables of the folder in their declared columns; empty when there is no file.
    files : pandas.DataFrame
        Recordings in use: file, path, athlete, session, trial, date, start, stop, stretch,
        load_kg.
    """

    def __init__(
        self,
        folder: Path,
        results: Path,
        settings: StudySettings,
        tables: dict[str, pd.DataFrame],
        problems: Problems,
    ) -> None:
        self.folder, self.results, self.settings = folder, results, settings
        self._tables = tables
        self._problems = problems
        self.files = check_people(settings, tables, problems)
        check_reference(tables, problems)
        check_targets(tables, settings.plan.change_that_matters, problems)
        check_participation({**tables, "files": self.files}, self.sessions, problems)
        check_block(tables, settings.weeks_of_block, problems)

    @classmethod
    def read(
        cls,
        folder: str | Path,
        results: str | Path | None = None,
        problems: Problems | None = None,
    ) -> Self:
        """Read a study folder whatever its problems are (for checks and repairs).

        Parameters
        ----------
        folder : str or Path
            Folder with study.toml, or its URL.
        results : str or Path, optional
            Where results go; default ``results`` in the folder.
        problems : Problems, optional
            Receives whatever is wrong, now and when more is computed from the folder.

        Raises
        ------
        StudyError
            When there is no such folder.
        """
        found = problems if problems is not None else Problems()
        mirror = _mirror(folder, results)
        folder = Path(folder) if mirror is None else mirror.folder
        target = Path(results) if results is not None else folder / "results"
        if not folder.is_dir():
            raise StudyError(no_folder(folder))
        settings = read_settings(folder, found)
        if mirror is not None:
            mirror.list_recordings(settings.recordings)
            settings = replace(settings, mirror=mirror)
        tables = {
            stem: read_user_table(folder, stem, table, found)
            for stem, table in USER_TABLES.items()
            if stem not in _READ_APART
        }
        tables["measures"] = read_measures(folder, settings.sessions, found)
        tables["decisions"] = read_log(folder, target, found)
        files = list_recordings(settings, tables["recordings"], found)
        tables["files"] = with_loads(files, tables["recordings"], tables["sessions"], found)
        own = SharedNames(tables["files"]).own  # a log may name recordings as results do
        tables["decisions"]["file"] = tables["decisions"]["file"].map(own, na_action="ignore")
        return cls(folder, target, settings, tables, found)

    @cached_property
    def shared_names(self) -> SharedNames:
        """Names of recordings that may be passed on: ids only, no file's own name."""
        place = self.settings.recordings
        found = sorted(p.relative_to(place).as_posix() for p in place.rglob("*") if p.is_file())
        roster = self._table("athletes")
        ids = (*roster["athlete"].dropna(), *roster["group"].dropna(), *self.settings.session_order)
        return SharedNames(self._tables["files"], found, {str(i) for i in ids})

    def _table(self, stem: str) -> pd.DataFrame:
        return self._tables[stem].drop(columns=ROW, errors="ignore")

    @property
    def place(self) -> str | Path:
        """Where the study lies: its folder, or its URL."""
        return self.folder if self.settings.mirror is None else self.settings.mirror.url

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
    def targets(self) -> pd.DataFrame:
        """What each subgroup's emphasis is for."""
        return self._table("targets")

    @property
    def reference(self) -> pd.DataFrame:
        """Values of other athletes, each with its source."""
        return self._table("reference")

    @property
    def recordings(self) -> pd.DataFrame:
        """Rows of recordings.csv: files whose own name does not say whose they are."""
        return self._table("recordings")

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
    def groups(self) -> tuple[str, ...]:
        """Every group of the study in one order: roster, then rules of subgroups, control last.

        Tables carry this order, and a group's place in it gives its colour and mark in every
        figure.
        """
        named = [*self.athletes["group"].dropna(), *self.subgroups["subgroup"].dropna()]
        order = dict.fromkeys(str(g) for g in named if str(g) != "")
        control = self.plan.control_group
        last = [control] if control in order else []
        return (*(g for g in order if g != control), *last)

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
        if self.settings.mirror is not None:
            return self.results
        inside = self.results.resolve().parent == self.folder.resolve()
        return self.folder if inside or os.access(self.folder, os.W_OK) else self.results

    @property
    def problems(self) -> pd.DataFrame:
        """Everything noticed so far, one a row."""
        return self._problems.frame()


def _mirror(folder: str | Path, results: str | Path | None) -> Mirror | None:
    """Return what stands here of a study at a URL, None for a folder; results stay here."""
    if is_url(results):
        raise StudyError(
            f"{results}: results are written on this computer first; name a folder, and copy it"
            " there when all is measured."
        )
    if not isinstance(folder, str) or not is_url(folder):
        return None
    if results is None:
        raise StudyError(
            f"{folder}: name a folder of this computer for results (--results FOLDER)."
        )
    return mirrored(folder)


def read_log(folder: Path, results: Path, problems: Problems) -> pd.DataFrame:
    """Return the log of decisions: the study's, then what was added in the results folder.

    Results outside the study folder (a read-only study) keep their own decisions.csv.
    """
    log = read_user_table(folder, DECISIONS.name, DECISIONS, problems)
    if results.resolve().parent != folder.resolve():
        log = pd.concat([log, read_user_table(results, DECISIONS.name, DECISIONS, problems)])
    return log.reset_index(drop=True)
