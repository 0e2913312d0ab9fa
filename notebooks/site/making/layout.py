"""What all made pages share: where things lie, and templates filled with plain data."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from cmjlab.catalog import reference_of

SITE = Path(__file__).resolve().parents[1]
ROOT = SITE.parents[1]

_ENGINE = Environment(
    loader=FileSystemLoader(SITE / "templates"),
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    keep_trailing_newline=True,
    autoescape=False,  # the pages are Markdown; text that could be read as markup goes through `plain`
)


def plain(text: str) -> str:
    """Return text in which nothing is read as Markdown or HTML.

    Examples
    --------
    >>> print(plain("a*b < c_d"))
    a\\*b \\< c\\_d
    """
    return "".join("\\" + c if c in "\\`*_{}[]()<>#|$~:" else c for c in text)


_ENGINE.filters["plain"] = plain
_ENGINE.filters["shown_source"] = reference_of


def filled(template: str, **values: Any) -> str:
    """Return a template filled with values."""
    return _ENGINE.get_template(template).render(**values)


def write(source: Path, name: str, template: str, **values: Any) -> None:
    """Fill a template and write it as a page below the folder of sources."""
    page = source / name
    page.parent.mkdir(parents=True, exist_ok=True)
    page.write_text(filled(template, **values), encoding="utf-8")
