"""Nothing that is passed on tells of the computer: no path, no name of it or its user, no author.

The study of the tests lies in a temporary folder whose path holds the user's name, so a path that slips
into a page, table or property of a document is found by it.
"""

from __future__ import annotations

import base64
import getpass
import io
import platform
import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

import docx
import openpyxl
import pytest
from report_kit import CHROMIUM

from cmjlab.report.render.docx import write_docx
from cmjlab.report.render.pdf import write_pdf
from cmjlab.report.render.workbook import write_workbook
from cmjlab.report.write import write_data
from cmjlab.study.export import write_results


def parts(data: bytes) -> Iterator[bytes]:
    """Yield bytes, and what is packed in them: archives, streams of a PDF, pictures of a page."""
    yield data
    if data.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for name in archive.namelist():
                yield from parts(archive.read(name))
    if data.startswith(b"%PDF"):
        for stream in re.findall(rb"stream\r?\n(.*?)endstream", data, re.DOTALL):
            try:
                yield zlib.decompress(stream)
            except zlib.error:
                continue
    for packed in re.findall(rb"base64,([A-Za-z0-9+/]{40,}={0,2})", data):
        if len(packed) % 4 == 0:
            yield base64.b64decode(packed)


def found(folder: Path, words: list[str]) -> list[tuple[str, str]]:
    """Return file and word wherever one of the words stands, packed or not."""
    forms = [(w, w.encode(form)) for w in words for form in ("utf-8", "utf-16-le", "utf-16-be")]
    files = [p for p in folder.rglob("*") if p.is_file()]
    return [
        (p.name, w)
        for p in files
        for data in parts(p.read_bytes())
        for w, form in forms
        if form in data
    ]


def of_the_computer(place: Path) -> list[str]:
    """Return paths and names of this computer that are long enough to be no accident."""
    home = Path.home()
    words = [
        str(place),
        "pytest-of-",
        f"{home}/",
        platform.node(),
        getpass.getuser(),
        platform.release(),
    ]
    return [w for w in words if len(w) > 5]


def test_no_output_of_a_report_tells_of_the_computer(kit, kit_report, tmp_path):
    write_data(kit_report, tmp_path)
    write_results(kit)
    for stem in ("jumps", "sessions", "checks", "problems", "provenance", "datapackage"):
        for path in kit.results.glob(f"{stem}.*"):
            (tmp_path / f"own_{path.name}").write_bytes(path.read_bytes())
    document = write_docx(kit_report, tmp_path / "r.docx")
    book = write_workbook(kit_report, tmp_path / "r.xlsx")
    words = of_the_computer(kit.folder)
    assert len(words) >= 2
    assert found(tmp_path, words) == []
    assert len([p for p in tmp_path.rglob("*") if p.is_file()]) > 15
    own = docx.Document(str(document)).core_properties
    assert (own.author, own.last_modified_by) == ("", "")
    about = openpyxl.load_workbook(book).properties
    assert re.fullmatch(r"cmjlab [\d.]+", about.creator)
    assert not about.lastModifiedBy


def test_the_store_and_the_lock_tell_nothing_either(kit):
    kit.measure()
    store = kit.results / "store"
    assert list(store.rglob("*.parquet"))
    assert found(store, of_the_computer(kit.folder)) == []


@pytest.mark.browser
def test_a_pdf_names_no_author_and_no_place(tmp_path):
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    page = tmp_path / "nordhallpc" / "r.html"
    page.parent.mkdir()
    page.write_text(
        "<!DOCTYPE html><title>T</title><h1 id='a'>A</h1><a href='#a'>see A</a>", encoding="utf-8"
    )
    out = tmp_path / "out"
    out.mkdir()
    data = write_pdf(page, out / "r.pdf").read_bytes()
    assert found(out, [*of_the_computer(tmp_path), "nordhallpc"]) == []
    assert b"/Author" not in data


def test_what_is_packed_is_searched_too(tmp_path):
    """The search of this file finds a word in an archive, a stream, a page's picture, in either form."""
    with zipfile.ZipFile(tmp_path / "a.docx", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("docProps/core.xml", "<dc:creator>nordhallpc</dc:creator>")
    (tmp_path / "a.pdf").write_bytes(
        b"%PDF-1.4\nstream\n" + zlib.compress(b"nordhallpc") + b"endstream"
    )
    picture = base64.b64encode(b"x" * 30 + "nordhallpc".encode("utf-16-le"))
    (tmp_path / "a.html").write_bytes(b"<img src='data:image/png;base64," + picture + b"'>")
    assert {n for n, _ in found(tmp_path, ["nordhallpc"])} == {"a.docx", "a.pdf", "a.html"}
