"""The changelog: the versions of DEVELOPERS.md, which is the one place where they are written."""

from __future__ import annotations

from pathlib import Path

from making.layout import ROOT, write


def versions() -> str:
    """Return the entries of the versions, each a heading below the page's own."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    part = text[text.index("\n## Versions\n") + len("\n## Versions\n") :]
    return part.split("\n## ")[0].replace("\n### ", "\n## ").strip()


def make(source: Path) -> None:
    """Write the page."""
    write(source, "changelog.md", "changelog.md.j2", versions=versions())
