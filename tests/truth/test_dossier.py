"""The dossier of calibration: it hides no row, and a rerun gives the same bytes."""

from __future__ import annotations

import re
import shutil

import dossier
import pandas as pd
import pytest
from committed import TABLES, scripts
from dossier_rows import outside_bar, short_rows


@pytest.fixture(scope="module")
def data():
    return dossier.contents()


def test_every_table_is_there_and_every_row_is_counted(data):
    tables = {t["name"]: t for p in data["parts"] for t in p["tables"]}
    assert sorted(tables) == sorted(p.name for p in TABLES.glob("*.csv"))
    assert sum(data["total"].values()) + data["unjudged"] == sum(t["rows"] for t in tables.values())


def test_no_row_that_fails_or_is_shown_is_hidden(data):
    for part in data["parts"]:
        for table in part["tables"]:
            frame = pd.read_csv(TABLES / table["name"])
            for verdict in ("fail", "shown"):
                there = len(table[verdict]["rows"]) if table[verdict] else 0
                wanted = int((frame["verdict"] == verdict).sum()) if "verdict" in frame else 0
                assert there == wanted, (table["name"], verdict)
                if table[verdict]:
                    why = table[verdict]["columns"].index("why")
                    assert all(row[why] for row in table[verdict]["rows"]) or verdict == "fail"


def _rows(**columns):
    base = {"n": [5, 6, 7], "quantity": "t", "bar_low": 0.94, "bar_high": 0.96,
            "verdict": ["pass", "fail", "fail"], "why": ["", "", ""]}  # fmt: skip
    return pd.DataFrame({**base, **columns})


def test_a_failed_row_is_listed_the_farthest_first():
    table = _rows(
        proportion=[0.95, 0.93, 0.80], mc_low=[0.94, 0.92, 0.79], mc_high=[0.96, 0.939, 0.81]
    )
    found = short_rows(table, "fail")
    assert [row[0] for row in found["rows"]] == ["n 7", "n 6"]
    assert [row[found["columns"].index("outside")] for row in found["rows"]] == ["yes", "yes"]
    assert outside_bar(table) == {"pass": 0, "shown": 0, "fail": 2}


def test_the_page_says_what_the_tables_say(data):
    pytest.importorskip("mistune", reason="the page needs the extra lab")
    page = dossier.html_page(data)
    text = re.sub(r"<[^>]+>", "", page)
    assert f"{data['total']['pass']} judged rows pass" in text
    assert "{{" not in page
    assert page.count("<h2 id=") == sum(len(p["tables"]) for p in data["parts"])
    listed = len(re.findall(r"<tr><td>", page))
    assert listed > data["total"]["shown"] + data["total"]["fail"]
    for part in data["parts"]:
        assert f'href="#{part["script"]}-1"' in page


def test_a_rerun_is_timed_and_gives_the_same_bytes(tmp_path):
    """The calibration of replication with few studies, in a folder of its own, twice."""
    for name in ("harness.py", "judged_table.py", "replication.py"):
        shutil.copy(TABLES / name, tmp_path)
    script = tmp_path / "replication.py"
    text = script.read_text("utf-8").replace("STUDIES = 20_000", "STUDIES = 100")
    script.write_text(text, encoding="utf-8")
    (tmp_path / "replication.csv").write_text("something else\n")
    assert dossier.rerun_all([], tmp_path) == ["replication.csv"]
    first = (tmp_path / "replication.csv").read_bytes()
    assert dossier.rerun_all(["replication"], tmp_path) == []
    assert (tmp_path / "replication.csv").read_bytes() == first
    times = dossier.read_times(tmp_path)["replication"]
    assert times["changed"] == []
    assert times["processor_s"] > 0.2
    with pytest.raises(SystemExit, match="no script is called placemnt"):
        dossier.rerun_all(["placemnt"], tmp_path)


def test_what_was_timed_names_no_computer_and_no_script_that_is_gone():
    times = dossier.read_times()
    assert len(times) >= 4
    assert set(times) <= set(scripts())
    for one in times.values():
        assert re.fullmatch(r"\w+, \w+, \d+ processors", one["device"])
        assert one["changed"] == []
