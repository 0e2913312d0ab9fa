"""Odd input of every kind: a result or an error of cmjlab's own, and nothing else.

Each kind runs in a process of its own, which tells the seed before each try: a crash, a hang and
a memory bomb are found like a foreign exception. A fault is repeated by its kind and seed:
``python tests/fuzz/fuzz_child.py KIND SEED 1`` (with ``tests`` and ``tests/fuzz`` on the path).
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from fuzz_kinds import KINDS
from places import TESTS, child_env

HERE = Path(__file__).parent
#: Tries a kind: in every run of the tests, and with ``-m slow``.
FEW, MANY = 34, 2250
#: Spoiled inputs that got past every refusal, as a share of the tries: somewhat less than half of
#: what 600 to 2,250 tries of each kind gave; less means that only the first refusal is attacked.
DEEP = {
    "text": 0.2, "c3d": 0.15, "xlsx": 0.15, "parquet": 0.08, "table": 0.15, "toml": 0.08,
    "arrays": 0.1, "settings": 0.05, "statistics": 0.07,
}  # fmt: skip


def _tries(kind: str, first: int, count: int, seconds: float) -> tuple[int, int, list[str]]:
    """Return the numbers of tries and of results, and what went wrong."""
    done = subprocess.run(
        [sys.executable, str(HERE / "fuzz_child.py"), kind, str(first), str(count)],
        env=child_env(TESTS, HERE),
        capture_output=True, text=True, timeout=seconds, check=False, errors="replace",
    )  # fmt: skip
    lines = done.stdout.splitlines()
    out = [line for line in lines if line.startswith("out ")]
    faults = [line for line in out if " FAULT " in line]
    if done.returncode:
        faults.append(f"{lines[-1:]} ended with {done.returncode}: {done.stderr[-400:]}")
    return len(out), sum(line.endswith(" result") for line in out), faults


@pytest.mark.parametrize("kind", KINDS)
def test_a_few_odd_inputs_of_each_kind(kind: str) -> None:
    tries, _, faults = _tries(kind, 0, FEW, 120)
    assert not faults
    assert tries == FEW


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_many_odd_inputs_of_each_kind(kind: str) -> None:
    tries, results, faults = _tries(kind, 100_000, MANY, 3600)
    assert not faults
    assert tries == MANY
    assert results / tries >= DEEP[kind]


def test_a_foreign_exception_is_seen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import fuzz_child
    import fuzz_kinds

    def broken(*_: object) -> None:
        raise KeyError("not ours")

    told: list[str] = []
    monkeypatch.setitem(fuzz_kinds.KINDS, "text", broken)
    monkeypatch.setattr(
        "builtins.print", lambda *words, **_: told.append(" ".join(map(str, words)))
    )
    monkeypatch.setattr(fuzz_child.resource, "setrlimit", lambda *_: None)
    fuzz_child.main("text", 7, 1)
    assert told[0] == "try text 7"
    assert "FAULT KeyError" in told[1]
