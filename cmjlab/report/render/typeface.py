"""The typeface of the page: the one of the figures, so that page and figures look like one.

Figures are drawn with the DejaVu Sans that comes with matplotlib. The page gets the same letters,
embedded in its style sheet: only those signs that it needs, under a name of its own, because the
licence of the letters asks for another name on what was changed (the notice stays in the font).
"""

from __future__ import annotations

import base64
import io
import logging
from functools import lru_cache
from pathlib import Path
from typing import Any

FAMILY = "Report Sans"
#: Style of our own -> file of the letters, style as a browser names it.
_FACES = {
    "Regular": ("DejaVuSans.ttf", 400),
    "Bold": ("DejaVuSans-Bold.ttf", 600),
}
#: Entries of the font's table of names: notice and licence stay, the names become ours.
_KEPT_NAMES = (0, 13, 14)
_ALWAYS = "".join(map(chr, range(32, 127))) + "\u00a0\u00b1\u00b7\u2212\u2013\u2019\u201c\u201d"


def font_faces(text: str) -> str:
    """Return the style rules that embed the letters for a text; a browser asks nobody for them."""
    needed = "".join(sorted(set(text) | set(_ALWAYS)))
    return "\n".join(_face(style, needed) for style in _FACES)


def _face(style: str, needed: str) -> str:
    _, weight = _FACES[style]
    letters = base64.b64encode(subset_of(style, needed)).decode("ascii")
    return (
        f'@font-face {{ font-family: "{FAMILY}"; font-weight: {weight}; font-display: block;'
        f' src: url("data:font/woff;base64,{letters}") format("woff"); }}'
    )


@lru_cache(maxsize=8)
def subset_of(style: str, needed: str) -> bytes:
    """Return the letters of a style that a text needs, as a font file (WOFF)."""
    import matplotlib as mpl
    from fontTools import subset
    from fontTools.ttLib import TTFont

    file, _ = _FACES[style]
    options = subset.Options(
        hinting=False, layout_features=[], name_IDs=[*_KEPT_NAMES, 1, 2, 3, 4, 6], flavor="woff"
    )
    options.drop_tables += ["FFTM"]
    logging.getLogger("fontTools.subset").setLevel(logging.ERROR)
    font = TTFont(Path(mpl.get_data_path()) / "fonts" / "ttf" / file, recalcTimestamp=False)
    cutter = subset.Subsetter(options)
    cutter.populate(text=needed)
    cutter.subset(font)
    _rename(font, style)
    font.flavor = "woff"
    out = io.BytesIO()
    font.save(out)
    return out.getvalue()


def _rename(font: Any, style: str) -> None:
    """Give the font our name, as its licence asks; notice and licence stay in it."""
    plain = FAMILY.replace(" ", "")
    ours = {
        1: FAMILY,
        2: style,
        3: f"{plain}-{style}",
        4: f"{FAMILY} {style}",
        6: f"{plain}-{style}",
    }
    for record in font["name"].names:
        if record.nameID in ours:
            record.string = ours[record.nameID]
