"""Build the documentation site: ``python notebooks/site/build.py [FOLDER]``.

Written pages stand in ``notebooks/site/pages``; the others are made from the notebooks, the
docstrings, the catalog, the calibration tables and the list of versions. No notebook is run: what
is shown are the outputs that git holds. Any warning stops the build. Without FOLDER the site is
written to ``build/site``; open its ``index.html``, no server is needed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SITE = Path(__file__).resolve().parent
ROOT = SITE.parents[1]
sys.path[:0] = [str(SITE), str(ROOT)]

#: A folder with this file was written by an earlier build and may be replaced.
MARK = "objects.inv"


def lay_out(source: Path) -> None:
    """Put every page, written and made, into a folder for Sphinx."""
    from making import catalog_pages, changelog, gallery, reference, reviewers, tutorials

    shutil.copytree(SITE / "pages", source, dirs_exist_ok=True)
    for part in (tutorials, reference, catalog_pages, gallery, reviewers, changelog):
        part.make(source)


def run_sphinx(source: Path, out: Path, doctrees: Path) -> int:
    """Run Sphinx with warnings as errors; return its exit code."""
    command = [sys.executable, "-m", "sphinx", "-b", "html", "-W", "--keep-going", "-q"]
    command += ["-j", "2", "-c", str(SITE), "-d", str(doctrees), str(source), str(out)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "MPLBACKEND": "agg"}
    return subprocess.run(command, env=environment, check=False).returncode


def tidy(html: Path) -> None:
    """Name what the theme leaves without a name, and leave out what only its makers need."""
    for page in html.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        named = text.replace("<summary><span", '<summary aria-label="pages below"><span')
        page.write_text(named, encoding="utf-8")
    for path in (*html.rglob("*.map"), html / "_static" / "webpack-macros.html"):
        path.unlink()


def replaceable(out: Path) -> bool:
    """Return whether a folder may be replaced: it is new, empty, or an earlier site."""
    if out.exists() and not out.is_dir():
        return False
    return not out.exists() or not any(out.iterdir()) or (out / MARK).is_file()


def main(words: list[str] | None = None) -> int:
    """Build the site; return 0 when all went well."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("out", nargs="?", type=Path, default=ROOT / "build" / "site")
    out = parser.parse_args(words).out.resolve()
    if not replaceable(out):
        parser.error(f"{out} holds something else than a site; name a new or an empty folder")
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        lay_out(work / "source")
        code = run_sphinx(work / "source", work / "html", work / "doctrees")
        if code:
            print("the site was not built: mend what stands above", file=sys.stderr)
            return code
        tidy(work / "html")
        shutil.rmtree(out, ignore_errors=True)
        out.parent.mkdir(parents=True, exist_ok=True)
        shutil.move(work / "html", out)
    print(f"site: {out / 'index.html'} ({time.perf_counter() - start:.0f} s)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
