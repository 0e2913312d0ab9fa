"""The template engine, and a part of a report as HTML for a notebook."""

from __future__ import annotations

import base64
from typing import Any

from cmjlab.places import PACKAGE

TEMPLATES = PACKAGE / "report" / "templates"


def template_engine() -> Any:
    """Return the template engine: everything escaped, a missing name is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    engine = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    engine.filters["data_uri"] = _data_uri
    return engine


def stylesheet(name: str) -> str:
    """Return a style sheet that stands beside the templates."""
    return (TEMPLATES / name).read_text(encoding="utf-8")


def part_as_html(title: str, blocks: tuple[Any, ...]) -> str:
    """Return blocks as HTML, below a heading where there is a title."""
    return str(template_engine().get_template("part.html.j2").render(blocks=blocks, title=title))


def _data_uri(svg: str) -> str:
    """Return SVG text as an address that needs no file and no network."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode("utf-8")).decode("ascii")
