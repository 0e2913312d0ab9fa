"""Draw the figures of the gallery anew: ``python notebooks/site/draw_gallery.py [NAME …]``.

Each is drawn by its lines in ``gallery.toml``, as the site shows them. Beside the pictures stands
what they show in words.
"""

from __future__ import annotations

import ast
import json
import sys
import tomllib
from pathlib import Path
from typing import Any

SITE = Path(__file__).resolve().parent
PICTURES = SITE / "pages" / "gallery"
WORDS = PICTURES / "alt.json"
DPI = 96


def gallery() -> dict[str, Any]:
    """Return the gallery: the lines before all figures, and each figure."""
    return tomllib.loads((SITE / "gallery.toml").read_text(encoding="utf-8"))


def names_before() -> dict[str, Any]:
    """Return what the lines before all figures define."""
    names: dict[str, Any] = {}
    exec(gallery()["before"], names)
    return names


def drawn(code: str, names: dict[str, Any]) -> Any:
    """Return the figure that some lines end with."""
    tree = ast.parse(code)
    last = tree.body.pop()
    if not isinstance(last, ast.Expr):
        raise SystemExit(f"gallery.toml: these lines do not end with a figure:\n{code}")
    exec(compile(tree, "gallery", "exec"), names)
    return eval(compile(ast.Expression(last.value), "gallery", "eval"), names)


def main(wanted: list[str]) -> None:
    """Draw the figures that are named, or all of them."""
    names = names_before()
    words = json.loads(WORDS.read_text(encoding="utf-8")) if WORDS.is_file() else {}
    for figure in gallery()["figure"]:
        name = figure["name"]
        if wanted and name not in wanted:
            continue
        picture = drawn(figure["code"], names)
        picture.savefig(PICTURES / f"{name}.png", dpi=DPI)
        words[name] = picture.alt_text
        print(name)
    WORDS.write_text(json.dumps(words, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
