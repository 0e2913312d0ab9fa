"""How-to pages of the site: every block of Python and every command is run, in the order of the page."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pandas as pd
import pytest
from places import ROOT
from typer.testing import CliRunner

import cmjlab as cj

PAGES = ROOT / "notebooks" / "site" / "pages" / "howto"
pytestmark = pytest.mark.usefixtures("undrawn")
NAMES = sorted(p.stem for p in PAGES.glob("*.md") if p.stem != "index")


def blocks(page: Path) -> list[tuple[str, str]]:
    """Return language and text of every block that can be run."""
    text = page.read_text(encoding="utf-8")
    return re.findall(r"^```(python|sh)\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)


#: Pages whose steps are the same for any squad, and slow for a large one: they get a part of it.
FEW_ATHLETES = {"cluster", "sharing"}


@pytest.fixture(scope="module")
def measured(tmp_path_factory) -> Path:
    """Return a demo study whose jumps were measured once."""
    folder = tmp_path_factory.mktemp("howto") / "my_block"
    shutil.copytree(cj.demo_study(), folder, ignore=shutil.ignore_patterns("results"))
    cj.Study.open(folder).measure()
    return folder


@pytest.fixture(scope="module")
def few_measured(tmp_path_factory) -> Path:
    """Return the demo study with four athletes of each group, measured."""
    folder = tmp_path_factory.mktemp("few") / "my_block"
    shutil.copytree(cj.demo_study(), folder, ignore=shutil.ignore_patterns("results"))
    roster = pd.read_csv(folder / "athletes.csv", dtype=str)
    kept = set(roster.groupby("group").head(4)["athlete"])
    for path in folder.glob("*.csv"):
        table = pd.read_csv(path, dtype=str)
        if "athlete" in table:
            table[table["athlete"].isna() | table["athlete"].isin(kept)].to_csv(path, index=False)
    for path in (folder / "recordings").rglob("sub-*"):
        if path.name.split("_")[0].removeprefix("sub-") not in kept:
            path.unlink()
    cj.Study.open(folder).measure()
    return folder


def run_command(line: str) -> None:
    """Run a command as a person would type it."""
    from cmjlab.cli.app import app

    program, *words = shlex.split(line)
    assert program == "cmjlab", line
    done = CliRunner().invoke(app, words)
    # A check that finds problems ends with 1 by intention: what it found is the answer.
    allowed = (0, 1) if words[0] == "check" else (0,)
    assert done.exit_code in allowed, f"{line}\n{done.output[-2000:]}"


@pytest.mark.parametrize("name", NAMES)
def test_every_block_of_a_page_runs(name, tmp_path, monkeypatch, request):
    page = PAGES / f"{name}.md"
    if "my_block" in page.read_text(encoding="utf-8"):
        made = "few_measured" if name in FEW_ATHLETES else "measured"
        shutil.copytree(request.getfixturevalue(made), tmp_path / "my_block")
    monkeypatch.chdir(tmp_path)
    found = blocks(page)
    assert len(found) >= 2
    space: dict[str, object] = {}
    for language, text in found:
        if language == "python":
            exec(compile(text, str(page), "exec"), space)
        else:
            for line in text.splitlines():
                run_command(line)


def test_the_list_of_pages_is_complete_and_each_has_its_caution():
    listed = (PAGES / "index.md").read_text(encoding="utf-8")
    assert [n for n in NAMES if not re.search(rf"^{n}$", listed, re.MULTILINE)] == []
    without = [n for n in NAMES if "{admonition}" not in (PAGES / f"{n}.md").read_text("utf-8")]
    assert without == []
