"""JupyterLab in a real browser: notebook 04 follows its parameters, the review window decides.

Everything stays on this machine: JupyterLab listens on the loopback address only, and the
browser may not ask anybody else.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
TOKEN = "review-test"
BLOCK = "04_block_change.ipynb"
#: Seconds that one notebook may take on a busy machine.
PATIENCE = 240
REVIEW = """import cmjlab as cj
study = cj.Study.open({folder!r})
cj.review_jumps(study, who="T1")
"""


@pytest.fixture(scope="module")
def program():
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("no Chromium on this machine; review and notebooks are tested without it")
    pytest.importorskip("jupyterlab", reason="the extra 'lab' is not installed")
    pytest.importorskip("ipywidgets", reason="the extra 'lab' is not installed")
    pytest.importorskip("playwright.sync_api", reason="playwright drives the browser")
    return found


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    from report_kit import kit_study

    return kit_study(tmp_path_factory.mktemp("lab_study"), athletes=3)


@pytest.fixture(scope="module")
def desk(tmp_path_factory, study):
    """Folder that JupyterLab shows: notebook 04 and one with the review window."""
    import nbformat

    from cmjlab.report.notebooks.files import notebooks_folder

    place = tmp_path_factory.mktemp("desk")
    notebook = nbformat.read(notebooks_folder() / BLOCK, as_version=4)
    for cell in notebook.cells:
        if cell.cell_type == "code":  # what the page shows later has been computed here
            cell.outputs, cell.execution_count = [], None
    nbformat.write(notebook, place / BLOCK)
    cell = nbformat.v4.new_code_cell(REVIEW.format(folder=str(study.folder)))
    made = nbformat.v4.new_notebook(cells=[cell])
    made.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
    nbformat.write(made, place / "review.ipynb")
    return place


def _settings(folder: Path) -> None:
    """Write user settings: all cells are in the page, and nobody is asked for news."""
    for name, values in {
        "notebook-extension/tracker": {"windowingMode": "none"},
        "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
    }.items():
        path = folder / "@jupyterlab" / f"{name}.jupyterlab-settings"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(values), encoding="utf-8")


def _answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/api/status?token={TOKEN}", timeout=2) as answer:
            return answer.status == 200
    except (urllib.error.URLError, OSError):
        return False


@pytest.fixture(scope="module")
def lab(program, desk, tmp_path_factory):
    """A running JupyterLab of this interpreter with folders of its own; its address."""
    own = tmp_path_factory.mktemp("jupyter")
    _settings(own / "settings")
    parameters = own / "parameters.json"
    parameters.write_text(json.dumps({"results": str(own / "results")}), encoding="utf-8")
    environment = os.environ | {
        "JUPYTER_CONFIG_DIR": str(own / "config"),
        "JUPYTER_RUNTIME_DIR": str(own / "run"),
        "JUPYTERLAB_SETTINGS_DIR": str(own / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(own / "workspaces"),
        "CMJLAB_PARAMETERS": str(parameters),
        "PATH": os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")]),
    }
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1",
        f"--IdentityProvider.token={TOKEN}", f"--ServerApp.root_dir={desk}",
        "--LabApp.extension_manager=readonly", "--ServerApp.port_retries=50",
    ]  # fmt: skip
    log = (own / "log.txt").open("w", encoding="utf-8")
    server = subprocess.Popen(command, env=environment, stdout=log, stderr=subprocess.STDOUT)
    try:
        yield _wait_for_address(server, own)
    finally:
        server.terminate()
        try:
            server.wait(20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()
        log.close()


def _wait_for_address(server, own: Path) -> str:
    end = time.monotonic() + 120
    while time.monotonic() < end and server.poll() is None:
        for path in (own / "run").glob("jpserver-*.json"):
            try:
                address = json.loads(path.read_text(encoding="utf-8"))["url"].rstrip("/")
            except (ValueError, KeyError):  # still being written
                continue
            if _answers(address):
                return address
        time.sleep(0.3)
    pytest.fail(f"JupyterLab did not start:\n{(own / 'log.txt').read_text(encoding='utf-8')}")


@pytest.fixture(scope="module")
def browser(program):
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        opened = p.chromium.launch(executable_path=program, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def page(browser, lab):
    """A page that reaches this machine only; ``outside`` holds what it asked of others."""
    page = browser.new_page(viewport={"width": 1280, "height": 1600})
    page.set_default_timeout(90_000)
    page.outside = []

    def guard(route):
        url = route.request.url
        if url.startswith((lab, "data:", "blob:")):
            route.continue_()
        else:
            page.outside.append(url)
            route.abort()

    page.route("**/*", guard)
    yield page
    page.close()


def _open(page, lab: str, name: str) -> None:
    page.goto(f"{lab}/lab/tree/{name}?token={TOKEN}&reset")
    page.locator(".jp-Notebook .jp-CodeCell").first.wait_for()
    idle = page.locator('.jp-Notebook-ExecutionIndicator[data-status="idle"]').first
    select = page.get_by_role("button", name="Select", exact=True)
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if select.is_visible():  # a notebook that names no kernel: the dialog offers the right one
            select.click()
        elif idle.is_visible():
            return
        time.sleep(0.3)
    pytest.fail(f"no kernel became idle within {PATIENCE} s")


def _run_all(page) -> None:
    """Run all cells from the menu; again when the kernel was not ready to take them."""
    page.get_by_text("| Idle").first.wait_for()  # in the bar at the foot
    for _ in range(10):
        page.get_by_role("menuitem", name="Run", exact=True).click()
        page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
        end = time.monotonic() + 5
        while time.monotonic() < end:
            if any(p.strip("[]: \n\xa0") for p in _prompts(page)):
                return
            time.sleep(0.2)
    pytest.fail(f"no cell began to run: {_prompts(page)}")


def _prompts(page) -> list[str]:
    return page.locator(".jp-CodeCell .jp-InputPrompt").all_inner_texts()


def _wait_until_run(page) -> None:
    """Wait until every code cell has a number and none is waiting."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        found = [p.strip() for p in _prompts(page)]
        if found and all(p.strip("[]: \xa0").isdigit() for p in found):
            return
        if page.locator('[data-mime-type="application/vnd.jupyter.error"]').count():
            return
        time.sleep(0.5)
    pytest.fail(f"not all cells ran within {PATIENCE} s: {_prompts(page)}")


def _errors(page) -> list[str]:
    where = '[data-mime-type="application/vnd.jupyter.error"], [data-mime-type="application/vnd.jupyter.stderr"]'
    return page.locator(where).all_inner_texts()


def _pictures(page) -> list[str]:
    return [i.get_attribute("src") for i in page.locator(".jp-OutputArea img").all()]


def _tables(page) -> list[str]:
    """Return the texts of all tables that show numbers."""
    return page.locator(".jp-OutputArea table").all_inner_texts()


def _type_into_first_cell(page, change) -> None:
    """Replace the text of the first code cell, as a person does who selects it and types."""
    cell = page.locator(".jp-CodeCell").first
    text = "\n".join(cell.locator(".cm-line").all_inner_texts())
    cell.locator(".cm-content").click()
    page.keyboard.press("Control+A")
    page.keyboard.insert_text(change(text))


def test_notebook_04_follows_the_metric_and_the_level_that_a_student_types(page, lab):
    _open(page, lab, BLOCK)
    _run_all(page)
    _wait_until_run(page)
    assert _errors(page) == []
    pictures, tables = _pictures(page), _tables(page)
    assert len(pictures) >= 3
    assert len(tables) >= 5

    def chosen(text: str) -> str:
        assert "metric = None" in text
        assert "level = None" in text
        text = text.replace("metric = None", 'metric = "time_to_takeoff_s"')
        return text.replace("level = None", "level = 0.8")

    _type_into_first_cell(page, chosen)
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
    _until(lambda: len(_pictures(page)) != len(pictures) or _pictures(page)[-1] != pictures[-1])
    _wait_until_run(page)
    assert _errors(page) == []
    later = _pictures(page)
    assert len(later) == len(pictures)
    assert not set(later) & set(pictures)
    assert not set(_tables(page)) & set(tables)
    shown = page.locator(".jp-OutputArea").all_inner_texts()
    assert any("(80 % interval" in text for text in shown)
    assert not any("(95 % interval" in text for text in shown)
    assert page.outside == []


def _log(study) -> list[dict[str, str]]:
    path = study.folder / "decisions.csv"
    with path.open(encoding="utf-8-sig", newline="") as handle:
        return [r for r in csv.DictReader(handle) if not r["file"].startswith("#")]


def _until(what, seconds: float = 60) -> None:
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.2)


def test_review_window_accepts_a_jump_and_the_keyboard_does_the_rest(page, lab, study):
    before = _log(study)
    _open(page, lab, "review.ipynb")
    _run_all(page)
    window = page.locator(".jp-OutputArea-output .widget-vbox").first
    window.get_by_text("Jump 1 of").wait_for()
    assert "Force" in (window.locator("img").first.get_attribute("alt") or "").title()

    window.get_by_role("button", name="Accept (a)").click()  # without a reason
    window.get_by_text("a decision needs it").wait_for()
    assert _log(study) == before

    reason = window.get_by_placeholder("choose or type why")
    reason.fill("<b>looks</b> fine, Zoë")
    window.get_by_role("button", name="Accept (a)").click()
    window.get_by_text("Written: Counts: accepted by T1 (<b>looks</b> fine, Zoë)").wait_for()
    rows = _log(study)[len(before) :]
    assert [(r["action"], r["who"], r["reason"]) for r in rows] == [
        ("accept", "T1", "<b>looks</b> fine, Zoë")
    ]
    assert rows[0]["file"] == study.measure()["file"][0]
    assert window.locator("b", has_text="looks").count() == 0  # shown as typed, not as markup

    keys = window.get_by_placeholder("letters act at once")
    keys.focus()
    page.keyboard.press("n")
    window.get_by_text("Jump 2 of").wait_for()
    keys.focus()
    page.keyboard.press("r")
    _until(lambda: len(_log(study)) == len(before) + 2)
    assert _log(study)[-1]["action"] == "reject"
    assert _log(study)[-1]["file"] == study.measure()["file"][1]
    assert page.outside == []
    page.screenshot(path=os.environ.get("CMJLAB_SCREENSHOT") or None)


def test_a_move_shows_its_effect_and_is_written(page, lab, study):
    before = _log(study)
    _open(page, lab, "review.ipynb")
    _run_all(page)
    window = page.locator(".jp-OutputArea-output .widget-vbox").first
    window.get_by_text("Jump 1 of").wait_for()
    time_field = window.locator("input[type='number']")
    moved = float(time_field.input_value()) - 0.02
    time_field.fill(f"{moved:.4f}")
    time_field.press("Tab")
    effect = window.get_by_role("button", name="Show effect (e)")
    effect.focus()
    page.keyboard.press("Space")
    window.get_by_text(f"If onset were at {moved:.4f} s").wait_for()
    assert "+20.0 ms" in window.inner_text()  # time to take-off grows by the same 20 ms
    assert _log(study) == before

    window.get_by_placeholder("choose or type why").fill("arms moved first")
    window.get_by_role("button", name="Move event (m)").focus()
    page.keyboard.press("Enter")
    window.get_by_text("Written: onset moved").wait_for()
    rows = _log(study)[len(before) :]
    assert [(r["action"], r["event"], float(r["time_s"])) for r in rows] == [
        ("move", "onset", pytest.approx(moved))
    ]
    window.get_by_text("Moved by hand (onset): against the rules").wait_for()
