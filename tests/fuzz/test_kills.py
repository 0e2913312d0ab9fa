"""Killed at any moment (kill -9): what stands is whole, the next run ends like an undisturbed one.

A process does one work and is killed at a moment drawn between its start and somewhat after its
usual end. What must hold afterwards: every file is the one before or the one after, decisions that
were told as made are there, a copy for others is whole and has its key or is not there, and the
next run leaves nothing half-written behind.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import kill_child
import pandas as pd
import pytest
from kill_child import WORKS
from places import TESTS, child_env
from report_kit import kit_study

import cmjlab as cj
from cmjlab.files import abandoned
from cmjlab.report.write import files_of, write_report

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX only")
HERE = Path(__file__).parent
#: Kills a work: in every run of the tests, and with ``-m slow``.
FEW, MANY = 1, 16


def _started(work: str, folder: Path) -> subprocess.Popen[str]:
    """Start a work; returns when all it needs is loaded."""
    run = subprocess.Popen(
        [sys.executable, str(HERE / "kill_child.py"), work, str(folder)],
        env=child_env(TESTS, HERE), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert run.stdout is not None
    assert run.stdout.readline() == "ready\n", run.communicate()[1]
    return run


def _ended(run: subprocess.Popen[str], after_s: float | None) -> list[str]:
    """Kill after a while, or wait; returns what was told."""
    if after_s is not None:
        time.sleep(after_s)
        run.send_signal(signal.SIGKILL)
    told, wrong = run.communicate(timeout=300)
    assert run.returncode == (-signal.SIGKILL if "done" not in told else run.returncode), wrong
    return told.split()


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a study with a report of other words, so that old and new files differ."""
    folder = kit_study(tmp_path_factory.mktemp("kills") / "base", athletes=4).folder
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('"Kit"', '"Another"'), encoding="utf-8")
    write_report(cj.Study.open(folder), folder / "results" / "r.html", draft=True)
    settings.write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def undisturbed(before: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable:
    """Return a function that gives the folder after an undisturbed work, and its seconds."""
    made: dict[str, tuple[Path, float]] = {}

    def done(work: str) -> tuple[Path, float]:
        if work not in made:
            folder = _fresh(before, tmp_path_factory.mktemp(work) / "s", work)
            run = _started(work, folder)
            begun = time.monotonic()
            assert _ended(run, None)[-1] == "done"
            made[work] = (folder, time.monotonic() - begun)
        return made[work]

    return done


def _fresh(before: Path, to: Path, work: str) -> Path:
    """Return a copy of the study; what is measured has no kept results."""
    left = shutil.ignore_patterns("results") if work == "measure" else None
    return Path(shutil.copytree(before, to, ignore=left))


def _visible(folder: Path) -> Iterator[Path]:
    """Yield the files of a report by their path."""
    page = folder / "results" / "r.html"
    yield page
    yield from sorted(p for p in files_of(page).iterdir() if not p.name.startswith("."))


def _half(folder: Path) -> list[Path]:
    return [p for e in (abandoned.FILE, abandoned.FOLDER) for p in folder.rglob(f".*{e}")]


def _content(path: Path) -> object:
    """Return what a file says, but for the time of its writing."""
    if path.suffix == ".xlsx":
        return {k: v.to_csv() for k, v in pd.read_excel(path, sheet_name=None).items()}
    return re.sub(rb'"made": "[^"]*"', b"", path.read_bytes())


# ---- what must hold after each work ----------------------------------------------------------


def _measure(folder: Path, clean: Path, _before: Path, _told: list[str]) -> None:
    lived, fresh = cj.Study.open(folder), cj.Study.open(clean)
    pd.testing.assert_frame_equal(lived.measure(), fresh.measure())
    pd.testing.assert_frame_equal(lived.checks, fresh.checks)


def _report(folder: Path, clean: Path, before: Path, _told: list[str]) -> None:
    names = {p.relative_to(folder) for p in _visible(folder)}
    for name in names:
        either = [_content(home / name) for home in (before, clean) if (home / name).exists()]
        assert _content(folder / name) in either, name
    write_report(cj.Study.open(folder), folder / "results" / "r.html", draft=True)
    assert {p.relative_to(clean) for p in _visible(clean)} == {
        p.relative_to(folder) for p in _visible(folder)
    }
    for path in _visible(clean):
        assert _content(folder / path.relative_to(clean)) == _content(path), path.name


def _decisions(folder: Path, _clean: Path, _before: Path, told: list[str]) -> None:
    study = cj.Study.open(folder)
    made = study.decisions["reason"].tolist()
    acknowledged = [t for t in told if t.isdigit()]
    assert made == [f"no {i}" for i in range(len(made))]
    assert len(acknowledged) <= len(made) <= len(acknowledged) + 1
    file = sorted(study.measure()["file"])[0]
    more = study.decide(cj.Decision("reject", file, 1, reason="goes on", who="T1"))
    assert more.decisions["reason"].tolist() == [*made, "goes on"]


def _share(folder: Path, clean: Path, _before: Path, _told: list[str]) -> None:
    copy, key = folder.parent / "copy", folder.parent / "copy.key.csv"
    if copy.exists():
        assert key.exists()
        ours, theirs = (
            {p.relative_to(home).as_posix().rpartition(".")[2] for p in home.rglob("*")}
            for home in (copy, clean.parent / "copy")
        )
        assert ours == theirs
        assert len(list(copy.rglob("*"))) == len(list((clean.parent / "copy").rglob("*")))
        shutil.rmtree(copy)
    key.unlink(missing_ok=True)
    made = cj.share_study(folder, copy, licence="CC-BY-4.0")
    assert len(cj.Study.open(copy).measure()) == made.recordings


HOLDS: dict[str, Callable[[Path, Path, Path, list[str]], None]] = {
    "measure": _measure, "report": _report, "decisions": _decisions, "review": _decisions,
    "share": _share,
}  # fmt: skip


def _kill_one(
    work: str, seed: int, before: Path, undisturbed: Callable, place: Path, monkeypatch
) -> str:
    """Kill a work at a drawn moment, look at what stands, and run it again."""
    clean, seconds = undisturbed(work)
    after_s = random.Random(f"{work} {seed}").uniform(0.0, 1.0) * seconds
    folder = _fresh(before, place / f"{work}{seed}" / "s", work)
    told = _ended(_started(work, folder), after_s)
    half = _half(folder.parent)
    for path in half:  # long ago, for what looks at them next
        for inner in (path, *path.rglob("*")):
            os.utime(inner, (time.time() - 7200,) * 2)
    monkeypatch.setattr(abandoned, "_seen", set())
    HOLDS[work](folder, clean, before, told)
    assert _half(folder.parent) == []
    shutil.rmtree(folder.parent)
    what = "ended" if "done" in told else f"killed at {after_s / seconds:.2f} of {seconds:.1f} s"
    return f"{work} {seed}: {what}, {len(half)} half-written"


# Measuring is killed in every run by tests/study/test_state_store.py; a review decides, too.
@pytest.mark.parametrize("work", ["report", "decisions", "share"])
def test_a_kill_leaves_what_was_or_what_comes(work, before, undisturbed, tmp_path, monkeypatch):
    for seed in range(FEW):
        _kill_one(work, seed, before, undisturbed, tmp_path, monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize("work", WORKS)
def test_many_kills(work, before, undisturbed, tmp_path, monkeypatch):
    told = [
        _kill_one(work, seed, before, undisturbed, tmp_path, monkeypatch)
        for seed in range(100, 100 + MANY)
    ]
    print("\n".join(told))
    killed = sum("killed" in line for line in told)
    assert killed >= MANY // 2


def test_what_a_run_that_goes_on_writes_is_left_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(abandoned, "_seen", set())
    young = abandoned.unfinished(tmp_path / "a.csv", abandoned.FILE)
    old = abandoned.unfinished(tmp_path / "a.csv", abandoned.FILE)
    own = tmp_path / ".mine.tmp"  # of a person
    for path in (young, old, own):
        path.write_text("1")
    for path in (old, own):
        os.utime(path, (time.time() - 7200,) * 2)
    abandoned.remove_abandoned(tmp_path, abandoned.FILE)
    assert (young.exists(), old.exists(), own.exists()) == (True, False, True)


def test_a_link_under_such_a_name_takes_nothing_with_it(tmp_path, monkeypatch):
    monkeypatch.setattr(abandoned, "_seen", set())
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "data.csv").write_text("1")
    link = abandoned.unfinished(tmp_path / "copy", abandoned.FOLDER)
    link.symlink_to(tmp_path / "mine")
    os.utime(link, (time.time() - 7200,) * 2, follow_symlinks=False)
    abandoned.remove_abandoned(tmp_path, abandoned.FOLDER)
    assert not link.is_symlink()
    assert (tmp_path / "mine" / "data.csv").exists()


def test_every_work_has_its_conditions():
    assert set(HOLDS) == set(kill_child.WORKS)
