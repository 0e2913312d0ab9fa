"""Files that come along with the report: workbook, references, methods, check in R."""

from __future__ import annotations

from pathlib import Path

from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.data import ReportData
from cmjlab.report.render.check_in_r import check_in_r
from cmjlab.report.render.citations import bibliography, methods_text
from cmjlab.report.render.workbook import write_workbook
from cmjlab.safe_names import file_in


def write_companion_files(data: ReportData, folder: Path) -> list[Path]:
    """Write what comes along with every report, into the folder of its tables.

    Parameters
    ----------
    data : ReportData
    folder : Path
        Where the report's CSV tables are (``check_in_R.R`` reads them).

    Returns
    -------
    list of Path
        references.bib, methods.txt, check_in_R.R, results.xlsx, as far as the report has what
        they need (a draft without results has no check in R).

    Raises
    ------
    StudyError
        A file is held open by another program, or the folder cannot be written.
    """
    texts = {}
    sections = {s.key for s in data.sections}
    if "references" in sections:
        texts["references.bib"] = bibliography(data)
    if {"references", "methods"} <= sections:
        texts["methods.txt"] = methods_text(data)
    if "sessions" in data.tables and {"reliability", "change_within"} & set(data.tables):
        texts["check_in_R.R"] = check_in_r(data)
    for name, text in texts.items():
        atomic_write(file_in(folder, name), text)
    written = [folder / name for name in texts]
    if data.tables:
        written.append(write_workbook(data, folder / "results.xlsx"))
    return written
