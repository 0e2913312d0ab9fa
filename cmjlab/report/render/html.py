"""The report as one self-contained HTML page."""

from __future__ import annotations

import html
import re

from cmjlab.report.blocks.data import ReportData
from cmjlab.report.blocks.numbers import places
from cmjlab.report.blocks.templates import stylesheet, template_engine
from cmjlab.report.render.typeface import font_faces

_PICTURE = re.compile(r'src="data:[^"]*"')


def render_html(data: ReportData, *, more_css: str = "") -> str:
    """Return the report as one HTML page: no script, nothing loaded from anywhere.

    ``more_css`` is a style sheet beside the templates that comes behind that of the report.
    """
    template = template_engine(places(data.sections)).get_template("report.html.j2")

    def page(css: str) -> str:
        return str(template.render(data=data, words=data.words.part("page"), css=css))

    plain = page("")
    sheets = [stylesheet(name) for name in ("report.css", more_css) if name]
    return page("\n".join([font_faces(_signs(plain)), *sheets]))


def _signs(page: str) -> str:
    """Return the signs of a page without its pictures."""
    return "".join(set(html.unescape(_PICTURE.sub("", page))))
