"""Write the tables of a study into its results folder, described by an open standard.

Each table is a .csv (UTF-8, safe to open in a spreadsheet) with its Frictionless Table Schema
in ``datapackage.json``; the jumps are kept as Parquet too, with every digit.
"""

from __future__ import annotations

import io
import json
import shutil
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.table import write_table
from cmjlab.safe_names import file_in
from cmjlab.study.store.batch import ProgressCallback
from cmjlab.study.store.lock import locked, writing
from cmjlab.study.store.parts import Store
from cmjlab.study.study import Study
from cmjlab.tables import CHECK_ROWS, JUMPS, PROBLEMS, SESSIONS, Table


def write_results(
    study: Study, progress: ProgressCallback | None = None, cluster: str | None = None
) -> list[Path]:
    """Measure what is new and write jumps, sessions, checks, problems and provenance.

    Parameters
    ----------
    study : Study
    progress : callable, optional
        Called with a Progress after each measured file.
    cluster : str, optional
        Address of a Dask scheduler whose workers measure; see ``Study.measure``.

    Returns
    -------
    list of Path
        The files written, in ``study.results``.

    Raises
    ------
    StudyError
        When a file is held open by another program; it is named.
    """
    shared = study.shared_names.frame
    jumps = shared(study.measure(progress=progress, cluster=cluster))
    tables: list[tuple[Table, pd.DataFrame]] = [
        (JUMPS, jumps),
        (SESSIONS, study.sessions_table()),
        (CHECK_ROWS, shared(study.checks)),
        (PROBLEMS, shared(study.problems)),
    ]
    with writing(study.results):
        return _write(study, jumps, tables)


def _write(
    study: Study, jumps: pd.DataFrame, tables: list[tuple[Table, pd.DataFrame]]
) -> list[Path]:
    """Write the tables, the jumps with every digit, and what describes them."""
    written = [write_table(frame, file_in(study.results, f"{t.name}.csv")) for t, frame in tables]
    buffer = io.BytesIO()
    plain = jumps.assign(session=jumps["session"].astype("str"))
    plain.to_parquet(buffer, index=False)
    others: dict[str, str | bytes] = {
        "jumps.parquet": buffer.getvalue(),
        "datapackage.json": _json(_package(study.title, tables)),
        "provenance.json": _json(study.provenance()),
    }
    for name, data in others.items():
        atomic_write(file_in(study.results, name), data)
        written.append(study.results / name)
    return written


def prune_store(study: Study) -> int:
    """Remove kept results that the study as it stands does not use; return the bytes freed.

    Results of other Methods, older engines, removed files and undone decisions go. They would
    be measured again if they were needed once more.

    Parameters
    ----------
    study : Study
        An opened study.

    Returns
    -------
    int
        Bytes freed on the disk.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     study = cj.Study.open(cj.demo_study(mini=True), results=folder)
    ...     _ = study.measure()
    ...     cj.prune_store(study)
    0
    """
    store = Store(study.results, study.method.key)
    before = _size(store.root)
    with locked(store.root):
        store.compact(study.keys(_hashes(study)))
        for other in store.root.iterdir():
            if other.is_dir() and other != store.folder:
                shutil.rmtree(other, ignore_errors=True)
    return before - _size(store.root)


def _hashes(study: Study) -> dict[str, str]:
    files = study.measure().drop_duplicates("file")
    return dict(zip(files["file"], files["sha256"], strict=True))


def _size(folder: Path) -> int:
    return sum(p.stat().st_size for p in folder.rglob("*") if p.is_file())


def _json(value: Any) -> str:
    return json.dumps(value, indent=2, ensure_ascii=False) + "\n"


def _package(title: str, tables: list[tuple[Table, pd.DataFrame]]) -> dict[str, Any]:
    """Return a Frictionless Data Package for the tables written."""
    return {
        "name": "results",
        "title": title,
        "resources": [
            {
                "name": table.name,
                "path": f"{table.name}.csv",
                "description": table.description,
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8-sig",
                "schema": table.frictionless(frame),
            }
            for table, frame in tables
        ],
    }
