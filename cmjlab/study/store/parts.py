"""Results on disk: append-only parts, written whole or not at all.

``results/store/<engine>-<method>/`` holds pairs of Parquet files. The checks of a part are
written before its jumps, so a part counts only when both are there; killing the program at
any moment loses the last part at most. Parts never change. The name of each file carries the
checksum of its bytes. A part whose bytes do not fit it, or whose columns differ from what
``cmjlab.tables`` says, is not used (its files are measured again), never filled up.
"""

from __future__ import annotations

import hashlib
import io
import uuid
from collections.abc import Iterable, Mapping, Sequence
from operator import itemgetter
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.files.abandoned import FILE, remove_abandoned
from cmjlab.files.atomic_write import atomic_write
from cmjlab.keys import ENGINE
from cmjlab.safe_open import read_file
from cmjlab.study.store.one_file import FileResult

_TEXT, _REAL, _WHOLE, _FLAG = "str", "float64", "int64", "bool"
JUMP_COLUMNS = {
    "key": _TEXT,
    "file": _TEXT,
    "sha256": _TEXT,
    "stretch": _WHOLE,
    "jump": _WHOLE,
    "rate_hz": _REAL,
    "accepted_by_rules": _FLAG,
    "moved_events": _TEXT,
    "flags": _TEXT,
    "error": _TEXT,
    "notes": _TEXT,
    "voided": _TEXT,
    **dict.fromkeys(METRICS, _REAL),
}
CHECK_COLUMNS = {
    "key": _TEXT,
    "file": _TEXT,
    "jump": _WHOLE,
    "code": _TEXT,
    "status": _TEXT,
    "scope": _TEXT,
    "value": _REAL,
    "limit": _REAL,
    "unit": _TEXT,
    "reason": _TEXT,
}
_ARROW = {_TEXT: "string", _REAL: "double", _WHOLE: "int64", _FLAG: "bool"}
#: More parts than this are joined into one when the next is written.
MOST_PARTS = 40
#: A part of 100,000 jumps has some 60 MB.
_PART_LIMIT_MB = 2_000.0
_CHECKSUM_DIGITS = 16


def frame_of(rows: Sequence[dict[str, Any]], columns: dict[str, str]) -> pd.DataFrame:
    """Return rows as a table with exactly these columns and dtypes; missing text is ""."""
    names = list(columns)
    cells = list(zip(*[_cells(row, names) for row in rows], strict=True)) or [()] * len(names)
    return frame_of_columns(dict(zip(names, cells, strict=True)), columns)


def frame_of_columns(values: Mapping[str, Sequence[Any]], columns: dict[str, str]) -> pd.DataFrame:
    """Return columns as a table with exactly these dtypes; missing text is "", a number nan."""
    data: dict[str, Any] = {}
    for name, kind in columns.items():
        if kind == _TEXT:
            data[name] = pd.array(["" if v is None else v for v in values[name]], dtype="str")
        else:
            data[name] = np.array(values[name], dtype=kind)
    return pd.DataFrame(data, columns=list(columns))


def _cells(row: dict[str, Any], names: list[str]) -> tuple[Any, ...]:
    """Return the cells of a row in order; rows of files without a jump lack most."""
    try:
        return itemgetter(*names)(row)  # type: ignore[no-any-return]
    except KeyError:
        return tuple(map(row.get, names))


class Store:
    """Kept results of one study folder for one engine and Method.

    Parameters
    ----------
    results : Path
        The study's results folder.
    method_key : str
        Key of the Method.
    """

    def __init__(self, results: Path, method_key: str) -> None:
        self.root = results / "store"
        self.folder = self.root / f"{ENGINE}-{method_key[:16]}"

    def load(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Return all kept jumps and checks (columns JUMP_COLUMNS and CHECK_COLUMNS)."""
        jumps, checks = [], []
        for path in sorted(self.folder.glob("jumps-*.parquet")):
            pair = self._pair(path)
            if pair is not None:
                jumps.append(pair[0])
                checks.append(pair[1])
        return (
            _joined(jumps, JUMP_COLUMNS, ["key", "jump"]),
            _joined(checks, CHECK_COLUMNS, ["key", "jump", "code"]),
        )

    def load_jumps(self) -> pd.DataFrame:
        """Return all kept jumps whose checks are there too; those are read when they are wanted."""
        found = []
        remove_abandoned(self.folder, FILE)
        for path in sorted(self.folder.glob("jumps-*.parquet")):
            jumps = _read_part(path, JUMP_COLUMNS) if _checks_of(path) else None
            if jumps is not None:
                found.append(jumps)
        return _joined(found, JUMP_COLUMNS, ["key", "jump"])

    def load_checks(self) -> pd.DataFrame:
        """Return all kept checks that can be read."""
        paths = sorted(self.folder.glob("checks-*.parquet"))
        found = [part for p in paths if (part := _read_part(p, CHECK_COLUMNS)) is not None]
        return _joined(found, CHECK_COLUMNS, ["key", "jump", "code"])

    @staticmethod
    def _pair(path: Path) -> tuple[pd.DataFrame, pd.DataFrame] | None:
        """Return one part, or None when it is damaged, incomplete or of another form."""
        jumps = _read_part(path, JUMP_COLUMNS)
        if jumps is None:
            return None
        other = _checks_of(path)
        checks = None if other is None else _read_part(other, CHECK_COLUMNS)
        return None if checks is None else (jumps, checks)

    def append(self, results: Iterable[FileResult]) -> None:
        """Keep the results that may be kept, as one new part."""
        kept = [r for r in results if r.keep]
        if not kept:
            return
        jumps = frame_of([j for r in kept for j in r.jumps], JUMP_COLUMNS)
        checks = frame_of([c for r in kept for c in r.checks], CHECK_COLUMNS)
        self._write(jumps, checks)
        if len(list(self.folder.glob("jumps-*.parquet"))) > MOST_PARTS:
            self.compact()

    def _write(self, jumps: pd.DataFrame, checks: pd.DataFrame) -> None:
        name = uuid.uuid4().hex
        _write_part(checks, CHECK_COLUMNS, self.folder, f"checks-{name}")
        _write_part(jumps, JUMP_COLUMNS, self.folder, f"jumps-{name}")

    def compact(self, keys: set[str] | None = None) -> None:
        """Join all parts into one; with ``keys``, only results with these keys are kept.

        The new part is complete before the old ones are removed.
        """
        old = [*self.folder.glob("jumps-*.parquet"), *self.folder.glob("checks-*.parquet")]
        jumps, checks = self.load()
        if keys is not None:
            jumps, checks = jumps[jumps["key"].isin(keys)], checks[checks["key"].isin(keys)]
        self._write(jumps, checks)
        for path in sorted(old, key=lambda p: p.name, reverse=True):  # jumps before checks
            path.unlink(missing_ok=True)


def _checks_of(jumps: Path) -> Path | None:
    """Return the checks that belong to a part of jumps."""
    return next(jumps.parent.glob(f"checks-{jumps.name.split('-')[1]}-*.parquet"), None)


def _joined(parts: list[pd.DataFrame], columns: dict[str, str], once: list[str]) -> pd.DataFrame:
    """Return parts as one table in which nothing stands twice."""
    if not parts:
        return frame_of([], columns)
    if len(parts) == 1:
        return parts[0]
    return pd.concat(parts, ignore_index=True).drop_duplicates(once).reset_index(drop=True)


def _schema(columns: dict[str, str]) -> Any:
    import pyarrow as pa

    return pa.schema([(n, _ARROW[k]) for n, k in columns.items()])


def _checksum(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:_CHECKSUM_DIGITS]


def _write_part(frame: pd.DataFrame, columns: dict[str, str], folder: Path, stem: str) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pa.Table.from_pandas(frame, schema=_schema(columns), preserve_index=False)
    table = table.replace_schema_metadata({"cmjlab.engine": str(ENGINE)})
    buffer = io.BytesIO()
    pq.write_table(table, buffer)
    data = buffer.getvalue()
    atomic_write(folder / f"{stem}-{_checksum(data)}.parquet", data, lasting=True)


def _read_part(path: Path, columns: dict[str, str]) -> pd.DataFrame | None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        data = read_file(path, limit_mb=_PART_LIMIT_MB)
        if not path.stem.endswith(f"-{_checksum(data)}"):
            return None
        table = pq.ParquetFile(pa.BufferReader(data)).read(use_threads=False)  # parts are small
    except (OSError, pa.ArrowException):
        return None
    if not table.schema.remove_metadata().equals(_schema(columns)):
        return None
    frame = table.to_pandas(use_threads=False)
    kinds = frame.dtypes.to_dict()
    wrong = {n: k for n, k in columns.items() if kinds[n] != k}
    return frame.astype(wrong) if wrong else frame
