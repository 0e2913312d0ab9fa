"""Write a data set of jumps: tables in any order in, whole athletes side by side out.

Two passes, neither of which holds more than a part. As tables come in, their rows are set down in
pieces, each sorted by bucket of athletes; then the rows of some buckets are taken from all pieces,
sorted by athlete and written. Within an athlete the jumps keep the order in which they came.
"""

from __future__ import annotations

import contextlib
import errno
import shutil
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from cmjlab.errors import StatsError, StudyError
from cmjlab.files.abandoned import FOLDER, remove_abandoned, unfinished
from cmjlab.files.atomic_write import REMEDIES, atomic_write
from cmjlab.files.new_folder import put_in_place, refuse_taken
from cmjlab.safe_open import open_file
from cmjlab.study.dataset.columns import ROW, Columns, one_schema
from cmjlab.study.dataset.parts import BUCKETS, buckets_of, write_part
from cmjlab.tables import JUMPS

if TYPE_CHECKING:
    import pyarrow as pa

#: Jumps set down at a time, and jumps of a file of the data set (more where a bucket has more).
ROWS_OF_PIECE, ROWS_OF_PART = 40_000, 20_000


def write_dataset(tables: pd.DataFrame | Iterable[pd.DataFrame], folder: Path) -> None:
    """Write a data set, whole or not at all; see :meth:`JumpsDataset.write`."""
    refuse_taken(folder)
    place = unfinished(folder, FOLDER)
    with _telling(folder):
        folder.parent.mkdir(parents=True, exist_ok=True)
        remove_abandoned(folder.parent, FOLDER)
        place.mkdir()
    try:
        pieces = _Pieces(place / "pieces")
        columns = Columns()
        for table in [tables] if isinstance(tables, pd.DataFrame) else tables:
            pieces.add(columns.take(table))
        if not pieces.rows:
            raise StatsError("there is no jump in the tables; a data set needs at least one.")
        pieces.set_down()
        kinds = columns.kinds()
        schema = one_schema(pieces.schemas, kinds)
        for first, last in _ranges(pieces.counts):
            write_part(_sorted(pieces, range(first, last + 1), schema), place, first, last)
        with _telling(folder):
            shutil.rmtree(pieces.folder)
            put_in_place(place, folder)
    finally:
        shutil.rmtree(place, ignore_errors=True)


@contextlib.contextmanager
def _telling(folder: Path) -> Iterator[None]:
    """Tell what the system says about a folder with what to do."""
    try:
        yield
    except OSError as error:
        remedy = REMEDIES.get(error.errno or 0, REMEDIES[errno.ENOENT])
        raise StudyError(
            f"{folder.name}: cannot be written ({error.strerror or error}). {remedy}"
        ) from error


class _Pieces:
    """Rows set down on the disk, sorted by bucket piece by piece."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.rows = 0
        self.counts = np.zeros(BUCKETS, dtype=np.int64)
        self.schemas: list[pa.Schema] = []
        self._waiting: list[pa.Table] = []
        self._set_down = 0
        self._places: list[tuple[Path, Mapping[int, int]]] = []

    def add(self, table: pa.Table) -> None:
        """Take the rows of a table."""
        import pyarrow as pa

        table = table.append_column(ROW, pa.array(np.arange(self.rows, self.rows + len(table))))
        self.rows += len(table)
        for start in range(0, len(table), ROWS_OF_PIECE):
            self._waiting.append(table.slice(start, ROWS_OF_PIECE))
            if self.rows - self._set_down >= ROWS_OF_PIECE:
                self.set_down()

    def set_down(self) -> None:
        """Write the rows that wait, one batch per bucket."""
        import pyarrow as pa

        waiting = [t for t in self._waiting if len(t)]
        self._waiting = []
        if not waiting:
            return
        table = pa.concat_tables(waiting, promote_options="permissive")
        self._set_down += len(table)
        self.schemas.append(table.schema)
        buckets = buckets_of(table["athlete"].to_pandas())
        counts = np.bincount(buckets, minlength=BUCKETS)
        self.counts += counts
        table = table.take(np.argsort(buckets, kind="stable")).combine_chunks()
        used, starts = np.flatnonzero(counts), np.cumsum(counts) - counts
        sink = pa.BufferOutputStream()
        with pa.ipc.new_file(sink, table.schema) as writer:
            for bucket in used:
                writer.write_table(table.slice(int(starts[bucket]), int(counts[bucket])))
        path = self.folder / str(len(self._places))
        atomic_write(path, sink.getvalue().to_pybytes())
        self._places.append((path, {int(b): i for i, b in enumerate(used)}))

    def of(self, buckets: Iterable[int]) -> Iterator[pa.Table]:
        """Yield the rows of some buckets, piece by piece."""
        import pyarrow as pa

        wanted = list(buckets)
        for path, places in self._places:
            there = [places[b] for b in wanted if b in places]
            if there:
                with open_file(path) as handle:
                    reader = pa.ipc.open_file(handle)
                    yield pa.Table.from_batches([reader.get_batch(i) for i in there])


def _ranges(counts: Any) -> list[tuple[int, int]]:
    """Return first and last bucket of each part: as many as make a part, none left out."""
    out, first, rows = [], 0, 0
    for bucket, count in enumerate(counts.tolist()):
        rows += count
        if rows >= ROWS_OF_PART:
            out.append((first, bucket))
            first, rows = bucket + 1, 0
    if not rows and out:
        return [*out[:-1], (out[-1][0], BUCKETS - 1)]
    return [*out, (first, BUCKETS - 1)]


def _sorted(pieces: _Pieces, buckets: Iterable[int], schema: pa.Schema) -> pa.Table:
    """Return all jumps of some buckets, athlete by athlete in the order in which they came."""
    import pyarrow as pa

    empty = pa.Table.from_pylist([], schema=schema)
    found = [empty, *pieces.of(buckets)]
    table = pa.concat_tables(found, promote_options="permissive").select(schema.names).cast(schema)
    _refuse_twice(table)
    return table.sort_by([("athlete", "ascending"), (ROW, "ascending")])


def _refuse_twice(table: pa.Table) -> None:
    """Stop when a jump stands twice: mostly two studies whose athletes have the same ids."""
    if not set(JUMPS.key) <= set(table.column_names):
        return
    keys = table.select(["athlete", *JUMPS.key]).to_pandas()
    twice = keys[keys.duplicated() & keys["file"].notna() & (keys["file"] != "")]
    if len(twice):
        row = twice.iloc[0]
        raise StatsError(
            f"athlete {row['athlete']}: jump {row['jump']} of {row['file']} stands twice. Where athletes"
            ' of several studies share ids, tell them apart first: table.assign(athlete="north-" +'
            ' table["athlete"]).'
        )
