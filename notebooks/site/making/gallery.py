"""The gallery: one figure of each kind with the lines that draw it.

The pictures are those that git holds (``draw_gallery.py`` draws them anew, and a test compares them
with what the lines draw today).
"""

from __future__ import annotations

import json
from pathlib import Path

from draw_gallery import PICTURES, WORDS, gallery


def make(source: Path) -> None:
    """Write the page of the gallery; a figure without a picture is refused."""
    words = json.loads(WORDS.read_text(encoding="utf-8"))
    all_figures = gallery()
    lines = [
        "# Gallery",
        "Every figure is drawn from the invented demo study by the lines below it, after these:",
        f"```python\n{all_figures['before'].strip()}\n```",
        'Each can be saved (`figure.savefig("my.png")`) and says in words what it shows'
        " (`figure.alt_text`). Most take an `ax` of your own.",
    ]
    for figure in all_figures["figure"]:
        name = figure["name"]
        if not (PICTURES / f"{name}.png").is_file() or name not in words:
            raise SystemExit(f"gallery: no picture of {name}; run notebooks/site/draw_gallery.py")
        lines += [
            f"## {figure['title']}",
            f"```{{image}} {name}.png\n:alt: {' '.join(words[name].split())}\n```",
            f"```python\n{figure['code'].strip()}\n```",
        ]
    page = source / "gallery" / "index.md"
    page.write_text("\n\n".join(lines) + "\n", encoding="utf-8")
