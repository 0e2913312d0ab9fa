"""The report as PDF: the HTML page printed by a browser of the Chromium family, when there is one."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from cmjlab.errors import StudyError
from cmjlab.files.atomic_write import atomic_copy
from cmjlab.report.render.contents import filled, has_contents, pages_of

#: Environment variable that names the browser's program, for unusual places.
VARIABLE = "CMJLAB_BROWSER"
_NAMES = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
)
_PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Microsoft/Edge/Application/msedge.exe",
    "C:/Program Files/Microsoft/Edge/Application/msedge.exe",
)
_FLAGS = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--no-pdf-header-footer",
    "--generate-pdf-document-outline",
)
_SECONDS = 120
#: Prints after the first; numbers of pages take room of their own, so the second one holds.
_PRINTS = 3


def find_browser() -> Path | None:
    """Return a browser that can print to PDF, or None.

    CMJLAB_BROWSER is asked first, then the search path, then the usual places of macOS and
    Windows.

    Raises
    ------
    StudyError
        CMJLAB_BROWSER names no program.
    """
    own = os.environ.get(VARIABLE, "")
    if own:
        if shutil.which(own) is None:
            raise StudyError(
                f"{VARIABLE}: {own!r} is no program. Correct the variable or unset it."
            )
        return Path(own)
    for name in _NAMES:
        found = shutil.which(name)
        if found:
            return Path(found)
    return next((Path(p) for p in _PLACES if Path(p).is_file()), None)


def write_pdf(page: str | os.PathLike[str], path: str | os.PathLike[str] | None = None) -> Path:
    """Print a self-contained HTML report to PDF.

    Parameters
    ----------
    page : path
        The HTML file.
    path : path, optional
        The PDF file; default: beside the page with the ending ``.pdf``.

    Returns
    -------
    Path

    Raises
    ------
    StudyError
        No browser was found (the message says how to print by hand), it failed, or the file
        cannot be written.
    """
    page = Path(page).resolve()
    target = Path(path).resolve() if path is not None else page.with_suffix(".pdf")
    if not page.is_file():
        raise StudyError(f"{page}: there is no such page; write the HTML report first.")
    browser = find_browser()
    if browser is None:
        raise StudyError(
            "no PDF: no browser of the Chromium family was found on this machine. Open"
            f" {page.name} in any browser and print it to PDF (Ctrl+P, on a Mac Cmd+P); it is laid"
            f" out for A4. Or name a browser in the environment variable {VARIABLE}."
        )
    with tempfile.TemporaryDirectory(prefix="cmjlab-", ignore_cleanup_errors=True) as place:
        made = _printed(browser, page, Path(place))
        atomic_copy(made, target)
    return target


def _printed(browser: Path, page: Path, place: Path) -> Path:
    """Return the PDF of a page; contents are filled in by printing until their numbers hold."""
    made, profile = place / "report.pdf", place / "profile"
    _print(browser, page, made, profile)
    text = page.read_text(encoding="utf-8")
    if not has_contents(text):
        return made
    known: dict[str, int] = {}
    for _ in range(_PRINTS):
        pages = pages_of(made)
        if pages == known:
            break
        known = pages
        again = place / page.name
        again.write_text(filled(text, pages), encoding="utf-8")
        made.unlink()
        _print(browser, again, made, profile)
    return made


def _print(browser: Path, page: Path, made: Path, profile: Path) -> None:
    """Run the browser once, with a profile of its own that is thrown away."""
    command = [str(browser), *_FLAGS, f"--user-data-dir={profile}", f"--print-to-pdf={made}"]
    if sys.platform != "win32" and os.geteuid() == 0:
        command.append("--no-sandbox")  # the sandbox refuses to start for the administrator
    try:
        done = subprocess.run(
            [*command, page.as_uri()], capture_output=True, timeout=_SECONDS, check=False
        )
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
    except subprocess.TimeoutExpired:
        said = [f"nothing happened within {_SECONDS} s"]
    except OSError as error:
        said = [str(error.strerror or error)]
    if not made.is_file() or made.read_bytes()[:5] != b"%PDF-":
        why = said[-1] if said else "it wrote no PDF"
        raise StudyError(
            f"no PDF: {browser.name} could not print {page.name} ({why}). Open the page in a browser"
            " and print it to PDF there; it is laid out for A4."
        )
