"""From ReportData to files: one self-contained HTML page, and the tables beside it."""

from __future__ import annotations

import base64
import json
import os
import re
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cmjlab.files.atomic_write import write_whole
from cmjlab.places import PACKAGE
from cmjlab.report.blocks.data import Block, ReportData, Section

if TYPE_CHECKING:
    from cmjlab.report.build.choices import Choices
    from cmjlab.study.study import Study

TEMPLATES = PACKAGE / "report" / "templates"


def _data_uri(svg: str) -> str:
    """Return SVG text as an address that needs no file and no network."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode("utf-8")).decode("ascii")


def _environment() -> Any:
    """Return the template engine: everything escaped, a missing name is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["data_uri"] = _data_uri
    return environment


def render_html(data: ReportData) -> str:
    """Return the report as one HTML page: no script, nothing loaded from anywhere."""
    css = (TEMPLATES / "report.css").read_text(encoding="utf-8")
    return str(_environment().get_template("report.html.j2").render(data=data, css=css))


def render_part(part: Section | Block) -> str:
    """Return one section or block as HTML, as a notebook shows it."""
    blocks = part.blocks if isinstance(part, Section) else (part,)
    title = part.title if isinstance(part, Section) else ""
    return str(_environment().get_template("part.html.j2").render(blocks=blocks, title=title))


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
        The HTML file ``report_<title>_<date>.html``. The tables stand beside it as CSV.

    Raises
    ------
    StudyError
        There is nothing to report, or a file cannot be written.
    """
    from cmjlab.report.sections.assemble import gather

    data = gather(study, progress=progress, draft=draft, choices=choices)
    return write_data(data, Path(out) if out is not None else Path(study.results))


def write_data(data: ReportData, out: Path) -> Path:
    """Write a gathered report: the page, and the tables beside it.

    Parameters
    ----------
    data : ReportData
    out : Path
        HTML, .docx or .pdf file (the page lies beside it), or the folder for
        ``report_<title>_<date>.html``.
    """
    target = out
    if target.suffix.lower() not in (".html", ".htm", ".docx", ".pdf"):
        target = target / f"{file_stem(data.title, data.date)}.html"
    if target.suffix.lower() == ".docx":
        from cmjlab.report.render.docx import write_docx

        write_docx(data, target)
    elif target.suffix.lower() == ".pdf":
        from cmjlab.report.render.pdf import write_pdf

        page = target.with_suffix(".html")
        write_whole(page, render_html(data))
        write_pdf(page, target)
    else:
        write_whole(target, render_html(data))
    write_tables(data, target.parent)
    from cmjlab.report.render.companion_files import write_beside

    write_beside(data, target.parent)
    return target


def write_tables(data: ReportData, folder: Path) -> list[Path]:
    """Write every table of the report as CSV with full precision, and provenance.json."""
    written = []
    for stem, frame in data.tables.items():
        path = folder / f"{stem}.csv"
        write_whole(path, frame.to_csv(index=False, lineterminator="\n"))
        written.append(path)
    if data.provenance:
        path = folder / "provenance.json"
        write_whole(path, json.dumps(data.provenance, indent=2, ensure_ascii=False, default=str))
        written.append(path)
    return written
