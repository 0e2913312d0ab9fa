"""Cells of a notebook run in this process: what each shows, as text, without a kernel."""

from __future__ import annotations

import ast
import contextlib
import hashlib
import io
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from cmjlab.report.notebooks.declared import with_values
from cmjlab.report.notebooks.files import DEMO_TAG, PARAMETERS_TAG, cells_of, has_tag

#: What the exercises of a notebook were asked with: (number, source, metric).
Asked = list[tuple[str, Any, str]]


def shown_by(
    path: Path, values: Mapping[str, Any], place: Path, asked: Asked | None = None
) -> list[str]:
    """Return what every code cell shows with these parameters, but the line of parameters itself."""
    return list(cells_shown(path, values, place, asked))


def cells_shown(
    path: Path, values: Mapping[str, Any], place: Path, asked: Asked | None = None
) -> Iterator[str]:
    """Run a notebook cell by cell; yield what each shows, so that a reader may stop early."""
    names: dict[str, Any] = {}
    for cell in cells_of(path):
        if cell["cell_type"] != "code" or has_tag(cell, DEMO_TAG):
            continue
        source = "".join(cell["source"])
        if has_tag(cell, PARAMETERS_TAG):
            source = with_values(source, values)
        with _inside(place):
            text = _run(source, names)
        if asked is not None and "check_exercise(" in source:
            asked.append(_asked(source, names))
        yield "" if "notebook_parameters(" in source else text


@contextlib.contextmanager
def _inside(place: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(place)
    try:
        yield
    finally:
        os.chdir(before)


def _run(source: str, names: dict[str, Any]) -> str:
    """Run one cell; return what it prints and what its last line is."""
    tree = ast.parse(source)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    printed = io.StringIO()
    value = None
    with contextlib.redirect_stdout(printed):
        exec(compile(tree, "cell", "exec"), names)
        if last is not None:
            value = eval(compile(ast.Expression(last.value), "cell", "eval"), names)
    return printed.getvalue() + text_of(value)


def text_of(value: Any) -> str:
    """Return what a reader sees of a value, a figure as a hash of its picture."""
    if value is None:
        return ""
    if hasattr(value, "savefig"):
        made = io.BytesIO()
        value.savefig(made, format="raw", dpi=40)
        return hashlib.sha256(made.getvalue()).hexdigest()
    made_page = getattr(value, "_repr_html_", None)
    return (made_page() if made_page else None) or repr(value)


def _asked(source: str, names: dict[str, Any]) -> tuple[str, Any, str]:
    """Return with what a cell calls ``check_exercise(number, answer, source, metric)``."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "check_exercise":
            number, _, *rest = (eval(ast.unparse(a), names) for a in node.args)
            return number, rest[0], rest[1] if len(rest) > 1 else ""
    raise AssertionError(f"no call of check_exercise in: {source}")
