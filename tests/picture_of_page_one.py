"""Make ``sample_data/page_one.png`` of the README anew: the demo's first page as it is printed.

    python tests/picture_of_page_one.py

It needs the extra ``test`` (a browser is driven) and a Chromium on the search path.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from pathlib import Path

from PIL import Image

import cmjlab as cj
from cmjlab.report.gather import gather
from cmjlab.report.render.html import render_html

ROOT = Path(__file__).parents[1]
TARGET = ROOT / "sample_data" / "page_one.png"
#: 170 mm between the margins at 96 pixels an inch, and a margin round it.
_WIDTH, _MARGIN = 643, 34
_COLOURS = 255


def page_one(page: Path) -> bytes:
    """Return the first page of a report as a picture in few colours."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        browser = p.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        tab = browser.new_page(
            viewport={"width": _WIDTH + 2 * _MARGIN, "height": 1500}, device_scale_factor=1.4
        )
        tab.emulate_media(media="print")
        tab.goto(page.as_uri())
        tab.add_style_tag(
            content=f"body {{ padding: {_MARGIN}px !important; }} nav, section:not(.first) {{ display: none !important; }}"
        )
        tab.evaluate("document.fonts.ready")
        bottom = tab.evaluate(
            "document.querySelector('section.first').getBoundingClientRect().bottom"
        )
        size = {"x": 0, "y": 0, "width": _WIDTH + 2 * _MARGIN, "height": bottom + _MARGIN}
        shot = tab.screenshot(clip=size)
        browser.close()
    out = io.BytesIO()
    with Image.open(io.BytesIO(shot)) as picture:
        picture.convert("RGB").quantize(_COLOURS, method=Image.Quantize.MAXCOVERAGE).save(
            out, "png", optimize=True
        )
    return out.getvalue()


def main() -> None:
    """Write the picture."""
    with tempfile.TemporaryDirectory() as place:
        study = Path(place) / "block"
        shutil.copytree(ROOT / "sample_data" / "merrowfold_block", study)
        page = Path(place) / "report.html"
        page.write_text(render_html(gather(cj.Study.open(study))), encoding="utf-8")
        TARGET.write_bytes(page_one(page))


if __name__ == "__main__":
    main()
