"""The template engine, and a part of a report as HTML for a notebook."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from typing import Any

from cmjlab.places import PACKAGE

TEMPLATES = PACKAGE / "report" / "templates"


def template_engine(places: Mapping[str, str] | None = None) -> Any:
    """Return the template engine: everything escaped, a missing name is an error.

    ``places`` are the anchors of labels ("Table 1"), to which references in the text link.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    engine = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    engine.filters["data_uri"] = _data_uri
    engine.filters["linked"] = _linker(places or {})
    return engine


def stylesheet(name: str) -> str:
    """Return a style sheet that stands beside the templates."""
    return (TEMPLATES / name).read_text(encoding="utf-8")


def part_as_html(title: str, blocks: tuple[Any, ...]) -> str:
    """Return blocks as HTML, below a heading where there is a title."""
    return str(template_engine().get_template("part.html.j2").render(blocks=blocks, title=title))


def _linker(places: Mapping[str, str]) -> Any:
    """Return a filter that cuts a text into pieces with the anchors that they link to, or ""."""
    longest = sorted(places, key=len, reverse=True)
    label = re.compile("|".join(rf"{re.escape(name)}(?!\d)" for name in longest))

    def linked(text: str, refers: str = "") -> list[tuple[str, str]]:
        if not refers or not places or refers not in text:
            return [(text, "")]
        before, after = text.rsplit(refers, 1)
        pieces, done = [(before, "")], 0
        for found in label.finditer(refers):
            pieces += [(refers[done : found.start()], ""), (found[0], places[found[0]])]
            done = found.end()
        return [*pieces, (refers[done:] + after, "")]

    return linked


def _data_uri(svg: str) -> str:
    """Return SVG text as an address that needs no file and no network."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode("utf-8")).decode("ascii")
