"""Files that hold no recording, or one that can be read in two ways: one clear sentence each."""

from __future__ import annotations

import builtins
import errno
import gzip
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from cmjlab.errors import ArgumentError, ReadError
from cmjlab.files.inspect import inspect_file
from cmjlab.files.read import read_recording
from cmjlab.layout import Layout


def _force(n: int = 600) -> list[float]:
    t = np.arange(n) / 1000.0
    return (750.0 + 900.0 * np.exp(-(((t - 0.3) / 0.05) ** 2))).round(1).tolist()


def _table(head: str, row: Callable[[int, float], str], n: int = 600) -> str:
    return head + "\n" + "\n".join(row(k, v) for k, v in enumerate(_force(n))) + "\n"


def _zip(**files: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return out.getvalue()


PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8
RNG = np.random.default_rng(3)

#: what -> (file name, bytes, words that the sentence must hold)
HOSTILE: dict[str, tuple[str, bytes | str, str]] = {
    "empty": ("a.csv", b"", "empty (0 bytes)"),
    "blanks": ("a.csv", b"  \n \n\t\n", "blanks only"),
    "picture": ("jump.csv", PNG, "PNG picture"),
    "jpeg": ("jump.txt", b"\xff\xd8\xff\xe0" + bytes(500), "JPEG picture"),
    "pdf": ("jump.csv", b"%PDF-1.7\n" + bytes(500), "PDF document"),
    "old workbook": ("jump.xls", b"\xd0\xcf\x11\xe0" + bytes(600), "save it as .xlsx"),
    "random bytes": ("jump.csv", RNG.integers(0, 256, 5000, dtype=np.uint8).tobytes(), "no text"),
    "words": ("a.txt", "Dear colleague,\nthe jumps were fine.\n" * 40, "no table of numbers"),
    "web page": ("a.csv", "<!DOCTYPE html><html><body>1,2</body></html>", "web page"),
    "json": ("a.csv", json.dumps({"force": [750.0] * 50}), "only 1 row"),
    "header only": ("a.csv", "Time [s],Fz [N]\n", "no table of numbers"),
    "three rows": ("a.csv", "Time [s],Fz [N]\n0,750\n0.001,751\n0.002,750\n", "only 3 row"),
    "one row": ("a.csv", "Time [s],Fz [N]\n0,750\n", "no table of numbers"),
    "cut gz": ("a.csv.gz", gzip.compress(b"Time,Fz\n0.001,750\n" * 900)[:60], "cut short"),
    "empty gz": ("a.csv.gz", gzip.compress(b""), "holds nothing"),
    "broken gz": ("a.csv.gz", b"\x1f\x8b" + bytes(40), "damaged"),
    "zip of two": ("a.zip", _zip(a="1\n2\n", b="3\n4\n"), "holds 2 files"),
    "empty zip": ("a.zip", _zip() + b"", "holds"),
    "broken zip": ("a.zip", b"PK\x03\x04" + bytes(60), "cannot be unpacked"),
    "fake parquet": ("a.parquet", b"PAR1" + bytes(60) + b"PAR1", "Parquet file cannot be read"),
    "renamed to parquet": ("a.parquet", "Time,Fz\n0,1\n", "not a .parquet file"),
    "renamed to xlsx": ("a.xlsx", "Time,Fz\n0,1\n", "not a .xlsx file"),
    "renamed to c3d": ("a.c3d", "Time,Fz\n0,1\n" * 60, "not a C3D file"),
    "all zero": ("a.csv", _table("Time [s],Fz", lambda k, v: f"{k / 1000:.3f},0.0"), "zero throughout"),
    "unit contradicts values": (
        "a.csv", _table("Time [s],Fz [N]", lambda k, v: f"{k / 1000:.3f},{v / 1000:.4f}"), "no person"
    ),
    "volts without scale": (
        "a.csv", _table("Time [s],Fz [V]", lambda k, v: f"{k / 1000:.3f},{v / 500:.4f}"),
        "newton_per_unit = 500",
    ),
    "body weights": (
        "a.csv", _table("Time [s],Fz [BW]", lambda k, v: f"{k / 1000:.3f},{v / 750:.4f}"), "no column of force"
    ),
    "which column": (
        "a.csv", _table("Time [s],Ch1,Ch2", lambda k, v: f"{k / 1000:.3f},{v},{v / 2}"),
        'force_columns = ["Ch1"]',
    ),
    "no names at all": (
        "a.txt", _table("0.000\t750\t3", lambda k, v: f"{(k + 1) / 1000:.3f}\t{v}\t3"), "which column"
    ),
    "raw and filtered": (
        "a.csv", _table("Time [s],Fz,Fz filtered", lambda k, v: f"{k / 1000:.3f},{v},{v + 0.1:.1f}"),
        "which column",
    ),
    "the same column twice": (
        "a.csv", _table("Time [s],Fz,Fz", lambda k, v: f"{k / 1000:.3f},{v},{v}"), "hold the same values"
    ),
    "left twice": (
        "a.csv", _table("Time [s],Left A,Left B", lambda k, v: f"{k / 1000:.3f},{v},{v / 2}"),
        "plates = [",
    ),
    "two kinds of force": (
        "a.csv", _table("Time [s],Fz,Force", lambda k, v: f"{k / 1000:.3f},{v},{v + 1:.1f}"),
        "which plate does each column belong to",
    ),
    "left and right of several plates": (
        "a.csv", _table("Time [s],L Fz1,L Fz2,R Fz1,R Fz2",
                        lambda k, v: f"{k / 1000:.3f},{v},{v + 1:.1f},{v + 2:.1f},{v + 3:.1f}"),
        "which plate does each column belong to",
    ),
    "ms or sample number": (
        "a.csv", _table("Time,Fz", lambda k, v: f"{k},{v}"), "milliseconds (1000 Hz) or sample numbers"
    ),
    "time unit unknown": (
        "a.csv", _table("Time,Fz", lambda k, v: f"{k * 30},{v}"), 'time_unit = "s"'
    ),
    "time unit contradicts": (
        "a.csv", _table("Time [s],Fz", lambda k, v: f"{k * 2},{v}"), "said to be in s"
    ),
    "two time columns": (
        "a.csv", _table("Time [s],Time [ms],Fz", lambda k, v: f"{k / 1000:.3f},{k},{v}"), "look like time"
    ),
    "time goes back": (
        "a.csv", _table("Time [s],Fz", lambda k, v: f"{(k if k != 300 else 250) / 1000:.3f},{v}"),
        "line 302",
    ),
    "second recording": (
        "a.csv", 2 * _table("Time [s],Fz", lambda k, v: f"{k / 1000:.3f},{v}"), "2 recordings"
    ),
    "second recording, header repeated": (
        "a.csv", 2 * _table("Device: A;B\nTime [s];Fz [N];x", lambda k, v: f"{k / 1000:.3f};{v};"),
        "recording",
    ),
    "uneven time": (
        "a.csv", _table("Time [s],Fz", lambda k, v: f"{(k + 0.45 * (k % 2)) / 1000:.5f},{v}"), "not even"
    ),
    "time stands twice": (
        "a.csv", _table("Time [s],Fz", lambda k, v: f"{(k if k != 300 else 299) / 1000:.3f},{v + k / 10:.1f}"),
        "stands twice",
    ),
    "time jumps far": (
        "a.csv", _table("Time [s],Fz", lambda k, v: f"{k / 1000 + 1e6 * (k > 300):.3f},{v}"), "time jumps"
    ),
    "rate contradicts": (
        "a.csv", _table("Sampling rate: 500 Hz\nTime [s],Fz", lambda k, v: f"{k / 1000:.3f},{v}"),
        "says 500 Hz",
    ),
    "two rates": (
        "a.csv", _table("Sampling rate A: 500 Hz\nSampling rate B: 1000 Hz\nFz", lambda k, v: f"{v}"),
        "several rates",
    ),
    "comma twice": (
        "a.csv", _table("Time,Fz", lambda k, v: f"0,{k:03d},{int(v)},{int(10 * v) % 10}"), "names 2 columns"
    ),
    "comma, no header": (
        "a.csv", _table("750,7", lambda k, v: f"{int(v)},{int(10 * v) % 9 + 1}"), 'decimal = ","'
    ),
    "too many bad cells": (
        "a.csv", _table("Time [s],Fz [N]", lambda k, v: f"{k / 1000:.3f},{v if k % 3 else 'OVR'}"),
        "hold no number",
    ),
    "rows torn": (
        "a.csv", _table("Time [s],Fz [N]", lambda k, v: f"{k / 1000:.3f},{v}" + (",1,2" if k % 9 == 0 else "")),
        "another number of cells",
    ),
    "time stands still": (
        "a.csv", _table("Time [s],Fz", lambda k, v: f"0.000,{v}"), "time"
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", HOSTILE)
def test_one_clear_sentence(what: str, tmp_path: Path) -> None:
    name, content, words = HOSTILE[what]
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    with pytest.raises(ReadError) as caught:
        read_recording(path)
    text = str(caught.value)
    assert text.startswith(name)
    assert words in text
    assert "\n" not in text
    assert len(text) < 600
    seen = inspect_file(path)
    assert not seen.readable
    assert any(words in q for q in seen.questions)
    assert seen.layout_toml().startswith("[[layout]]")


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="no such file"):
        read_recording(tmp_path / "absent.csv")
    with pytest.raises(ReadError, match="this is a folder"):
        read_recording(tmp_path)
    with pytest.raises(ReadError, match="cannot be opened"):
        read_recording("bad\x00name.csv")


def test_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The refusal is made by hand: a superuser may read whatever the permissions say."""
    path = tmp_path / "a.csv"
    path.write_text("1\n")
    real = builtins.open

    def refuse(file: object, *rest: object, **named: object) -> object:
        if file == path:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return real(file, *rest, **named)

    monkeypatch.setattr("builtins.open", refuse)
    with pytest.raises(ReadError, match=r"cannot be opened \(Permission denied\)"):
        read_recording(path)


def test_large_files_are_refused_before_they_are_read(tmp_path: Path) -> None:
    """A sparse gigabyte costs no memory: the size is looked at first."""
    path = tmp_path / "huge.csv"
    with open(path, "wb") as handle:
        handle.seek(1_000_000_000)
        handle.write(b"\n")
    with pytest.raises(ReadError, match=r"1000 MB is more than the limit of 50 MB.*size_limit_mb"):
        read_recording(path)


def test_size_limit_is_a_setting_and_counts_unpacked(tmp_path: Path) -> None:
    text = _table("Time [s],Fz [N]", lambda k, v: f"{k / 1000:.3f},{v}", n=6000)
    plain, packed, zipped = tmp_path / "a.csv", tmp_path / "a.csv.gz", tmp_path / "a.zip"
    plain.write_text(text)
    packed.write_bytes(gzip.compress(text.encode()))
    zipped.write_bytes(_zip(a=text))
    small, enough = Layout(size_limit_mb=0.05), Layout(size_limit_mb=0.2)
    for path in (plain, packed, zipped):
        assert read_recording(path, layout=enough).n_samples == 6000
        with pytest.raises(ReadError, match="more than the limit"):
            read_recording(path, layout=small)


def test_memory_stays_below_three_times_the_parsed_size(tmp_path: Path) -> None:
    import tracemalloc

    rows = 200_000
    text = "Time [s],Fz [N]\n" + "".join(f"{k / 1000:.3f},750.1\n" for k in range(rows))
    path = tmp_path / "a.csv"
    path.write_text(text)
    read_recording(path)
    tracemalloc.start()
    read_recording(path)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 3 * rows * 2 * 8 + 2_000_000


@pytest.mark.parametrize("rate", [0.0, -5.0, float("nan"), "1000 Hz", True])
def test_unusable_rate_is_an_argument_error(rate: object, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("750\n" * 100)
    with pytest.raises(ArgumentError, match="rate_hz"):
        read_recording(path, rate_hz=rate)  # type: ignore[arg-type]


def test_layout_names_that_do_not_exist_are_answered_with_the_names(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(_table("Time [s],Fz,Fz2", lambda k, v: f"{k / 1000:.3f},{v},{v}"))
    for layout, words in (
        (Layout(force_columns=("Force",)), "the columns are: 'Time [s]', 'Fz', 'Fz2'"),
        (Layout(force_columns=("9",)), "there is no column '9'"),
        (Layout(time_column="t"), "time_column"),
        (Layout(force_columns=("Fz",), plates=("left", "right")), "2 names for 1 force"),
        (Layout(force_columns=("Fz", "Fz2"), plates=("left", "left")), "plates"),
        (Layout(force_columns=("Fz", "Fz2"), left=(7,)), "there is no plate 7"),
        (Layout(encoding="utf-99"), "encoding"),
        (Layout(encoding="ascii"), ""),
    ):
        if not words:
            continue
        with pytest.raises(ReadError) as caught:
            read_recording(path, layout=layout)
        assert words in str(caught.value)


def test_thousand_garbled_text_files_never_crash(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    base = _table("Time [s];Left [N];Right [N]", lambda k, v: f"{k / 1000:.3f};{v / 2:.1f};{v / 2}")
    data = base.replace(".", ",").encode("cp1252")
    path = tmp_path / "a.csv"
    outcomes = {"read": 0, "refused": 0}
    for _ in range(1000):
        out = bytearray(data)
        for at in rng.integers(0, len(out), int(rng.integers(1, 30))):
            out[at] = int(rng.choice([0, 10, 13, 26, 34, 44, 59, 65, 200, 48]))
        if rng.random() < 0.3:
            del out[int(rng.integers(1, len(out))) :]
        path.write_bytes(out)
        try:
            read_recording(path)
            outcomes["read"] += 1
        except ReadError:
            outcomes["refused"] += 1
    assert min(outcomes.values()) > 50
