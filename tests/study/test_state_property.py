"""State of a study: whatever happened to it, the result equals that of a clean run."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from study_kit import SETTINGS, jump_bytes

from cmjlab.study.decide.decisions import Decision, write_decision
from cmjlab.study.store import parts as store
from cmjlab.study.study import Study

FILES = ["sub-A01_ses-base1_run-01.csv", "deep/sub-A02_ses-post_run-01.csv"]


class Killed(BaseException):
    """Stands for the end of the process at this very moment."""


@contextlib.contextmanager
def killed_at(step: int):
    """End the run at the given step that touches the disk, counted through all of them."""
    real_replace, real_fsync, real_unlink = os.replace, os.fsync, Path.unlink
    count = [0]

    def stepping(real):
        def call(*args, **kwargs):
            count[0] += 1
            if count[0] >= step:
                raise Killed
            return real(*args, **kwargs)

        return call

    patch = pytest.MonkeyPatch()
    patch.setattr(os, "replace", stepping(real_replace))
    patch.setattr(os, "fsync", stepping(real_fsync))
    patch.setattr(Path, "unlink", stepping(real_unlink))
    try:
        with contextlib.suppress(Killed):
            yield
    finally:
        patch.undo()


def _write(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


class World:
    """A study folder and what people and machines do to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "recordings").mkdir(parents=True)
        (folder / "study.toml").write_text(SETTINGS, encoding="utf-8")
        (folder / "athletes.csv").write_text("athlete,group\nA01,x\nA02,y\n", encoding="utf-8")

    def path(self, i: int) -> Path:
        return self.folder / "recordings" / FILES[i % len(FILES)]

    def study(self) -> Study:
        return Study.read(self.folder)

    def add(self, i: int, seed: int) -> None:
        _write(self.path(i), jump_bytes(seed, copies=1 + (seed == 3)))

    def damage(self, i: int, seed: int) -> None:
        _write(self.path(i), b"no numbers here\n" * (seed + 1))

    def touch(self, i: int, seed: int) -> None:
        if self.path(i).exists():
            os.utime(self.path(i), (1_700_000_000 + seed, 1_700_000_000 + seed))

    def remove(self, i: int, seed: int) -> None:
        self.path(i).unlink(missing_ok=True)

    def decide(self, i: int, seed: int) -> None:
        actions: list[tuple[str, str, float | None]] = [
            ("accept", "", None),
            ("reject", "", None),
            ("move", "onset", 1.9 + 0.01 * i),
            ("undo", "", None),
            ("undo", "onset", None),
        ]
        action, event, time_s = actions[seed % len(actions)]
        decision = Decision(
            action, FILES[i % len(FILES)], 1 + seed // 9, event=event, time_s=time_s,
            reason="r", who="T", when="2026-09-01T10:00:00",
        )  # fmt: skip
        write_decision(self.folder, decision)

    def regroup(self, i: int, seed: int) -> None:
        text = f"athlete,group\nA02,g{seed}\nA01,g{i}\n"
        (self.folder / "athletes.csv").write_text(text, encoding="utf-8")

    def other_method(self, i: int, seed: int) -> None:
        text = SETTINGS + f"[method]\nonset_sd = {3 + seed % 2}.0\n"
        (self.folder / "study.toml").write_text(text, encoding="utf-8")

    def run(self, i: int, seed: int) -> None:
        self.study().measure()

    def killed_run(self, i: int, seed: int) -> None:
        with killed_at(1 + seed):
            self.study().measure()

    def killed_decision(self, i: int, seed: int) -> None:
        with killed_at(1 + seed % 3):
            self.decide(i, seed)

    def compact(self, i: int, seed: int) -> None:
        with killed_at(1 + seed):
            study = self.study()
            store.Store(study.results, study.method.key).compact()

    def break_part(self, i: int, seed: int) -> None:
        for part in sorted((self.folder / "results").glob("store/*/*.parquet"))[i : i + 1]:
            data = part.read_bytes()
            part.write_bytes(data[: len(data) * (seed + 1) // 12])

    def lose_index(self, i: int, seed: int) -> None:
        index = self.folder / "results" / "store" / "files.json"
        if index.exists():
            index.write_bytes(index.read_bytes()[: 10 * seed])


OPERATIONS = [name for name in vars(World) if name[0] != "_" and name not in ("path", "study")]


def everything(study: Study) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    return study.measure(), study.checks, study.sessions_table()


def assert_like_clean(world: World, clean: Path) -> None:
    shutil.copytree(world.folder, clean, ignore=shutil.ignore_patterns("results"))
    lived, fresh = everything(world.study()), everything(Study.read(clean))
    for one, other in zip(lived, fresh, strict=True):
        pd.testing.assert_frame_equal(one, other)


operation = st.tuples(st.sampled_from(OPERATIONS), st.integers(0, 1), st.integers(0, 9))
RUN, MOVE, BACK = ("run", 0, 0), ("decide", 0, 2), ("decide", 0, 4)


@settings(
    max_examples=40, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip
@example([RUN, MOVE])
@example([MOVE, RUN, BACK])
@example([RUN, MOVE, RUN, BACK, RUN, MOVE])
@example([RUN, ("add", 0, 3), RUN, ("add", 0, 0)])
@example([("killed_run", 0, 1), RUN, ("killed_run", 0, 2)])
@example([RUN, ("compact", 0, 2), ("compact", 0, 9)])
@example([RUN, ("other_method", 0, 1), RUN, ("other_method", 0, 0), ("regroup", 1, 1)])
@example([RUN, ("decide", 1, 1), ("killed_decision", 1, 0), ("remove", 0, 0)])
@example([RUN, ("break_part", 0, 6), RUN, ("break_part", 1, 6)])
@given(st.lists(operation, min_size=1, max_size=10))
def test_any_history_equals_a_clean_run(history):
    with tempfile.TemporaryDirectory() as place:
        world = World(Path(place) / "lived")
        world.add(0, 0)
        world.add(1, 1)
        for name, i, seed in history:
            getattr(world, name)(i, seed)
        assert_like_clean(world, Path(place) / "clean")


def test_the_comparison_can_fail(tmp_path):
    """A store that serves rows of another content is noticed by the comparison above."""
    world = World(tmp_path / "lived")
    world.add(0, 0)
    world.run(0, 0)
    [part] = (world.folder / "results").glob("store/*/jumps-*.parquet")
    frame = pd.read_parquet(part)
    frame["jump_height_m"] += 0.001
    part.unlink()
    stem = part.stem.rpartition("-")[0]
    store._write_part(frame, store.JUMP_COLUMNS, part.parent, stem)
    with pytest.raises(AssertionError):
        assert_like_clean(world, tmp_path / "clean")
