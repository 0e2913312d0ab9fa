"""Pages of executed notebooks: one readable page each, without network, and an index of them."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.notebooks.formulas import formula
from cmjlab.words.catalog import Words, read_words

#: Which notebooks are for work; the others are for learning (and 00 is for both).
FOR_WORK = ("02", "04", "06")

_STYLE = """
body { font: 16px/1.5 system-ui, sans-serif; color: #1a1a1a; background: #fff; max-width: 56rem;
  margin: 0 auto; padding: 1rem; overflow-wrap: break-word; }
h1, h2, h3 { line-height: 1.25; }
a { color: #0b4f9e; }
table { border-collapse: collapse; margin: .7rem 0; }
th, td { padding: .25rem .6rem; border-bottom: 1px solid #c8c8c8; text-align: left;
  vertical-align: top; }
.wide { overflow-x: auto; }
dt { margin-top: 1rem; font-weight: 600; } dd { margin-left: 0; }
img { max-width: 100%; height: auto; }
pre { white-space: pre-wrap; background: #f4f4f4; padding: .5rem .7rem; }
details { margin: .4rem 0; } summary { color: #4a4a4a; cursor: pointer; }
blockquote { border-left: 4px solid #8a8a8a; margin-left: 0; padding-left: 1rem; }
.stopped { border-left: 4px solid #9b1c1c; padding-left: .7rem; }
@media print { details { display: none; } }
"""


@dataclass(frozen=True)
class Entry:
    """One notebook of the index: file, heading, question, and why it stopped, if it did."""

    file: str
    heading: str
    question: str
    stopped: str = ""


def write_index(
    target: Path,
    paths: Sequence[Path],
    title: str,
    stopped: Mapping[str, str],
    words: Words | None = None,
) -> Path:
    """Write a readable page for each executed notebook and the index page.

    Parameters
    ----------
    target : Path
        Folder of the executed notebooks.
    paths : sequence of Path
        The notebooks, in order.
    title : str
        Title of the study.
    stopped : mapping of file name to reason
        Notebooks that stopped with an error.
    words : Words, optional
        The study's own words.

    Returns
    -------
    Path
        The index page.
    """
    words = words or read_words()
    said = {k: html.escape(v) for k, v in words.part("notebooks").items()}
    language = words.say("page.language")
    entries = []
    for path in paths:
        cells = json.loads((target / path.name).read_text(encoding="utf-8"))["cells"]
        entry = _entry(path.name, cells, stopped.get(path.name, ""))
        page = _page(f"{entry.heading}: {title}", _notebook(cells, said), language)
        atomic_write(target / page_name(path.name), page)
        entries.append(entry)
    rows = "\n".join(_row(e, said) for e in entries)
    heading = words.say("notebooks.title", title=title)
    body = (
        f"<h1>{html.escape(heading)}</h1>\n<p>{said['executed']}"
        f" <code>cmjlab notebooks STUDY --copy FOLDER</code>.</p>\n<dl>\n{rows}\n</dl>"
    )
    index = target / "index.html"
    atomic_write(index, _page(heading, body, language))
    return index


def page_name(notebook: str) -> str:
    """Return the file name of a notebook's page."""
    return re.sub(r"\.ipynb$", ".html", notebook)


def _entry(file: str, cells: Sequence[dict], stopped: str) -> Entry:
    """Return what the index says of a notebook, from its first text cell."""
    first = "".join(next((c["source"] for c in cells if c["cell_type"] == "markdown"), []))
    heading = first.splitlines()[0].lstrip("# ") if first else file
    question = re.search(r"\*\*Question\.\*\*\s*([^\n]*)", first)
    return Entry(file, heading, question.group(1).replace("*", "") if question else "", stopped)


def _row(entry: Entry, said: Mapping[str, str]) -> str:
    """Return the index entry of one notebook."""
    number = entry.file[:2]
    use = "work" if number in FOR_WORK else "everybody" if number == "00" else "learning"
    used, stopped = said[f"for_{use}"], said["stopped"]
    name, page = html.escape(entry.file), html.escape(page_name(entry.file))
    why = (
        f'<div class="stopped"><strong>{stopped}</strong> {html.escape(entry.stopped)}</div>'
        if entry.stopped
        else ""
    )
    return (
        f'<dt><a href="{page}">{html.escape(entry.heading)}</a> ({used})</dt>'
        f'<dd>{html.escape(entry.question)}{why}<br><a href="{name}">{name}</a></dd>'
    )


def _notebook(cells: Sequence[dict], said: Mapping[str, str]) -> str:
    """Return an executed notebook as HTML: text, outputs, code folded away; no script at all."""
    parts = [f'<p><a href="index.html">{said["all"]}</a></p>']
    for cell in cells:
        source = "".join(cell["source"])
        if cell["cell_type"] == "markdown":
            parts.append(_markdown(source))
        elif cell["cell_type"] == "code":
            code = f"<pre>{html.escape(source)}</pre>"
            parts.append(f"<details><summary>{said['code']}</summary>{code}</details>")
            parts += [_output(o) for o in cell.get("outputs", [])]
    return "\n".join(parts)


def _markdown(text: str) -> str:
    """Return a text cell as HTML; markup in it is not trusted."""
    from mistune import create_markdown

    read = create_markdown(escape=True, plugins=["table", "math"])
    _draw_formulas(read)
    page = str(read(text))
    return page.replace("<table>", '<div class="wide"><table>').replace(
        "</table>", "</table></div>"
    )


def _draw_formulas(markdown: Any) -> None:
    """Let formulas be drawn by the browser itself (MathML): no script, no font, no server."""
    draw = markdown.renderer.register
    draw("inline_math", lambda _, text: formula(text, block=False))
    draw("block_math", lambda _, text: f"<p>{formula(text, block=True)}</p>")


def _output(output: dict) -> str:
    """Return one output: a table, a picture with its words, or plain text."""
    data = output.get("data", {})
    if "text/html" in data:
        found = re.sub(
            r"<style.*?</style>|<script.*?</script>", "", "".join(data["text/html"]), flags=re.S
        )
        return f'<div class="wide">{found}</div>'
    if "image/png" in data:
        words = html.escape(
            output.get("metadata", {}).get("image/png", {}).get("alt", ""), quote=True
        )
        picture = "".join(data["image/png"]).replace("\n", "")
        return f'<p><img src="data:image/png;base64,{picture}" alt="{words}"></p>'
    if "text/markdown" in data:
        return _markdown("".join(data["text/markdown"]))
    if output.get("output_type") == "error":
        return f'<pre class="stopped">{html.escape(str(output.get("evalue", "")))}</pre>'
    text = "".join(output.get("text", data.get("text/plain", "")))
    return f"<pre>{html.escape(text)}</pre>" if text.strip() else ""


def _page(title: str, body: str, language: str) -> str:
    return (
        f'<!DOCTYPE html>\n<html lang="{language}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{html.escape(title)}</title><style>{_STYLE}</style></head>\n<body><main>\n{body}\n"
        "</main></body></html>\n"
    )
