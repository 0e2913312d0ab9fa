"""Tutorials: the notebooks as git holds them, with their outputs, copied for one build.

A picture keeps the words that say what it shows: notebooks carry them beside the picture, and the
page shows it as an image with these words.
"""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path
from typing import Any

from making.layout import ROOT, write

NOTEBOOKS = ROOT / "notebooks"


def notebooks() -> list[Path]:
    """Return the notebooks in their order."""
    return sorted(NOTEBOOKS.glob("[0-9][0-9]_*.ipynb"))


def make(source: Path) -> None:
    """Copy every notebook and write the page that lists them."""
    folder = source / "tutorials"
    folder.mkdir(parents=True, exist_ok=True)
    listed = []
    for path in notebooks():
        book = json.loads(path.read_text(encoding="utf-8"))
        for number, cell in enumerate(book["cells"]):
            if cell["cell_type"] == "code":
                _pictures(cell, folder, f"{path.stem}-{number}")
        (folder / path.name).write_text(json.dumps(book), encoding="utf-8")
        listed.append({"name": path.stem, "title": title(book), "question": question(book)})
    write(source, "tutorials/index.md", "tutorials.md.j2", notebooks=listed)


def title(book: dict[str, Any]) -> str:
    """Return the first heading of a notebook."""
    found = re.search(r"^# (.+)$", _prose(book), re.MULTILINE)
    return found.group(1) if found else ""


def question(book: dict[str, Any]) -> str:
    """Return the question that a notebook answers."""
    found = re.search(r"\*\*Question\.\*\* (.+)", _prose(book))
    return found.group(1) if found else ""


def _prose(book: dict[str, Any]) -> str:
    return "\n".join("".join(c["source"]) for c in book["cells"] if c["cell_type"] == "markdown")


def _pictures(cell: dict[str, Any], folder: Path, name: str) -> None:
    """Put each picture of a cell into a file and an image with its words into the output."""
    for number, output in enumerate(cell["outputs"]):
        data = output.get("data", {})
        if "image/png" not in data:
            continue
        picture = folder / f"{name}-{number}.png"
        picture.write_bytes(base64.b64decode("".join(data["image/png"])))
        beside = output.get("metadata", {})
        words = beside.get("image/png", beside).get("alt", "")
        if not words:
            raise SystemExit(
                f"{name}: cell output {number} holds a picture without words; give the figure an"
                " alt_text and run the notebook again"
            )
        shown = " ".join(words.replace("[", "(").replace("]", ")").split())
        output["data"] = {"text/markdown": f"![{shown}]({picture.name})"}
        output["metadata"] = {}
