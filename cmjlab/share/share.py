"""A copy of a study that can be given away."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import shutil
import tempfile
import time
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from cmjlab.errors import StudyError
from cmjlab.files.abandoned import FOLDER, remove_abandoned, unfinished
from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.new_folder import put_in_place, refuse_taken
from cmjlab.files.table import write_table
from cmjlab.results import Sentence
from cmjlab.safe_names import file_in, inside
from cmjlab.share.columns import read_choice
from cmjlab.share.forces import write_forces
from cmjlab.share.identities import key_rows, new_identities
from cmjlab.share.left_out import all_left_out
from cmjlab.share.licences import read_licence
from cmjlab.share.package import COMPUTED, crate, data_package, readme
from cmjlab.share.same_numbers import refuse_other_numbers
from cmjlab.share.search import private_days, private_words, refuse_private
from cmjlab.share.settings import frozen_plan, own_plan_key, study_toml, title_of
from cmjlab.share.small_cells import FEWEST, small_cells
from cmjlab.share.tables import Rewriting, own_tables, shared_tables
from cmjlab.study.frozen_plan import FILE_NAME
from cmjlab.study.store.batch import ProgressCallback
from cmjlab.study.study import Study
from cmjlab.tables import ATHLETES, USER_TABLES, Table
from cmjlab.words.phrases import Phrase


@dataclass(frozen=True)
class SharedStudy:
    """A copy of a study, and what to know before it is given away.

    Attributes
    ----------
    folder : Path
        The copy.
    key : Path
        File that says who is who; it stays with the person who shares.
    athletes, recordings : int
        How many are in the copy.
    left_out : pandas.DataFrame
        table, column, cells (or file and reason) of what stayed at home.
    small_cells : pandas.DataFrame
        Combinations of what others know that fewer than five athletes share.
    sentences : tuple of Sentence
        What happened and what to do, in plain words.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     made = cj.share_study(cj.demo_study(mini=True), Path(folder) / "out", licence="CC-BY-4.0")
    ...     made.athletes, made.key.name
    (6, 'out.key.csv')
    """

    folder: Path
    key: Path
    athletes: int
    recordings: int
    left_out: pd.DataFrame
    small_cells: pd.DataFrame
    sentences: tuple[Phrase, ...]


def share_study(
    study: Study | str | Path,
    out: str | Path,
    *,
    licence: str,
    key: str | Path | None = None,
    keep: Collection[str] = (),
    age_bands: bool = False,
    progress: ProgressCallback | None = None,
) -> SharedStudy:
    """Write a copy of a study that can be given away.

    Athletes get random ids, dates move (intervals and weekdays stay), force files are written anew
    from their numbers, free text and columns of the user's own stay at home. The analysis runs from
    the copy and gives the same numbers; that is checked before the copy gets its name. A force
    curve or an extreme value may still be recognised by somebody who knows the squad, so the
    athletes must have agreed to sharing.

    Parameters
    ----------
    study : Study or path
        The study, or its folder.
    out : path
        Folder of the copy; new or empty.
    licence : str
        SPDX id of the terms under which the copy is given, e.g. "CC-BY-NC-4.0", or
        ``LicenseRef-NAME`` for an agreement of your own.
    key : path, optional
        File that says who is who; default ``out.key.csv`` beside the copy. It is never given away.
    keep : collection of str
        Columns that go along as they are: ``column`` or ``table.column``; ``title`` for the title.
    age_bands : bool
        Bands of ages in place of years of birth.
    progress : callable, optional
        Called with a Progress after each recording written.

    Returns
    -------
    SharedStudy
        Where the copy and the key are, what stayed at home, who could be recognised.

    Raises
    ------
    ArgumentError
        The licence is not known, or no table has a column that is to be kept.
    StudyError
        The copy would stand in a folder that holds something, the key inside the copy, or a
        private word would be passed on. Nothing is written then.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     made = cj.share_study(cj.demo_study(mini=True), Path(folder) / "out", licence="CC-BY-4.0")
    ...     len(cj.Study.open(made.folder).measure()) == made.recordings
    True
    """
    opened = study if isinstance(study, Study) else Study.open(study)
    target = Path(os.path.abspath(out))
    terms = read_licence(licence)
    secret = _places(opened, target, key)
    choice = read_choice(keep, own_tables(opened))
    parents = _made(target.parent)
    remove_abandoned(target.parent, FOLDER)
    part = unfinished(target, FOLDER)
    try:
        part.mkdir()
        found = new_identities(opened)
        forces = write_forces(opened, found, part, progress)
        work = Rewriting(opened, found, choice, forces, age_bands)
        tables = _write_study(work, part, terms)
        copy, jumps = _measured(work, part)
        computed = _write_computed(copy, jumps, part)
        _describe(work, part, terms, {**tables, **computed})
        frames = {path: frame for path, (_, frame) in {**tables, **computed}.items()}
        frames.pop("tables/checks.csv")  # sentences of cmjlab, with no cell that people typed
        refuse_private(part, frames, private_words(opened, choice), private_days(opened))
        roster = tables["athletes.csv"][1] if "athletes.csv" in tables else ATHLETES.empty()
        told = _told(work, target, secret, roster)
        _give_name(part, target, secret, _key_file(work))
    finally:
        shutil.rmtree(part, ignore_errors=True)
        for folder in parents:  # those that were made for the copy, when there is none
            with contextlib.suppress(OSError):
                folder.rmdir()
    return told


def _made(folder: Path) -> list[Path]:
    """Make a folder; return those that had to be made, the inmost first."""
    missing = []
    place = folder
    while not place.exists():
        missing.append(place)
        place = place.parent
    folder.mkdir(parents=True, exist_ok=True)
    return missing


def _places(study: Study, target: Path, key: str | Path | None) -> Path:
    """Return where the key goes; stop when a place is taken or the key would be given away."""
    refuse_taken(target)
    home = study.folder.resolve()
    if inside(target, home) or inside(home, target):
        raise StudyError(
            f"{target.name}: the copy cannot stand inside the study, nor the study inside the copy."
            " Name a folder beside the study."
        )
    secret = (
        Path(os.path.abspath(key))
        if key is not None
        else target.with_name(f"{target.name}.key.csv")
    )
    if inside(secret, target):
        raise StudyError(
            f"{secret.name}: the key says who is who and must not stand inside the copy. Name a file"
            " elsewhere."
        )
    if secret.exists():
        cut = (
            ""
            if target.exists()
            else " If a run that was cut off left it without a copy, remove it."
        )
        raise StudyError(
            f"{secret.name}: a key is there already, and without it nobody could be found again. Name"
            f" another file for the key (--key).{cut}"
        )
    return secret


def _write_study(
    work: Rewriting, part: Path, licence: str
) -> dict[str, tuple[Table, pd.DataFrame]]:
    """Write study.toml, the tables, the frozen plan and the README; return the tables by path."""
    out: dict[str, tuple[Table, pd.DataFrame]] = {}
    for stem, table in shared_tables(work).items():
        write_table(table, file_in(part, f"{stem}.csv"))
        out[f"{stem}.csv"] = (USER_TABLES[stem], table)
    atomic_write(part / "study.toml", study_toml(work))
    plan = frozen_plan(work)
    if plan:
        atomic_write(part / FILE_NAME, plan)
    atomic_write(part / "README.md", readme(title_of(work), licence, with_plan=bool(plan)))
    return out


def _measured(work: Rewriting, part: Path) -> tuple[Study, pd.DataFrame]:
    """Open and measure the copy, and hold its jumps against those of the study.

    Raises
    ------
    StudyError
        The copy cannot be opened, or its numbers differ.
    """
    with tempfile.TemporaryDirectory(dir=part.parent, prefix=".") as place:
        copy = Study.open(part, results=place)
        jumps, _ = copy.measure(), copy.checks  # read while the place is there
    refuse_other_numbers(work, jumps)
    return copy, jumps


def _write_computed(
    copy: Study, jumps: pd.DataFrame, part: Path
) -> dict[str, tuple[Table, pd.DataFrame]]:
    """Write the tables that were computed from the copy, for readers without cmjlab."""
    frames = {
        "tables/jumps.csv": jumps,
        "tables/sessions.csv": copy.sessions_table(),
        "tables/checks.csv": copy.checks,
    }
    for name, frame in frames.items():
        write_table(frame, part / name)
    return {name: (COMPUTED[name], frame) for name, frame in frames.items()}


def _describe(
    work: Rewriting, part: Path, licence: str, tables: Mapping[str, tuple[Table, pd.DataFrame]]
) -> None:
    title = title_of(work)
    atomic_write(part / "datapackage.json", data_package(title, licence, tables))
    files = sorted(p.relative_to(part) for p in part.rglob("*") if p.is_file())
    atomic_write(part / "ro-crate-metadata.json", crate(title, licence, files, dt.date.today()))


def _key_file(work: Rewriting) -> pd.DataFrame:
    plan = own_plan_key(work.study)
    more = [("plan", plan, "")] if plan else []
    more += [("file", file, name) for (file, _), name in work.forces.names.items()]
    return key_rows(work.found, more)


def _give_name(part: Path, target: Path, secret: Path, rows: pd.DataFrame) -> None:
    """Write the key, then give the copy its name: there is never a copy without its key."""
    _at_one_time(part)
    write_table(rows, secret)
    with contextlib.suppress(OSError):
        secret.chmod(0o600)
    try:
        put_in_place(part, target)
    except BaseException:
        secret.unlink(missing_ok=True)
        raise


def _at_one_time(part: Path) -> None:
    """Give all files one time: the order in which they were written is that of the own ids."""
    now = time.time()
    for path in (part, *part.rglob("*")):
        os.utime(path, (now, now))


def _told(work: Rewriting, target: Path, secret: Path, roster: pd.DataFrame) -> SharedStudy:
    """Return what was made, with what to know about it."""
    rare = small_cells(roster)
    athletes, recordings = len(work.found.athletes), len(work.forces.rows)
    sentences: list[Phrase] = [
        Sentence("share.made", values={"athletes": athletes, "recordings": recordings}),
        Sentence("share.key", values={"key": secret.name}),
    ]
    if work.forces.left_out:
        sentences.append(Sentence("share.files_left", values={"n": len(work.forces.left_out)}))
    if len(rare):
        values = {"n": int(rare["athletes"].sum()), "fewest": FEWEST}
        sentences.append(Sentence("share.small_cells", values=values))
        if "birth_year" in rare:
            sentences.append(Sentence("share.use_bands"))
    if own_plan_key(work.study):
        sentences.append(Sentence("share.plan"))
    sentences += [Sentence("share.drawn"), Sentence("share.still"), Sentence("share.consent")]
    return SharedStudy(
        target, secret, athletes, recordings, all_left_out(work), rare, tuple(sentences)
    )
