"""Read a force recording from a file."""

from __future__ import annotations

import gzip
import hashlib
import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cmjlab.errors import ReadError
from cmjlab.layout import Layout
from cmjlab.recording import Recording, Source
from cmjlab.results import Note

FloatArray = NDArray[np.float64]
_RATE_HELP = (
    "Give the rate: `--rate 1000` on the command line, rate_hz=1000 in Python,"
    " or rate_hz = 1000 under [[layout]] in study.toml"
)


def read_recording(
    path: str | Path, *, layout: Layout | None = None, rate_hz: float | None = None
) -> Recording:
    """Read the vertical force of one file.

    Parameters
    ----------
    path : str or Path
        The file.
    layout : Layout, optional
        What a person states about the file; nothing: found out and noted.
    rate_hz : float, optional
        Sampling rate in hertz; needed when the file has no usable time column.

    Returns
    -------
    Recording
        Force in newtons on one uniform clock, with a note for every assumption.

    Raises
    ------
    ReadError
        When the file is not usable, or can be read in two ways.
    """
    path = Path(path)
    layout = layout or Layout()
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ReadError(f"{path.name}: the file cannot be opened ({error.strerror}).") from error
    source = Source(str(path), hashlib.sha256(data).hexdigest(), layout.key)
    if data[:2] == b"\x1f\x8b":
        data = gzip.decompress(data)
    names, columns = _columns(path.name, data.decode("utf-8-sig", errors="replace"))
    return _recording(path.name, names, columns, rate_hz or layout.rate_hz or None, source)


def _columns(name: str, text: str) -> tuple[list[str], FloatArray]:
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise ReadError(f"{name}: the file is empty.")
    probe = lines[-1]
    delimiter = next((d for d in ("\t", ";") if d in probe), None)
    comma_decimal = delimiter == ";" and "," in probe
    if delimiter is None and "," in probe:
        delimiter = ","
    rows, header = [], ""
    for line in lines:
        cells = [c.strip() for c in line.strip().split(delimiter)]
        if comma_decimal:
            cells = [c.replace(",", ".") for c in cells]
        try:
            rows.append([float(c) for c in cells])
        except ValueError as error:
            if rows:
                raise ReadError(f"{name}: line {line!r} holds no numbers.") from error
            header = line
    if len(rows) < 5:
        raise ReadError(f"{name}: {len(rows)} rows of numbers found; a recording has hundreds.")
    width = len(rows[0])
    names = [c.strip() for c in header.split(delimiter)] if header else []
    if len(names) != width:
        names = [f"column {i + 1}" for i in range(width)]
    return names, np.array(rows)


def _recording(
    name: str, names: list[str], columns: FloatArray, rate: float | None, source: Source
) -> Recording:
    notes: list[Note] = []
    time = None
    if columns.shape[1] > 1:
        first, step = columns[:, 0], np.diff(columns[:, 0])
        if np.all(step > 0):
            columns, names = columns[:, 1:], names[1:]
            if not np.allclose(step, 1.0):
                time = first
    start = 0.0
    if time is not None:
        start = float(time[0])
        found = (len(time) - 1) / (time[-1] - time[0])
        rate = float(round(found)) if abs(found - round(found)) < 1e-3 * found else float(found)
    if rate is None:
        raise ReadError(f"{name}: the file does not say the sampling rate. {_RATE_HELP}.")
    total = columns.sum(axis=1)
    if np.median(total) < 0:
        columns = -columns
        notes.append(
            Note("sign_reversed", "The force is negative in the file; its sign was reversed.")
        )
    plates = tuple(_plate(n, i, len(names)) for i, n in enumerate(names))
    return Recording(columns, rate, plates, start_s=start, source=source, notes=tuple(notes))


def _plate(name: str, index: int, count: int) -> str:
    for word in ("left", "right", "total"):
        if re.search(word, name.lower()):
            return word
    return "total" if count == 1 else f"plate_{index + 1}"
