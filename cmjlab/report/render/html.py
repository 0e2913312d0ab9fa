"""The report as one self-contained HTML page."""

from __future__ import annotations

from cmjlab.report.blocks.data import ReportData
from cmjlab.report.blocks.numbers import places
from cmjlab.report.blocks.templates import stylesheet, template_engine


def render_html(data: ReportData) -> str:
    """Return the report as one HTML page: no script, nothing loaded from anywhere."""
    page = template_engine(places(data.sections)).get_template("report.html.j2")
    return str(
        page.render(
            data=data,
            words=data.words.part("page"),
            css=stylesheet("report.css"),
        )
    )
