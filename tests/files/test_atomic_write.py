"""Files are written whole or not at all, by one function that the whole package uses."""

from __future__ import annotations

import ast
import errno
import os

import pytest
from places import PACKAGE

from cmjlab.errors import StudyError
from cmjlab.files.atomic_write import atomic_copy, atomic_write


def test_text_and_bytes_are_written_as_they_are(tmp_path):
    path = tmp_path / "new" / "folder" / "a.txt"
    atomic_write(path, "ä\nb\n")
    assert path.read_bytes() == "ä\nb\n".encode()
    atomic_write(path, b"\x00\r\n")
    assert path.read_bytes() == b"\x00\r\n"
    assert os.listdir(path.parent) == ["a.txt"]


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.EACCES, "Close the program"),
        (errno.ENOSPC, "disk is full"),
        (errno.EIO, "another place"),
    ],
)
def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch, number, words):
    path = tmp_path / "a.csv"
    path.write_bytes(b"old")

    def refuse(source, target):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(StudyError, match=words) as caught:
        atomic_write(path, b"new")
    assert str(path) in str(caught.value)
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.csv"]


def test_a_run_that_is_stopped_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    path.write_bytes(b"old")

    def stop(descriptor):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        atomic_write(path, b"new", lasting=True)
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.csv"]


def test_only_lasting_files_wait_for_the_disk(tmp_path, monkeypatch):
    waited = []
    monkeypatch.setattr(os, "fsync", waited.append)
    atomic_write(tmp_path / "a", b"1")
    assert not waited
    atomic_write(tmp_path / "a", b"1", lasting=True)
    assert len(waited) == 1


def test_two_writers_never_share_a_temporary_name(tmp_path, monkeypatch):
    names = []
    real = os.replace

    def note(source, target):
        names.append(str(source))
        real(source, target)

    monkeypatch.setattr(os, "replace", note)
    for _ in range(2):
        atomic_write(tmp_path / "a", b"1")
    assert len(set(names)) == 2
    assert all(os.path.dirname(name) == str(tmp_path) for name in names)


def test_a_folder_in_place_of_the_file_is_named(tmp_path):
    (tmp_path / "a").mkdir()
    with pytest.raises(StudyError, match="cannot be written"):
        atomic_write(tmp_path / "a", b"1")
    assert os.listdir(tmp_path) == ["a"]


@pytest.mark.skipif(os.name != "posix", reason="links need rights on Windows")
def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "a").symlink_to(tmp_path / "real" / "a")
    atomic_write(tmp_path / "a", b"1")
    assert (tmp_path / "a").is_symlink()
    assert (tmp_path / "real" / "a").read_bytes() == b"1"


def test_a_copy_keeps_bytes_and_times(tmp_path):
    source = tmp_path / "source"
    source.write_bytes(b"force")
    os.utime(source, (1_700_000_000, 1_700_000_000))
    atomic_copy(source, tmp_path / "there" / "copy")
    assert (tmp_path / "there" / "copy").read_bytes() == b"force"
    assert (tmp_path / "there" / "copy").stat().st_mtime == 1_700_000_000
    with pytest.raises(FileNotFoundError):
        atomic_copy(tmp_path / "absent", tmp_path / "there" / "other")
    assert os.listdir(tmp_path / "there") == ["copy"]


#: Writing that need not be whole: its place, and why.
AGREED = {
    "files/atomic_write.py": "the one home",
    "study/store/lock.py": "who holds the lock, told to others if it can be",
    "report/notebooks/run.py": "a temporary file for one kernel",
    "report/render/pdf.py": "the page with its contents filled in, in a temporary folder",
    "files/new_folder.py": "a copy or a data set gets its name when all of it is there",
    "cli/say.py": "nothing is written: output whose reader has gone",
}
WRITERS = {"write_text", "write_bytes", "copy2", "copyfile", "savefig", "to_csv", "to_parquet"}
WRITERS |= {"NamedTemporaryFile", "mkstemp"}


def _writes(node: ast.AST) -> bool:
    """Return whether a call writes a file past ``atomic_write``."""
    if not isinstance(node, ast.Call):
        return False
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    given = [*node.args, *(k.value for k in node.keywords if k.arg in ("path", "path_or_buf"))]
    first = given[0] if given else None
    if name == "open":
        modes = [a.value for a in node.args[1:2] if isinstance(a, ast.Constant)]
        return any("w" in str(m) or "a" in str(m) or "x" in str(m) for m in modes)
    if name in ("savefig", "to_csv", "to_parquet"):  # without a name, or into memory
        return first is not None and not (isinstance(first, ast.Name) and first.id == "buffer")
    owner = node.func.value if isinstance(node.func, ast.Attribute) else None
    if name == "replace":
        return isinstance(owner, ast.Name) and owner.id == "os"
    return name in WRITERS


def _found() -> set[str]:
    return {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if any(map(_writes, ast.walk(ast.parse(path.read_text(encoding="utf-8")))))
    }


def test_nothing_else_in_the_package_writes_files():
    assert _found() == set(AGREED)


@pytest.mark.parametrize(
    ("code", "writes"),
    [
        ("path.write_text(x)", True),
        ("os.replace(a, b)", True),
        ("text.replace(a, b)", False),
        ("open(path, 'wb')", True),
        ("open(path)", False),
        ("frame.to_csv(path)", True),
        ("frame.to_csv(index=False)", False),
        ("figure.savefig(buffer, format='png')", False),
        ("figure.savefig(path)", True),
    ],
)
def test_writing_is_seen(code, writes):
    assert _writes(ast.parse(code, mode="eval").body) is writes
