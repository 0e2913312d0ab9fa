"""Files are opened for reading in one place, and names made from words pass one function."""

from __future__ import annotations

import ast

import pytest
from places import PACKAGE

#: What may open files past ``cmjlab/safe_open.py``: its place, and why.
AGREED = {
    "safe_open.py": "the one home",
    "files/atomic_write.py": "a new file of its own is opened for writing",
    "files/contents.py": "the one file inside an archive, unpacked with a limit",
    "cli/say.py": "nothing is read: output whose reader has gone",
    "words/catalog.py": "a file of the package",
    "report/blocks/templates.py": "files of the package",
    "report/render/check_in_r.py": "a file of the package",
    "report/render/citations.py": "a file of the package",
    "study/dataset/parts.py": "a file that safe_open has opened: only the columns asked for are read",
    "study/folder/create.py": "a file of the package",
    "report/notebooks/copy.py": "the licence, a file of the package",
    "report/notebooks/index.py": "notebooks that have just been run",
    "report/render/contents.py": "a PDF that has just been made, in a temporary folder",
    "report/render/pdf.py": "the page and the PDF that have just been made",
}
_READERS = {"read_text", "read_bytes", "load", "fromfile", "loadtxt", "genfromtxt", "memmap"}
_TABLES = {"read_csv", "read_excel", "read_parquet", "read_table", "read_json", "load_workbook"}
_TABLES |= {"ZipFile", "GzipFile", "TarFile", "ParquetFile"}
_OPENERS = {"io", "os", "gzip", "zipfile", "codecs", "path", "archive", "tarfile", "bz2", "lzma"}
#: Functions of ours of these names take bytes, or open by safe_open themselves.
_OURS = {"read_text", "read_table", "read_parquet", "load"}
#: What is read from memory.
_MEMORY = {"BytesIO", "StringIO", "BufferReader", "py_buffer"}


def _from_memory(given: ast.expr) -> bool:
    call = given.func if isinstance(given, ast.Call) else given
    name = call.attr if isinstance(call, ast.Attribute) else getattr(call, "id", "")
    return name in _MEMORY or name in ("buffer", "memory")


def _opens(node: ast.AST) -> bool:
    """Return whether a call opens a file by its path."""
    if not isinstance(node, ast.Call):
        return False
    plain = isinstance(node.func, ast.Name)
    name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
    owner = getattr(getattr(node.func, "value", None), "id", "")
    if name == "open":
        return plain or owner in _OPENERS or owner.endswith(("path", "file"))
    if plain and name in _OURS:
        return False
    if name in _TABLES:
        return not (node.args and _from_memory(node.args[0])) and not any(
            _from_memory(k.value) for k in node.keywords
        )
    if name == "load":
        return owner in ("json", "np", "numpy", "tomllib", "pickle", "joblib")
    return not plain and name in _READERS


def _found() -> set[str]:
    return {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if any(map(_opens, ast.walk(ast.parse(path.read_text(encoding="utf-8")))))
    }


def test_nothing_else_in_the_package_opens_files():
    assert _found() == set(AGREED)


@pytest.mark.parametrize(
    ("code", "opens"),
    [
        ("open(path, 'rb')", True),
        ("path.open()", True),
        ("io.open(path)", True),
        ("os.open(path, 0)", True),
        ("Study.open(folder)", False),
        ("path.read_text()", True),
        ("(folder / 'a').read_bytes()", True),
        ("read_text(path)", False),
        ("json.load(handle)", True),
        ("store.load()", False),
        ("np.load(path)", True),
        ("pd.read_csv(path)", True),
        ("csv.read_csv(pa.BufferReader(data))", False),
        ("load_workbook(path)", True),
        ("load_workbook(io.BytesIO(data))", False),
        ("zipfile.ZipFile(path)", True),
        ("pq.read_table(path)", True),
    ],
)
def test_opening_is_seen(code, opens):
    assert _opens(ast.parse(code, mode="eval").body) is opens


# ---- names made from words -----------------------------------------------------------------

#: Where a path is put together from parts without ``file_in``: its place, and why.
NAMED = {
    "study/store/lock.py": "the name of a lock of ours, never a word of a study",
    "study/store/parts.py": "keys and random names of ours, hexadecimal digits",
    "study/decide/decisions.py": "the name of a declared table",
    "study/demo/demo.py": "names of declared tables",
    "cli/files.py": "a figure in the working folder, named after the file that a person named",
}


def _joins_words(node: ast.AST) -> bool:
    """Return whether a path is joined with a text that has gaps."""
    return (
        isinstance(node, ast.BinOp)
        and isinstance(node.op, ast.Div)
        and isinstance(node.right, ast.JoinedStr)
    )


def test_no_path_is_joined_with_a_text_that_holds_words():
    found = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if any(map(_joins_words, ast.walk(ast.parse(path.read_text(encoding="utf-8")))))
    }
    assert found == set(NAMED)


@pytest.mark.parametrize(
    ("code", "joins"), [("a / f'{b}.csv'", True), ("a / 'b.csv'", False), ("1 / b", False)]
)
def test_joining_is_seen(code, joins):
    assert _joins_words(ast.parse(code, mode="eval").body) is joins
