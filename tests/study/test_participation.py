"""Who was missing: words of status, warnings for each athlete and session, no reason passed on."""

from __future__ import annotations

import pandas as pd
import pytest
from study_kit import make

import cmjlab as cj
from cmjlab.study.folder.participation import as_shared, explained
from cmjlab.study.study import Study
from cmjlab.study.today import today
from cmjlab.tables import PARTICIPATION

STATUSES = PARTICIPATION.column("status").allowed
DAYS = {"base1": "2026-08-31", "base2": "2026-09-07", "post": "2026-10-26"}
ORDER = list(DAYS)


def note(status: str, session: str | None = None, start: str | None = None, end: str | None = None):
    return {"status": status, "session": session, "from": start, "to": end, "reason": "why"}


@pytest.mark.parametrize("status", STATUSES)
def test_every_status_covers_its_session(status):
    assert explained([note(status, "base2")], "base2", DAYS, ORDER) == (status, "why")
    later = explained([note(status, "base2")], "post", DAYS, ORDER)[0]
    assert later == (status if status in ("left", "withdrawn", "excluded") else "")
    assert explained([note(status, "base2")], "base1", DAYS, ORDER) == ("", "")


@pytest.mark.parametrize(
    ("start", "end", "covered"),
    [
        ("2026-09-01", "2026-09-10", ["base2"]),
        (None, "2026-09-10", ["base1", "base2"]),
        ("2026-09-01", None, ["base2", "post"]),
        (None, None, []),  # neither a session nor a day: it says nothing
    ],
)
def test_days_cover_the_sessions_between_them(start, end, covered):
    notes = [note("ill", None, start, end)]
    assert [s for s in ORDER if explained(notes, s, DAYS, ORDER)[0]] == covered


@pytest.fixture
def folder(tmp_path):
    folder = make(tmp_path / "study", athletes="A01,A02,A03,A04,A05", sessions="base1,base2")
    for name in ("A02_ses-base2", "A03_ses-base2", "A04_ses-base2"):
        for path in (folder / "recordings").glob(f"sub-{name}*"):
            path.unlink()
    (folder / "participation.csv").write_text(
        "athlete,session,from,to,status,reason\nA02,base1,,,absent,bus\nA03,base2,,,ill,fever\n"
        "A05,,,,injured,knee\n",
        encoding="utf-8",
    )
    return folder


def test_each_athlete_and_session_without_a_reason_is_named(folder):
    table = cj.check_study(folder)
    rows = table[table["code"] == "not_tested"]
    # A02 is explained in another session, A03 in this one, A04 in none; nobody was tested in post
    assert list(rows["found"]) == ["A02 in base2: no recording", "A04 in base2: no recording"]
    assert set(rows["severity"]) == {"warn"}
    (nothing,) = table[table["code"] == "covers_nothing"].to_dict("records")
    assert nothing["row"] == "4"


def test_what_is_passed_on_has_no_reason_of_those_who_come_back(folder):
    (folder / "participation.csv").write_text(
        "athlete,session,status,reason\n"
        "A02,base2,injured,knee\nA03,base2,travelling,cup\nA04,base2,left,moved away\n",
        encoding="utf-8",
    )
    missing = Study.open(folder).flow()["missing"]
    part = missing[missing["session"] == "base2"]
    assert list(part["status"]) == ["injured", "travelling", "left"], "the owner sees all"
    shared = as_shared(part)
    assert list(shared["status"]) == ["not_available", "not_available", "left"]
    assert list(shared["reason"]) == ["", "", "moved away"]
    assert list(part["reason"]) == ["knee", "cup", "moved away"], "nothing was changed"


def test_on_the_day_nobody_sees_why(folder):
    state = today(Study.open(folder), "base2")
    status = state.athletes.set_index("athlete")["status"]
    assert (status["A03"], status["A04"]) == ("not_available", "waiting")
    text = "\n".join(state.lines())
    assert "Not available: A03." in text
    assert "fever" not in text


def test_the_report_and_its_tables_say_not_available(tmp_path):
    from report_kit import kit_study

    from cmjlab.report.build.analyses import analyse

    study = kit_study(tmp_path, athletes=6)
    (study.folder / "participation.csv").write_text(
        "athlete,session,status,reason\nA05,post,injured,torn ligament\n", encoding="utf-8"
    )
    missing = analyse(study.reload()).flow["missing"]
    assert "not_available" in set(missing["status"])
    assert not missing.astype(str).apply(lambda c: c.str.contains("ligament")).any(axis=None)
    assert isinstance(missing, pd.DataFrame)
