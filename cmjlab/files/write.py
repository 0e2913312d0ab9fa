"""Write a recording to a file that :func:`cmjlab.files.read.read_recording` reads back."""

from __future__ import annotations

import gzip
import math
from pathlib import Path

import numpy as np

from cmjlab.checks import number, one_of
from cmjlab.errors import ArgumentError
from cmjlab.recording import Recording


def write_recording(
    recording: Recording,
    path: str | Path,
    *,
    time: bool = True,
    delimiter: str = ",",
    decimal: str = ".",
    resolution_n: float = 0.1,
) -> Path:
    """Write the force of a recording; the ending of ``path`` chooses the format.

    Parameters
    ----------
    recording : Recording
        What to write.
    path : str or Path
        ``.csv`` or ``.txt`` (also with ``.gz`` behind).
    time : bool
        Write a time column; without it the reader must be told the rate.
    delimiter, decimal : str
        Column separator and decimal mark; they must differ.
    resolution_n : float
        Step to which the force is rounded, newtons.

    Returns
    -------
    Path
        The file written.
    """
    path = Path(path)
    text = _text(recording, time, delimiter, decimal, resolution_n)
    data = text.encode("utf-8")
    if path.suffix.lower() == ".gz":
        data = gzip.compress(data, mtime=0)
    path.write_bytes(data)
    return path


def _text(rec: Recording, time: bool, delimiter: str, decimal: str, resolution: float) -> str:
    one_of("decimal", decimal, (".", ","))
    if delimiter == decimal:
        raise ArgumentError(f"delimiter: found {delimiter!r}, which is the decimal mark too.")
    resolution = number("resolution_n", resolution, low=1e-9, high=100.0, unit="N")
    places = max(0, math.ceil(-math.log10(resolution) - 1e-9))
    force = np.round(rec.force_n / resolution) * resolution + 0.0
    columns = [[f"{v:.{places}f}" for v in column] for column in force.T.tolist()]
    names = [f"force_{p}_n" for p in rec.plates]
    if time:
        digits = next((d for d in range(3, 7) if _whole(10**d / rec.rate_hz)), 9)
        columns.insert(0, [f"{t:.{digits}f}" for t in rec.time_s.tolist()])
        names.insert(0, "time_s")
    rows = [delimiter.join(names)] + [delimiter.join(row) for row in zip(*columns, strict=True)]
    text = "\n".join(rows) + "\n"
    return text.replace(".", ",") if decimal == "," else text


def _whole(value: float) -> bool:
    return abs(value - round(value)) < 1e-9 * max(1.0, abs(value)) and value >= 0.5
