"""A study folder with what was computed from it: the jumps table, sessions, checks, decisions."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.errors import ArgumentError, CmjlabError
from cmjlab.jump_types import Jump
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.plan import Plan
from cmjlab.stats.common.loads import at_one_load
from cmjlab.study.analyses.squad import StudyAnalyses
from cmjlab.study.curves import PHASES, normalised_curves
from cmjlab.study.decide.decisions import Decided, Decision, decided_by, write_decision
from cmjlab.study.decide.jumps_table import (
    all_checks,
    apply_decisions,
    days_of,
    join_recordings,
    jumps_with_roster,
    sort_jumps,
    unpack_column,
)
from cmjlab.study.decide.session_weight import Weights, weights_of_session, with_session_weights
from cmjlab.study.decide.sessions_table import sessions_with_measures
from cmjlab.study.flow import participant_flow
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.recordings import which_layout
from cmjlab.study.folder.settings import StudySettings
from cmjlab.study.provenance import provenance_of
from cmjlab.study.store.batch import ProgressCallback, Run
from cmjlab.study.store.cached import Rows, can_write, hashed_anew, hashes_of, measured_rows
from cmjlab.study.store.one_file import Task, jumps_of, layout_key
from cmjlab.study.summarise import summarise_sessions
from cmjlab.tables import ATHLETES


@dataclass(frozen=True)
class _Measured:
    """The jumps table, the kept rows behind it, weights from other jumps, and the checks."""

    jumps: pd.DataFrame
    rows: pd.DataFrame
    make_checks: Callable[[], pd.DataFrame]
    weights: Weights = field(default_factory=dict)

    @cached_property
    def checks(self) -> pd.DataFrame:
        """The checks of all jumps, read when they are wanted."""
        return self.make_checks()


class Study(StudyAnalyses):
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
    athletes, measures, participation, decisions, subgroups, block, targets, recordings : DataFrame
        The tables of the folder in their declared columns; empty when there is no file.
    files : pandas.DataFrame
        Recordings in use: file, path, athlete, session, trial, date, start, stop, stretch,
        load_kg.
    decided : Decided
        Verdicts and moved events that count after all rows of the log.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> study.before, study.after
    ('base2', 'post')
    >>> jumps = study.measure()  # one row per jump
    >>> len(jumps), len(study.sessions_table())
    (370, 123)
    >>> study.jump(jumps["file"].iloc[0]).accepted
    True
    >>> study.with_choices(plan=study.plan.replace(level=0.9)).change_within("jump_height_m").kind
    'change_within'
    """

    def __init__(
        self,
        folder: Path,
        results: Path,
        settings: StudySettings,
        tables: dict[str, pd.DataFrame],
        problems: Problems,
    ) -> None:
        super().__init__(folder, results, settings, tables, problems)
        self.decided: Decided = decided_by(tables["decisions"], problems)
        self._measured: _Measured | None = None
        self._layouts = (*settings.layouts, Layout())
        self._layout_keys = tuple(layout_key(layout) for layout in self._layouts)
        self._stretches: dict[str, list[tuple[Path, float, float, float]]] = {}
        listed = tables["files"]
        listed = listed[listed["file"].isin(self.files["file"])]
        columns = ["file", "path", "start", "stop", "load_kg"]
        for file, path, start, stop, load in listed[columns].itertuples(
            index=False
        ):  # stretches that are not used keep their place: jump numbers never shift
            low = start if start == start else float("-inf")
            high = stop if stop == stop else float("inf")
            self._stretches.setdefault(file, []).append((path, low, high, load))

    @classmethod
    def open(cls, folder: str | Path, results: str | Path | None = None) -> Study:
        """Open a study folder.

        Parameters
        ----------
        folder : str or Path
            Folder with study.toml, or its URL (extra ``cluster``).
        results : str or Path, optional
            Where results go; default ``results`` in the folder. Give another place when the
            folder cannot be written to; a URL always needs one.

        Returns
        -------
        Study

        Raises
        ------
        StudyError
            When a problem must be solved first; ``.problems`` lists all of them.
        """
        found = Problems()
        study = cls.read(folder, results, found)
        found.stop_if_failed(study.title)
        return study

    def reload(self) -> Study:
        """Return the study as the folder stands now."""
        return Study.open(self.place, self.results)

    def with_choices(self, *, method: Method | None = None, plan: Plan | None = None) -> Study:
        """Return the same study with another Method or Plan, for comparison."""
        settings = replace(self.settings, method=method or self.method, plan=plan or self.plan)
        return Study(self.folder, self.results, settings, self._tables, Problems())

    def decide(self, decision: Decision) -> Study:
        """Write a person's decision on a jump into the log; returns the study with it.

        Parameters
        ----------
        decision : Decision
            What is decided about which jump, by whom and why.

        Raises
        ------
        ArgumentError
            When the study has no such recording; nothing is written.
        StudyError
            When the log cannot be written.
        """
        own = replace(decision, file=self.shared_names.own(decision.file))
        self._recording(own.file)
        write_decision(self.decisions_folder, own)
        return self.reload()

    def _recording(self, file: str) -> list[tuple[Path, float, float, float]]:
        """Return the stretches of a recording; refuse a file that is none."""
        if file not in self._stretches:
            raise ArgumentError(
                f"file: {file!r} is no recording of this study; they are named as in jumps.csv."
                f"{suggestion(file, self._stretches)}"
            )
        return self._stretches[file]

    def task(self, file: str, sha256: str = "") -> Task:
        """Return what is to be done with one file."""
        parts = self._recording(file)
        stretches = tuple((low, high) for _, low, high, _ in parts)
        loads = tuple(load for *_, load in parts)
        moved = {j: e for j, e in self.decided.moved.get(file, {}).items() if e}
        place = which_layout(file, self._layouts)
        layout, key = self._layouts[place], self._layout_keys[place]
        mirror, path = self.settings.mirror, parts[0][0]
        there = None if mirror is None else mirror.files.get(path)
        return Task(file, path, sha256, layout, stretches, moved, key, loads=loads, remote=there)

    @staticmethod
    def _weighed(task: Task, weights: Weights) -> Task:
        """Return a task with the weights that other jumps of the session know."""
        known = {j: (w.weight_n, w.se_n) for j, w in weights.get(task.file, {}).items()}
        return replace(task, weights=known)

    def keys(self, hashes: Mapping[str, str]) -> set[str]:
        """Return the keys of all kept results that the study uses, by the hashes of its files."""
        tasks = [self.task(file, sha256) for file, sha256 in hashes.items()]
        weights = self._all_measured().weights
        return {t.key for t in tasks} | {self._weighed(t, weights).key for t in tasks}

    def measure(
        self,
        workers: int | str = "auto",
        progress: ProgressCallback | None = None,
        *,
        force: bool = False,
        cluster: str | None = None,
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
        cluster : str, optional
            Address of a Dask scheduler (tcp://HOST:PORT) whose workers measure (extra ``cluster``).

        Returns
        -------
        pandas.DataFrame
            Columns of ``cmjlab.tables.JUMPS`` with the roster joined; ``session`` is an
            ordered category. Files that cannot be read are rows with ``error``.
        """
        return self._all_measured(Run(workers, progress, force, cluster)).jumps.copy()

    def reread(self) -> None:
        """Read the bytes of all recordings again: what changed unseen is measured anew."""
        place = self.results if self._can_keep() else None
        hashes = hashed_anew(list(map(self.task, self._stretches)), place)
        if self._measured is not None and hashes_of(self._measured.rows) != hashes:
            self._measured = None

    def _all_measured(self, run: Run | None = None) -> _Measured:
        """Return what was measured; it is computed once for each opened study."""
        if self._measured is None:
            place = self.results if self._can_keep() else None

            def measured(tasks: list[Task]) -> Rows:
                return measured_rows(tasks, self.method, results=place, run=run or Run())

            found = measured([self.task(file) for file in self._stretches])
            rows, checks = join_recordings(found.jumps, self.files), found.checks
            weights: Weights = {}
            if self.method.body_weight == "session":
                weights = weights_of_session(rows, checks(), self.decided)
            if weights:
                again = measured([self._weighed(self.task(f), weights) for f in weights])
                rows, own = with_session_weights(
                    (rows, checks()),
                    (join_recordings(again.jumps, self.files), again.checks()),
                    weights,
                )
                checks = own.copy
            rows["date"] = days_of(rows, self.sessions)
            rows = sort_jumps(rows, self.settings.session_order, self.athletes)
            rows, context = apply_decisions(rows, self.decided)
            jumps = jumps_with_roster(rows, self.settings.sessions, self.athletes)
            self._measured = _Measured(
                jumps, rows, lambda: all_checks(checks(), context, rows), weights
            )
        return self._measured

    def _can_keep(self) -> bool:
        """Return whether results can be written; tell it once when they cannot."""
        if can_write(self.results):
            return True
        self._problems.add(
            "warn", "results_not_kept", where=(str(self.results.name), "", ""),
            found="the folder cannot be written to", expected="a place for results",
            remedy="Name another place for results (--results FOLDER); until then all is measured anew.",
        )  # fmt: skip
        return False

    @property
    def checks(self) -> pd.DataFrame:
        """Every quality rule of every jump: file, jump, code, status, scope, value, limit."""
        return self._all_measured().checks.copy()

    @property
    def voided(self) -> pd.DataFrame:
        """Metrics that a failed check made empty: file, jump, metric, reason."""
        return unpack_column(self._all_measured().rows, "voided", ("metric", "reason"))

    @property
    def reading_notes(self) -> pd.DataFrame:
        """What was assumed while reading: file, jump, code, text."""
        return unpack_column(self._all_measured().rows, "notes", ("code", "text"))

    def jumps_at_load(self) -> pd.DataFrame:
        """Return the jumps that are analysed: those with the load of the plan, usually none."""
        return at_one_load(self.measure(), self.plan.load_kg)

    def sessions_table(self, how: str | None = None) -> pd.DataFrame:
        """Return one row per athlete and session: accepted jumps summarised, measures beside.

        Only jumps with the load of the plan (``load_kg``, usually none) are summarised; see
        :func:`cmjlab.load_profile` for jumps with different loads.

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
        summary = summarise_sessions(
            table,
            how or plan.summary,
            jumps_wanted=plan.jumps_wanted,
            best_n=plan.best_n,
            load_kg=plan.load_kg,
        )
        return sessions_with_measures(
            summary, self.measures, self.settings.sessions, self.athletes, self.groups
        )

    def jump(self, file: str, jump: int = 1) -> Jump:
        """Return one jump in full (events, motion, checks), with moved events applied.

        Parameters
        ----------
        file : str
            Path below the recordings folder as in the jumps table, or its name in written results.
        jump : int
            Number of the jump within its file.

        Raises
        ------
        ArgumentError
            When the study has no such file or jump.
        ReadError, JumpError
            When the file or the jump cannot be analysed.
        """
        file = self.shared_names.own(file)
        found = self._jumps_of(file)
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

    def _jumps_of(self, file: str) -> list[tuple[int, Jump | CmjlabError]]:
        """Return every jump of a file in full, each with the number of its stretch."""
        return jumps_of(self.weighed_task(file), self.method)

    def weighed_task(self, file: str) -> Task:
        """Return what is to be done with one file, with the weights that other jumps know."""
        of_session = self.method.body_weight == "session"
        return self._weighed(self.task(file), self._all_measured().weights if of_session else {})

    def curves(
        self,
        quantity: str,
        *,
        phases: Sequence[str] = tuple(PHASES),
        points: int = 101,
        each_phase: bool = False,
        jumps: pd.DataFrame | None = None,
    ) -> pd.DataFrame:
        """Return normalised curves of the accepted jumps (of some of them); see ``cmjlab.study.curves``."""
        return normalised_curves(
            self.measure() if jumps is None else jumps, self._jumps_of, quantity,
            phases=phases, points=points, each_phase=each_phase,
        )  # fmt: skip

    def flow(self) -> dict[str, pd.DataFrame]:
        """Return who and what was counted in and out, and why; see ``cmjlab.study.flow``."""
        return participant_flow(self, self.jumps_at_load(), self.checks, self.decided.verdicts)

    def provenance(self) -> dict[str, Any]:
        """Return everything needed to trace the numbers, as plain data."""
        return provenance_of(self, self.measure())
