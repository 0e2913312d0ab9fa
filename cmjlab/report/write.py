"""From a study to files: the page, the tables, and what comes along with them."""

from __future__ import annotations

import json
import os
import re
import unicodedata
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.formula_guard import guarded_frame
from cmjlab.keys import file_sha256
from cmjlab.report.blocks.data import ReportData
from cmjlab.report.build.choices import Choices
from cmjlab.report.gather import gather
from cmjlab.report.render.companion_files import write_companion_files
from cmjlab.report.render.docx import write_docx
from cmjlab.report.render.html import render_html
from cmjlab.report.render.pdf import write_pdf
from cmjlab.safe_names import file_in
from cmjlab.safe_open import read_text
from cmjlab.study.store.lock import writing

if TYPE_CHECKING:
    from cmjlab.study.study import Study


#: Tables and companion files lie in a folder named after their page with this ending, so that
#: nothing that another command writes into the results takes the place of a table of the report.
FILES = "_files"
#: What a report came from; in the folder of its tables.
PROVENANCE = "provenance.json"


def files_of(page: Path) -> Path:
    """Return the folder of a report's tables: ``report_x_files`` of ``report_x.html``."""
    return page.with_name(f"{page.stem}{FILES}")


def file_stem(title: str, date: str) -> str:
    """Return ``report_<title>_<date>`` with plain letters, digits and hyphens only."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode("ascii")
    plain = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60].strip("-")
    return f"report_{plain or 'study'}_{date}"


def write_report(
    study: Study,
    out: str | os.PathLike[str] | None = None,
    *,
    progress: Callable[[Any], None] | None = None,
    draft: bool = False,
    choices: Choices | None = None,
) -> Path:
    """Write the block report of a study.

    Parameters
    ----------
    study : Study
        An opened study.
    out : path, optional
        HTML, .docx or .pdf file, or a folder; default: the results folder of the study.
    progress : callable, optional
        Called with an object that has ``done``, ``total`` and ``what``.
    draft : bool
        Write what can be written although parts are missing; the page lists them.
    choices : Choices, optional
        Length, names and decimal style; default: short, ids, decimal point.

    Returns
    -------
    Path
        The HTML file ``report_<title>_<date>.html``. The tables stand beside it
        as CSV, in the folder of the same name with ``_files`` at its end.

    Raises
    ------
    StudyError
        There is nothing to report, or a file cannot be written.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> study = cj.Study.open(cj.demo_study(mini=True))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     cj.write_report(study, folder, draft=True).suffix
    '.html'
    """
    data = gather(study, progress=progress, draft=draft, choices=choices)
    return write_data(data, Path(out) if out is not None else Path(study.results))


def write_data(data: ReportData, out: Path) -> Path:
    """Write a gathered report: the page, and beside it the folder of its tables.

    Parameters
    ----------
    data : ReportData
    out : Path
        HTML, .docx or .pdf file (the page lies beside it), or the folder for
        ``report_<title>_<date>.html``.
    """
    target = out
    if target.suffix.lower() not in (".html", ".htm", ".docx", ".pdf"):
        target = file_in(target, f"{file_stem(data.title, data.date)}.html")
    with writing(target.parent):
        _write(data, target)
    return target


def _write(data: ReportData, target: Path) -> None:
    pages = [target]
    if target.suffix.lower() == ".docx":
        write_docx(data, target)
    elif target.suffix.lower() == ".pdf":
        pages = [target.with_suffix(".html"), target]
        atomic_write(pages[0], render_html(data))
        write_pdf(*pages)
    else:
        atomic_write(target, render_html(data))
    folder = files_of(target)
    _remove_former(folder, data)
    write_tables(data, folder, pages=pages)
    write_companion_files(data, folder)


def _remove_former(folder: Path, data: ReportData) -> None:
    """Remove tables that an earlier report of this name wrote and this one does not have."""
    try:
        former = set(map(str, json.loads(read_text(folder / PROVENANCE))["written"]))
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return
    for path in folder.glob("*.csv"):
        if path.stem in former - set(data.tables):
            path.unlink(missing_ok=True)


def write_tables(data: ReportData, folder: Path, *, pages: Sequence[Path] = ()) -> list[Path]:
    """Write every table of the report as CSV with full precision, and provenance.json.

    That names the tables that were written, and each page with its SHA-256.

    No cell runs anything in a spreadsheet: a text that would gets an apostrophe in front, which
    :func:`cmjlab.files.table.read_table` takes away again.
    """
    written = []
    for stem, frame in data.tables.items():
        path = file_in(folder, f"{stem}.csv")
        atomic_write(path, guarded_frame(frame).to_csv(index=False, lineterminator="\n"))
        written.append(path)
    if data.provenance:
        path = file_in(folder, PROVENANCE)
        told: dict[str, Any] = {**data.provenance, "written": sorted(data.tables)}
        told["pages"] = {page.name: file_sha256(page) for page in pages}
        atomic_write(path, json.dumps(told, indent=2, ensure_ascii=False, default=str))
        written.append(path)
    return written
