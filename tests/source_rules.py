"""What may not stand in source: reading of display text, and prose outside the catalog of words."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

Found = tuple[int, str]

#: Columns and attributes that hold words for a reader; what they mean stands in other columns.
DISPLAY = frozenset({"method", "text", "contrast", "label", "labels", "sentence", "sentences"})
#: Names of variables that can hold nothing else.
_ALWAYS_DISPLAY = frozenset({"contrast", "sentence", "sentences"})
_READS = frozenset(
    [
        "startswith",
        "endswith",
        "split",
        "rsplit",
        "splitlines",
        "partition",
        "rpartition",
        "removeprefix",
        "removesuffix",
        "find",
        "index",
        "contains",
        "match",
        "fullmatch",
        "search",
        "findall",
        "finditer",
        "extract",
        "sub",
    ]
)
#: What leaves a text the text it is.
_SAME = frozenset(
    ["astype", "fillna", "lower", "upper", "strip", "dropna", "unique", "tolist", "casefold"]
)
_ACCESS = frozenset({"str", "values", "iloc", "loc"})


def read_display_text(tree: ast.AST) -> Iterator[Found]:
    """Yield every place that compares, splits or searches words made for a reader."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare):
            if _compares(node):
                yield node.lineno, ast.unparse(node)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            call = node.func
            read = [call.value, *(node.args if _is_pattern(call.value) else [])]
            if call.attr in _READS and any(map(_is_display, read)):
                yield node.lineno, ast.unparse(node)


def _is_pattern(node: ast.AST) -> bool:
    """Return whether a name is the module of patterns, or a pattern (a constant)."""
    return isinstance(node, ast.Name) and (node.id == "re" or node.id.isupper())


def _compares(node: ast.Compare) -> bool:
    sides = [node.left, *node.comparators]
    by_content = (ast.Eq, ast.NotEq, ast.In, ast.NotIn)
    if not any(isinstance(op, by_content) for op in node.ops):
        return False
    others = [s for s in sides if not _is_display(s)]
    only_whether_there = others and all(
        isinstance(s, ast.Constant) and s.value in ("", None) for s in others
    )
    return len(others) < len(sides) and not only_whether_there


def _is_display(node: ast.AST) -> bool:
    if isinstance(node, ast.Name):
        return node.id in _ALWAYS_DISPLAY
    if isinstance(node, ast.Attribute):
        own = isinstance(node.value, ast.Name) and node.value.id == "self"
        if own and node.attr in DISPLAY:
            return False  # what a class calls its own need not be words
        return node.attr in DISPLAY or (node.attr in _ACCESS and _is_display(node.value))
    if isinstance(node, ast.Subscript):
        key = node.slice
        named = isinstance(key, ast.Constant) and key.value in DISPLAY
        return named or _is_display(node.value)
    return isinstance(node, ast.Call) and _is_display_call(node)


def _is_display_call(node: ast.Call) -> bool:
    function = node.func
    if isinstance(function, ast.Name):
        return function.id in ("str", "set", "list") and any(map(_is_display, node.args))
    if not isinstance(function, ast.Attribute):
        return False
    if function.attr == "get":
        first = node.args[0] if node.args else None
        return isinstance(first, ast.Constant) and first.value in DISPLAY
    return function.attr in _SAME and _is_display(function.value)


_WORD = re.compile(r"[A-Za-z]{2,}")
#: Signs that no sentence has: markup, a pattern, code, a path.
_CODE = re.compile(r"[{}<>\\=|]|^/|:/")
_FEWEST_WORDS = 3


def prose(tree: ast.AST) -> Iterator[Found]:
    """Yield every text of three words and more that is no docstring, error message or code."""
    passed = {id(n) for top in ast.walk(tree) for n in _no_prose(top)}
    for node in ast.walk(tree):
        if id(node) in passed:
            continue
        text = ""
        if isinstance(node, ast.JoinedStr):
            parts = [v.value for v in node.values if isinstance(v, ast.Constant)]
            passed |= {id(n) for n in ast.walk(node)}
            text = " ".join(map(str, parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        several = " " in text.strip() and len(_WORD.findall(text)) >= _FEWEST_WORDS
        if several and not _CODE.search(text):
            yield node.lineno, text


def _no_prose(node: ast.AST) -> Iterator[ast.AST]:
    """Yield texts below a node that are not for readers: docstrings and what is raised."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        yield node.value
    if isinstance(node, ast.Raise):
        yield from ast.walk(node)
    if isinstance(node, ast.keyword) and node.arg in ("purpose", "otherwise"):
        yield from ast.walk(node)  # of cmjlab.extras: parts of its error
    if isinstance(node, ast.Call) and ast.unparse(node.func) == "super().__init__":
        yield from ast.walk(node)
