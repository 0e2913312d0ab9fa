"""The documentation site: built whole, nothing of this machine in it, read in a real browser from disk."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from places import ROOT

import cmjlab as cj
from cmjlab.catalog import CHECKS, METRICS, STATISTICS

BUILD = ROOT / "notebooks" / "site" / "build.py"


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Path:
    pytest.importorskip("sphinx", reason="the site needs the extra docs")
    out = tmp_path_factory.mktemp("site") / "out"
    done = subprocess.run([sys.executable, str(BUILD), str(out)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-3000:]
    return out


def _pages(built: Path) -> dict[str, str]:
    return {
        p.relative_to(built).as_posix(): p.read_text(encoding="utf-8")
        for p in sorted(built.rglob("*.html"))
    }


def _names_with_a_place(built: Path) -> set[str]:
    """Return names that Sphinx can link to, from its own list."""
    raw = (built / "objects.inv").read_bytes()
    packed = raw.split(b"\n", 4)[4]
    lines = zlib.decompress(packed).decode("utf-8").splitlines()
    return {line.split()[0] for line in lines}


def test_every_public_name_has_its_reference(built):
    known = _names_with_a_place(built)
    wanted = {
        f"cmjlab.{g}.{n}"
        for g in ("stats", "plots", "simulate", "scrutiny")
        for n in getattr(cj, g).__all__
    }
    in_groups = {
        n for g in ("stats", "simulate", "scrutiny", "notebook") for n in getattr(cj, g).__all__
    }
    modules = {"stats", "plots", "simulate", "scrutiny", "notebook"}
    wanted |= {f"cmjlab.{n}" for n in set(cj.__all__) - in_groups - modules}
    wanted |= {f"cmjlab.notebook.{n}" for n in cj.notebook.__all__}
    assert len(wanted) > 100
    assert sorted(wanted - known) == []


def test_every_metric_statistic_and_rule_has_formula_and_source(built):
    pages = _pages(built)
    text = "\n".join(v for k, v in pages.items() if k.startswith("reference/"))
    entries = {f"metric-{k}": m.reference for k, m in METRICS.items()}
    entries |= {f"statistic-{k}": s.reference for k, s in STATISTICS.items()}
    entries |= {f"rule-{k}": c.reference for k, c in CHECKS.items()}
    anchors = set(re.findall(r'id="((?:metric|statistic|rule)-[^"]+)"', text))
    assert sorted({k.replace("_", "-") for k in entries} - anchors) == []
    straight = _straight(text)
    missing = [k for k, source in entries.items() if _as_html(source) not in straight]
    assert missing == []


def _as_html(text: str) -> str:
    return _straight(text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;"))


def _straight(text: str) -> str:
    """Return text with typewriter quotes: pages have printer's quotes in their place."""
    text = re.sub("[“”]|&quot;", '"', re.sub("[‘’]|&#39;", "'", text))
    return " ".join(text.replace("…", "...").replace("–", "--").replace("----", "---").split())


def test_every_link_inside_leads_to_a_page(built):
    broken = []
    for name, text in _pages(built).items():
        for target in re.findall(r'(?:href|src)="([^"#?]+)[^"]*"', text):
            if re.match(r"[a-z]+:", target):
                continue
            if not (built / name).parent.joinpath(target).exists():
                broken.append(f"{name}: {target}")
    assert broken == []


def test_nothing_of_this_machine_and_no_registry_is_in_it(built):
    rule = re.compile(
        rf"{re.escape(str(ROOT))}|{re.escape(str(built.parent))}|/tmp/(?!my)|py[p]i|npmjs"
    )
    found = []
    for path in sorted(built.rglob("*")):
        own = path.suffix in (".html", ".txt", ".csv") or path.name == "searchindex.js"
        if own and (hit := rule.search(path.read_text(encoding="utf-8"))):
            found.append(f"{path.relative_to(built)}: {hit.group()}")
    assert found == []


def test_cautions_stand_on_every_page(built):
    without = [n for n, text in _pages(built).items() if "stop on pain" not in text]
    assert without == []


def test_pictures_have_words(built):
    bare = [n for n, t in _pages(built).items() if re.search(r'<img(?![^>]*alt="[^"])[^>]*>', t)]
    assert bare == []


def test_a_folder_with_something_else_is_not_replaced(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    done = subprocess.run(
        [sys.executable, str(BUILD), str(tmp_path)], capture_output=True, text=True
    )
    assert done.returncode != 0
    assert "holds something else than a site" in done.stderr
    assert (tmp_path / "mine.txt").read_text() == "keep"


FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
#: One page of each kind.
KINDS = (
    "index.html", "tutorials/04_block_change.html", "reference/names.html",
    "reference/metrics-braking.html", "reference/names-stats-what-changed.html", "changelog.html",
    "reviewers/dossier.html",
)  # fmt: skip


@pytest.fixture(scope="module")
def browser():
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("no Chromium on this machine; the pages themselves are tested without it")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as p:
        opened = p.chromium.launch(executable_path=program, args=FLAGS)
        yield opened
        opened.close()


def _open(browser, path, width):
    page = browser.new_page(viewport={"width": width, "height": 800})
    seen = {"requests": [], "errors": []}
    page.on("request", lambda r: seen["requests"].append(r.url))
    page.on("console", lambda m: seen["errors"].append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: seen["errors"].append(str(e)))
    page.goto(path.as_uri(), wait_until="load")
    return page, seen


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", KINDS)
def test_page_opens_from_disk_and_fits(browser, built, name, width):
    page, seen = _open(browser, built / name, width)
    assert [u for u in seen["requests"] if not u.startswith(("file:", "data:"))] == []
    assert seen["errors"] == []
    sizes = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert sizes[0] <= sizes[1]
    broken = page.evaluate(
        "[...document.images].filter(i => !i.complete || !i.naturalWidth).length"
    )
    assert broken == 0
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize(
    ("words", "page_found"),
    [
        ("typical error", "statistics-reliability"),
        ("braking_duration_s", "metrics-braking"),
        ("split_jumps", "names-core-from-a-file-to-a-jump"),
    ],
)
def test_search_works_from_disk(browser, built, words, page_found):
    page, seen = _open(browser, built / "search.html", 1280)
    page.goto((built / "search.html").as_uri() + "?q=" + words.replace(" ", "+"))
    page.wait_for_selector("#search-results li a", timeout=10_000)
    links = page.eval_on_selector_all("#search-results li a", "all => all.map(a => a.href)")
    assert any(page_found in link for link in links)
    assert seen["errors"] == []
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", KINDS)
def test_no_serious_fault_of_access(browser, built, name, width):
    place = os.environ.get("CMJLAB_AXE", "")
    if not place:
        pytest.skip("CMJLAB_AXE does not name axe.min.js (npm install axe-core)")
    page, _ = _open(browser, built / name, width)
    page.evaluate(Path(place).read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document).then(r => r.violations)")
    serious = [
        (v["id"], v["nodes"][0]["html"][:200])
        for v in found
        if v["impact"] in ("serious", "critical")
    ]
    assert serious == []
    page.close()
