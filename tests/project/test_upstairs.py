"""The way up by name: every task is done somewhere, and nobody goes up by another road."""

from __future__ import annotations

import ast

import pytest
from places import PACKAGE

from cmjlab.upstairs import TASKS, upstairs

#: Who looks a module up by its name, and what for.
BY_NAME = {
    "upstairs.py": "the table of tasks",
    "extras.py": "a library that may not be installed",
    "plots/choose.py": "figures of the same room, each loaded when it is drawn",
}


@pytest.mark.parametrize("task", sorted(TASKS))
def test_every_task_is_done_somewhere(task):
    assert callable(upstairs(task))


def test_nobody_else_imports_by_a_name_made_at_run_time():
    found = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = getattr(node, "id", getattr(node, "attr", None))
            if name in ("import_module", "__import__"):
                found.add(path.relative_to(PACKAGE).as_posix())
    assert found == set(BY_NAME)
