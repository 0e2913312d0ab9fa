"""Report and glossary in a real browser: no request, no error, no sideways scrolling, prints on A4."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

import pytest
from glossary_kit import HELD_OUT, PHRASES

pytestmark = pytest.mark.browser
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="module")
def page_file(kit_report, tmp_path_factory):
    from cmjlab.report.write import write_data

    return write_data(kit_report, tmp_path_factory.mktemp("short"))


@pytest.fixture(scope="module")
def full_page(kit, tmp_path_factory):
    from cmjlab.report.build.choices import Choices
    from cmjlab.report.write import write_report

    place = tmp_path_factory.mktemp("full")
    return write_report(kit, place, choices=Choices(full=True, decimal=","))


@pytest.fixture(scope="module")
def glossary_page(tmp_path_factory):
    from cmjlab.report.render.glossary import write_glossary

    return write_glossary(tmp_path_factory.mktemp("glossary") / "glossary.html")


@pytest.fixture(scope="module")
def axe():
    """Return the text of axe-core; where it lies is named in the environment."""
    place = os.environ.get("CMJLAB_AXE", "")
    if not place:
        pytest.skip("CMJLAB_AXE does not name axe.min.js (npm install axe-core)")
    return Path(place).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def browser():
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("no Chromium on this machine; the page itself is tested without it")
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


@pytest.mark.parametrize("width", [360, 768, 1280])
@pytest.mark.parametrize("form", ["page_file", "glossary_page"])
def test_page_is_quiet_and_fits(browser, request, form, width):
    page, seen = _open(browser, request.getfixturevalue(form), width)
    outside = [u for u in seen["requests"] if not u.startswith(("file:", "data:"))]
    assert outside == []
    assert seen["errors"] == []
    sizes = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert sizes[0] <= sizes[1]
    broken = page.evaluate(
        "[...document.images].filter(i => !i.complete || !i.naturalWidth).length"
    )
    assert broken == 0
    page.close()


def test_page_can_be_read_without_scripts(browser, page_file):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(page_file.as_uri())
    assert page.get_by_role("heading", name="At a glance").is_visible()
    assert page.get_by_role("table").first.is_visible()
    context.close()


def test_page_prints_on_a4_with_the_coach_page_alone_on_the_first(browser, page_file, tmp_path):
    page, _ = _open(browser, page_file, 680)  # 180 mm between the margins
    page.emulate_media(media="print")
    bottom = page.evaluate("document.querySelector('section.first').getBoundingClientRect().bottom")
    assert bottom <= 263 / 25.4 * 96  # 263 mm between the margins
    data = page.pdf(format="A4", prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data)
    assert boxes
    for width, height in boxes:
        assert float(width) == pytest.approx(595.3, abs=1.5)
        assert float(height) == pytest.approx(841.9, abs=1.5)
    page.close()


def test_short_report_has_at_most_twelve_pages(browser, page_file):
    page, _ = _open(browser, page_file, 1280)
    data = page.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type /Page\b(?!s)", data)) <= 12
    page.close()


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("form", ["page_file", "full_page", "glossary_page"])
def test_axe_finds_no_serious_fault(browser, axe, request, form, width):
    """Oracle: axe-core (Mozilla Public License 2.0), its own severities, nothing switched off.

    Its script may run only because the page's policy is set aside for the test.
    """
    context = browser.new_context(bypass_csp=True, viewport={"width": width, "height": 800})
    page = context.new_page()
    page.goto(request.getfixturevalue(form).as_uri())
    page.add_script_tag(content=axe)
    found = page.evaluate("axe.run(document)")
    assert len(found["passes"]) > 15
    bad = [
        f"{v['id']} ({v['impact']}): {v['nodes'][0]['html'][:120]}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]
    assert bad == []
    context.close()


def test_keyboard_reaches_the_sections(browser, page_file):
    page, _ = _open(browser, page_file, 1280)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Go to the report"
    page.close()


# ---- the search box of the glossary -----------------------------------------------------------

ENTRIES = "tr[data-names]"


def _shown(page) -> list[str]:
    rows = page.locator(f"{ENTRIES}:visible code")
    return rows.all_inner_texts()


def _phrases_found(page, phrases) -> list[str]:
    """Return the phrases that leave an entry they mean on the page, among few others."""
    found = []
    for phrase, keys in phrases.items():
        page.get_by_role("searchbox").fill(phrase)
        shown = _shown(page)
        if set(keys.split()) & set(shown) and len(shown) <= 40:
            found.append(phrase)
    return found


def test_box_finds_the_phrases_of_the_trade(browser, glossary_page):
    page, seen = _open(browser, glossary_page, 1280)
    for phrases in (PHRASES, HELD_OUT):
        assert _phrases_found(page, phrases) == list(phrases)
    assert seen["errors"] == []
    page.close()


def test_box_is_used_by_the_keyboard_and_tells_what_it_found(browser, glossary_page):
    page, _ = _open(browser, glossary_page, 360)
    every = page.locator(f"{ENTRIES}:visible").count()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "find"
    page.keyboard.type("ecentric durat")  # mistyped, and not at its end
    told = page.get_by_role("status")
    page.wait_for_function("document.getElementById('found').textContent !== ''")
    shown = _shown(page)
    assert "downward_duration_s" in shown
    assert "jump_height_m" not in shown
    assert told.inner_text() == f"{len(shown)} of {every} entries shown"
    assert page.get_by_role("heading", name="Quality rules").count() == 0
    page.keyboard.press("Enter")  # nothing is sent, nothing is lost
    assert _shown(page) == shown
    page.keyboard.press("Escape")
    assert page.locator(f"{ENTRIES}:visible").count() == every
    page.keyboard.type("qwrtz")
    page.wait_for_function("document.getElementById('found').textContent.startsWith('No entry')")
    assert _shown(page) == []
    page.close()


def test_axe_finds_no_serious_fault_in_what_the_box_left(browser, axe, glossary_page):
    for typed in ("stiffness", "qwrtz"):
        page, _ = _open(browser, glossary_page, 360)
        page.get_by_role("searchbox").fill(typed)
        page.add_script_tag(content=axe)
        found = page.evaluate("axe.run(document)")
        assert [v["id"] for v in found["violations"]] == []
        page.close()


def test_glossary_is_whole_without_scripts(browser, glossary_page):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(glossary_page.as_uri())
    assert page.locator("form").is_hidden()
    assert page.locator(f"{ENTRIES}:visible").count() > 100
    context.close()
