"""How far a long command is: pace and time left, in a terminal and in a log."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from cmjlab.cli import pace


def test_pace_and_time_left_leave_out_the_start():
    clock = iter([100.0, 110.0, 120.0, 120.0])
    told = pace.Pace(lambda: next(clock))
    assert told.words(1, 1001) == ""
    assert told.words(101, 1001) == "10 a second, 2 min left"
    assert told.words(401, 1001) == "20 a second, 30 s left"
    assert told.words(401, 20) == ""  # few steps have no pace


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.4, "0 s"), (49.2, "49 s"), (89.4, "89 s"), (90.0, "2 min"), (5000.0, "83 min"),
     (12_010.0, "3 h 20 min"), (7200.0, "2 h 00 min")],
)  # fmt: skip
def test_durations(seconds, words):
    assert pace.duration(seconds) == words


def test_where_nobody_watches_a_line_comes_from_time_to_time(capsys, monkeypatch):
    monkeypatch.setattr(pace, "EVERY_S", 0.0)
    clock = iter(float(i) for i in range(1000))
    monkeypatch.setattr(pace, "time", SimpleNamespace(monotonic=lambda: next(clock)))
    with pace.progress("measuring") as step:
        for done in (1, 2, 3):
            step(SimpleNamespace(done=done, total=100, what="a.csv"))
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert lines[0].startswith("measuring: 2 of 100, ")
    assert lines[0].endswith(" left")


def test_within_a_minute_a_log_stays_empty(capsys):
    with pace.progress("measuring") as step:
        for done in range(1, 100):
            step(SimpleNamespace(done=done, total=100, what="a.csv"))
    assert capsys.readouterr().err == ""
