"""Files of a data set of jumps: which athlete lies in which, how one is written and read.

Every athlete belongs to one of 256 buckets, by a checksum of the id alone; a file holds all jumps
of some buckets in a row, sorted by athlete, and its name says which. So one file always holds
whole athletes, one athlete is found without looking for it, and a file that is missing, or came
from elsewhere, leaves a gap or an overlap in the numbers. The name carries a checksum of the file's
end, which says where everything lies, and every page of values one of its own: a changed byte is
found when it is read, without reading the rest.
"""

from __future__ import annotations

import io
import os
import re
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.errors import StudyError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.bounds import refuse_inflated
from cmjlab.safe_open import open_file
from cmjlab.study.dataset.columns import ROW, Kind, from_metadata

#: Buckets of athletes; a data set of 100 million jumps has 400,000 in each.
BUCKETS = 256
#: Jumps in a group of rows: few enough that the jumps of one athlete are read quickly.
_ROWS_IN_GROUP = 4096
#: Bytes of length and mark at the end of a Parquet file.
_MARK = 8
_NAME = re.compile(r"athletes-(\d{3})-(\d{3})-([0-9a-f]{8})\.parquet")


@dataclass(frozen=True)
class Part:
    """One file, the first and last bucket of athletes in it, and the checksum of its end."""

    path: Path
    first: int
    last: int
    checksum: str


def bucket_of(athlete: str) -> int:
    """Return the bucket of an athlete: the same on every computer, for ever."""
    return zlib.crc32(athlete.encode("utf-8", "surrogatepass")) % BUCKETS


def buckets_of(athletes: pd.Series) -> NDArray[np.intp]:
    """Return the bucket of every row."""
    codes, ids = pd.factorize(athletes)
    return np.array([bucket_of(str(each)) for each in ids], dtype=np.intp)[codes]


def find_parts(folder: Path) -> list[Part]:
    """Return the files of a data set in order.

    Raises
    ------
    StudyError
        This is no data set, or a file is missing or does not belong to it.
    """
    parts = []
    for path in sorted(folder.glob("*.parquet")):
        name = _NAME.fullmatch(path.name)
        if name is None:
            raise StudyError(f"{folder.name}: {path.name} is no part of a data set; remove it.")
        parts.append(Part(path, int(name[1]), int(name[2]), name[3]))
    if not parts:
        raise StudyError(
            f"{folder.name}: no data set of jumps is there; JumpsDataset.write makes one."
        )
    ends = [-1, *(p.last for p in parts)]
    if (
        any(p.first != end + 1 for p, end in zip(parts, ends, strict=False))
        or ends[-1] != BUCKETS - 1
    ):
        raise StudyError(
            f"{folder.name}: files of the data set are missing, or files of another lie among them;"
            " copy it again, whole."
        )
    return parts


def write_part(table: Any, folder: Path, first: int, last: int) -> None:
    """Write the jumps of some buckets: whole numbers and texts packed by value, reals by bytes."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    reals = [f.name for f in table.schema if pa.types.is_floating(f.type)]
    others = [f.name for f in table.schema if not pa.types.is_floating(f.type)]
    buffer = io.BytesIO()
    pq.write_table(
        table, buffer, row_group_size=_ROWS_IN_GROUP, compression="zstd", use_dictionary=others,
        use_byte_stream_split=reals, write_page_checksum=True,
    )  # fmt: skip
    name = f"athletes-{first:03d}-{last:03d}-{_checksum_of_end(buffer)}.parquet"
    atomic_write(folder / name, buffer.getvalue())


def _checksum_of_end(file: BinaryIO) -> str:
    """Return the checksum of the footer of a Parquet file: its length stands before the last mark."""
    size = file.seek(0, os.SEEK_END)
    file.seek(max(size - _MARK, 0))
    length = int.from_bytes(file.read(4), "little") + _MARK
    if length > size:
        raise ValueError("it ends too early")
    file.seek(size - length)
    return f"{zlib.crc32(file.read(length)):08x}"


@contextmanager
def opened(part: Part) -> Iterator[Any]:
    """Open a part; whatever is wrong with it is told as one error.

    Raises
    ------
    StudyError
        It is damaged, unpacks to far more than it has bytes, or is no part of a data set.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with open_file(part.path) as handle:
            if _checksum_of_end(handle) != part.checksum:
                raise ValueError("its bytes are not those that were written")
            file = pq.ParquetFile(handle, page_checksum_verification=True)
            said = file.metadata
            unpacked = sum(said.row_group(i).total_byte_size for i in range(said.num_row_groups))
            refuse_inflated(part.path.name, os.fstat(handle.fileno()).st_size, unpacked)
            yield file
    except (OSError, pa.ArrowException, ValueError, TypeError, KeyError) as error:
        raise StudyError(
            f"{part.path.name}: this part of the data set cannot be read"
            f" ({' '.join(str(error).split())[:120]}). Copy the data set again, or write it anew."
        ) from error


def kinds_of(part: Part) -> tuple[dict[str, Kind], int]:
    """Return the columns that a part says it has, and its number of jumps."""
    with opened(part) as file:
        return from_metadata(file.schema_arrow.metadata), int(file.metadata.num_rows)


def read_part(
    part: Part,
    kinds: dict[str, Kind],
    columns: Sequence[str],
    athletes: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Return jumps of a part with their place among all (column :data:`ROW`).

    Parameters
    ----------
    part : Part
    kinds : dict of str to Kind
        Of the data set.
    columns : sequence of str
    athletes : sequence of str, optional
        Only the jumps of these.
    """
    import pyarrow.compute as pc

    with opened(part) as file:
        if from_metadata(file.schema_arrow.metadata) != kinds:
            raise ValueError("it belongs to another data set")
        table = file.read(columns=[*columns, ROW])
        if athletes is not None:
            table = table.filter(pc.is_in(table["athlete"], value_set=_texts(athletes, table)))
        frame = table.to_pandas(split_blocks=True, self_destruct=True, ignore_metadata=True)
        for name in columns:
            frame[name] = kinds[name].of(frame[name])
    return frame[[*columns, ROW]]


def _texts(values: Sequence[str], table: Any) -> Any:
    import pyarrow as pa

    return pa.array(list(values), type=table.schema.field("athlete").type)
