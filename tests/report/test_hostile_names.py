"""An id or a title of a study, whatever it is, writes nothing outside the results folder."""

from __future__ import annotations

import shutil

import pandas as pd
import pytest
from report_kit import kit_study

import cmjlab as cj

HOSTILE = ["A00/../../../../escaped", "nul", "A02:stream", "A\\..\\..\\x"]


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """Return the folder of a study that can be split in two."""
    study = kit_study(tmp_path_factory.mktemp("hostile"), sessions=("base1",), athletes=6)
    (study.folder / "subgroups.csv").write_text(
        "subgroup,rule\nlow,jump_height_m < 0.3\nusual,else\n"
    )
    return study.folder


@pytest.fixture
def renamed(plain, tmp_path):
    """Return a study some of whose athletes have hostile ids."""
    folder = tmp_path / "deep" / "er" / "study"
    shutil.copytree(plain, folder)
    new = {f"A{i:02d}": word for i, word in enumerate(HOSTILE)}
    roster = pd.read_csv(folder / "athletes.csv")
    roster["athlete"] = roster["athlete"].replace(new)
    roster.to_csv(folder / "athletes.csv", index=False)
    rows = [
        {"file": p.name, "athlete": new[p.name[4:7]], "session": "base1", "trial": p.stem[-1]}
        for p in sorted((folder / "recordings").iterdir())
        if p.name[4:7] in new
    ]
    pd.DataFrame(rows).to_csv(folder / "recordings.csv", index=False)
    return folder


def _outside(place, folder) -> set[str]:
    results = folder / "results"
    return {
        p.relative_to(place).as_posix()
        for p in place.rglob("*")
        if p.is_file() and not p.is_relative_to(results)
    }


def test_pages_of_athletes_stay_in_their_folder(renamed, tmp_path):
    from typer.testing import CliRunner

    from cmjlab.cli.app import app

    before = _outside(tmp_path, renamed)
    done = CliRunner().invoke(app, ["subgroups", str(renamed)])
    assert done.exit_code == 0, done.output
    assert _outside(tmp_path, renamed) == before
    pages = list((renamed / "results" / "athlete_summaries").iterdir())
    assert len(pages) == 6
    assert all("</html>" in p.read_text(encoding="utf-8") for p in pages)


def test_an_entity_name_never_leads_out(tmp_path):
    from cmjlab.study.folder.create import create_study

    made = cj.simulate_jump(seed=1).recording.replace(athlete="A1", session="s", trial="../../x")
    with pytest.raises(cj.CmjlabError, match="no name for a file"):
        create_study(tmp_path / "a" / "b", pd.DataFrame({"athlete": ["A1"]}), [made])
    assert not list(tmp_path.glob("*.csv"))
