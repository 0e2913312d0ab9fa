"""Page numbers in the contents of a printed report: read from one print, filled in for the next.

A browser cannot number its own contents. It does write into the PDF where every link leads, so
the first print tells the page of each section, and the second holds them.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping

#: Where the page number of a section belongs; the template writes it empty.
_PLACE = re.compile(r'(<span class="page" data-of="([^"]+)">)[^<]*(</span>)')


def has_contents(page: str) -> bool:
    """Return whether a page has contents that wait for numbers."""
    return _PLACE.search(page) is not None


def filled(page: str, pages: Mapping[str, int]) -> str:
    """Return the page with its contents filled in; a section without a page keeps none."""
    return _PLACE.sub(
        lambda found: f"{found[1]}{pages.get(found[2], '')}{found[3]}",
        page,
    )


def pages_of(pdf: str | os.PathLike[str]) -> dict[str, int]:
    """Return the page on which each place that is linked to stands, counted from 1."""
    from pypdf import PdfReader

    with open(pdf, "rb") as file:
        reader = PdfReader(file)
        found = reader.named_destinations
        pages = {
            name.lstrip("/"): reader.get_destination_page_number(d) for name, d in found.items()
        }
    return {
        name: number + 1 for name, number in pages.items() if number is not None and number >= 0
    }
