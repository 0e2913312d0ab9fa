"""Nothing of one computer in what is passed on: ways between folders, and outputs without places."""

from __future__ import annotations

import os
import platform
import re
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from cmjlab.places import PACKAGE

#: A place on any computer, wherever it came from: at least two folders, or a drive.
_ANY_PLACE = re.compile(r"(?<![\w.~…:/])(?:[A-Za-z]:\\(?:[^\\\s\"':]+\\)+|/(?:[^/\s\"':]+/)+)")
#: Shortest name of a computer that is looked for; shorter ones are words.
_SHORTEST = 4


def way_to(place: str | Path, start: str | Path) -> str | None:
    """Return the way from one folder to a place, with "/"; None between drives.

    Examples
    --------
    >>> way_to("studies/autumn", "studies/copies")
    '../autumn'
    """
    try:
        found = os.path.relpath(Path(place).resolve(), Path(start).resolve())
    except ValueError:  # another drive
        return None
    return Path(found).as_posix()


def own_places(more: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return places of this computer and what stands for each in what is passed on.

    Parameters
    ----------
    more : mapping, optional
        Further places, such as the study folder, with what stands for them.
    """
    known = {
        str(PACKAGE.parent): "…",
        sys.prefix: "…",
        sys.base_prefix: "…",
        tempfile.gettempdir(): "…",
        str(Path.home()): "~",
    }
    found = {**known, **(more or {})}
    return {k: v for k, v in found.items() if len(Path(k).parts) > 1}


def without_places(text: str, places: Mapping[str, str]) -> str:
    """Return a text in which known places are replaced, the longest first."""
    for place in sorted(places, key=len, reverse=True):
        pattern = rf"(?<![\w.]){re.escape(place)}(?![\w-])"
        text = re.sub(pattern, places[place].replace("\\", r"\\"), text)
    return text


def without_any_place(text: str, places: Mapping[str, str]) -> str:
    """Return a text, such as an error, without places and without the name of this computer."""
    text = _ANY_PLACE.sub("…/", without_places(text, places))
    host = platform.node()
    if len(host) >= _SHORTEST:
        text = re.sub(rf"(?<!\w){re.escape(host)}(?!\w)", "this computer", text)
    return text


def clean_outputs(cells: list[Any], places: Mapping[str, str]) -> None:
    """Take places of this computer out of the outputs of an executed notebook."""
    for cell in cells:
        for output in cell.get("outputs", []):
            if output["output_type"] == "error":
                output["evalue"] = without_any_place(output["evalue"], places)
                output["traceback"] = [without_any_place(t, places) for t in output["traceback"]]
            if "text" in output:
                output["text"] = _cleaned(output["text"], places)
            for kind, data in output.get("data", {}).items():
                if kind.startswith("text/"):
                    output["data"][kind] = _cleaned(data, places)


def _cleaned(text: Any, places: Mapping[str, str]) -> str:
    return without_places("".join(text), places)
