"""The PDF comes from a browser when there is one; otherwise a sentence says what to do."""

from __future__ import annotations

import os
import re
import shutil
import stat
import sys

import pytest

from cmjlab.errors import StudyError
from cmjlab.report.render.pdf import VARIABLE, find_browser, write_pdf

PAGE = "<!DOCTYPE html><html><head><style>@page{size:A4}</style></head><body><h1>Zoë</h1></body></html>"


@pytest.fixture
def page(tmp_path):
    path = tmp_path / "report of Zoë.html"
    path.write_text(PAGE, encoding="utf-8")
    return path


def test_without_a_browser_the_message_says_how_to_print(page, monkeypatch):
    monkeypatch.delenv(VARIABLE, raising=False)
    monkeypatch.setattr("cmjlab.report.render.pdf._NAMES", ())
    monkeypatch.setattr("cmjlab.report.render.pdf._PLACES", ())
    assert find_browser() is None
    with pytest.raises(StudyError, match=r"no browser .*Ctrl\+P.*A4.*CMJLAB_BROWSER"):
        write_pdf(page)
    assert not page.with_suffix(".pdf").exists()


def test_a_named_browser_that_is_no_program_is_refused(page, monkeypatch):
    monkeypatch.setenv(VARIABLE, "no-such-browser")
    with pytest.raises(StudyError, match="CMJLAB_BROWSER: 'no-such-browser' is no program"):
        write_pdf(page)


def test_a_page_that_is_not_there(tmp_path):
    with pytest.raises(StudyError, match="write the HTML report first"):
        write_pdf(tmp_path / "no.html")


@pytest.mark.skipif(sys.platform == "win32", reason="a script stands for the browser")
def test_a_browser_that_fails_is_told_and_leaves_the_old_file(page, tmp_path, monkeypatch):
    fake = tmp_path / "browser"
    fake.write_text("#!/bin/sh\necho no display >&2\nexit 1\n", encoding="utf-8")
    fake.chmod(fake.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv(VARIABLE, str(fake))
    old = page.with_suffix(".pdf")
    old.write_bytes(b"old")
    with pytest.raises(StudyError, match=r"could not print report of Zoë\.html \(no display\)"):
        write_pdf(page)
    assert old.read_bytes() == b"old"


@pytest.mark.browser
def test_a_real_browser_prints_a4(page, tmp_path):
    if not any(shutil.which(n) for n in ("chromium", "chromium-browser")):
        pytest.skip("no Chromium on this machine")
    path = write_pdf(page, tmp_path / "new" / "r.pdf")
    content = path.read_bytes()
    assert content.startswith(b"%PDF-")
    width, height = map(float, re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", content).groups())
    assert (width, height) == (pytest.approx(595.3, abs=1.5), pytest.approx(841.9, abs=1.5))
    assert os.listdir(path.parent) == ["r.pdf"]
