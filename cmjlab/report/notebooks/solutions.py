"""The teacher's set: a cell with the solution below every exercise."""

from __future__ import annotations

import ast
from collections.abc import Sequence
from typing import Any

from cmjlab.report.notebooks.files import SOLUTION_TAG
from cmjlab.words.catalog import read_words


def with_solutions(cells: Sequence[Any]) -> list[Any]:
    """Return the cells with a cell that prints the solution below every exercise."""
    import nbformat

    out = []
    for cell in cells:
        out.append(cell)
        call = _exercise_call(cell)
        if call:
            source = (
                f"# {read_words().say('notebooks.solution_cell')}\n"
                f"from cmjlab.report.notebooks.exercises import solution\n\n{call}"
            )
            new = nbformat.v4.new_code_cell(source, id=f"{cell.get('id', 'x')}-solution")
            new.metadata["tags"] = [SOLUTION_TAG]
            out.append(new)
    return out


def _exercise_call(cell: Any) -> str:
    """Return ``solution(…)`` for a cell that calls ``check_exercise(number, answer, …)``, else ""."""
    if cell.cell_type != "code" or "check_exercise(" not in cell.source:
        return ""
    for node in ast.walk(ast.parse(cell.source)):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "check_exercise":
            number, _, *rest = (ast.unparse(a) for a in node.args)
            return f"solution({', '.join([number, *rest])})"
    return ""
