"""Read a Parquet file: its columns by name, its rate from its metadata when written there."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from cmjlab.errors import ReadError
from cmjlab.files.bounds import refuse_inflated
from cmjlab.files.columns import BadCell, Columns

#: Keys of the file's metadata that :func:`cmjlab.files.write.write_recording` writes.
RATE_KEY, START_KEY = b"cmjlab.rate_hz", b"cmjlab.start_s"
#: Numbers of a recording: eight channels at 1000 Hz for twenty minutes are as many.
_MOST_VALUES = 10_000_000


def read_parquet(name: str, data: bytes) -> Columns:
    """Return the columns of a Parquet file.

    Parameters
    ----------
    name : str
        File name for messages.
    data : bytes
        The file.

    Raises
    ------
    ReadError
        When it is damaged or holds no numbers.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        _refuse_large(name, data, pq.ParquetFile(io.BytesIO(data)).metadata)
        table = pq.read_table(io.BytesIO(data))
        names = [str(n) for n in table.column_names]
        values = []
        for column in table.columns:
            kind = column.type
            if pa.types.is_timestamp(kind) or pa.types.is_duration(kind):
                whole = column.cast(pa.int64()).to_numpy().astype(np.float64)
                values.append(whole * {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}[kind.unit])
            elif pa.types.is_integer(kind) or pa.types.is_floating(kind):
                values.append(column.to_numpy().astype(np.float64))
            else:
                values.append(None)
        metadata = dict(table.schema.metadata or {})
    except ReadError:
        raise
    except Exception as error:  # damage shows in many ways, from OSError to UnicodeDecodeError
        raise ReadError(
            f"{name}: the Parquet file cannot be read ({' '.join(str(error).split())[:120]}). Copy it"
            " again."
        ) from error
    if all(v is None for v in values):
        raise ReadError(f"{name}: the Parquet file has no column of numbers.")
    columns = Columns(name, names, values, facts={"kind": "parquet"})
    for i, column_values in enumerate(values):
        if column_values is not None:
            rows = np.flatnonzero(~np.isfinite(column_values)).tolist()
            columns.bad[i] = [BadCell(r, r + 1, "nan") for r in rows]
    columns.rate_hz, columns.start_s = _metadata(metadata)
    return columns


def _refuse_large(name: str, data: bytes, said: Any) -> None:
    """Stop when a few bytes stand for very many numbers, or for long texts."""
    groups = [said.row_group(i) for i in range(said.num_row_groups)]
    refuse_inflated(name, len(data), sum(g.total_byte_size for g in groups))
    values = said.num_rows * said.num_columns
    if values > _MOST_VALUES:
        raise ReadError(
            f"{name}: {said.num_rows} rows of {said.num_columns} columns are more than the"
            f" {_MOST_VALUES} numbers that are read. Cut the file into single recordings."
        )


def _metadata(metadata: dict[bytes, bytes]) -> tuple[float, float]:
    """Return rate and start as written by cmjlab, 0 where there are none."""
    try:
        return float(metadata.get(RATE_KEY, b"0")), float(metadata.get(START_KEY, b"0"))
    except ValueError:
        return 0.0, 0.0
