"""Write a recording to a file that :func:`cmjlab.files.read.read_recording` reads back."""

from __future__ import annotations

import gzip
import io
import math
import warnings
from pathlib import Path
from typing import Any

import numpy as np

from cmjlab.checks import number, one_of
from cmjlab.delimiters import marks
from cmjlab.errors import ArgumentError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.recording import Recording

_ENDINGS = (".csv", ".txt", ".csv.gz", ".txt.gz", ".parquet", ".c3d")


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

    The same recording gives the same bytes every time. Athlete, session, trial and notes are
    not written: a study keeps them in file names and tables.

    Parameters
    ----------
    recording : Recording
        What to write.
    path : str or Path
        ``.csv`` or ``.txt`` (also with ``.gz`` behind), ``.parquet`` or ``.c3d``.
    time : bool
        Write a time column (text and Parquet). A text file without one does not hold the
        rate: the reader must be told it. Parquet keeps the rate in its metadata.
    delimiter, decimal : str
        Column separator and decimal mark of a text file; they must differ.
    resolution_n : float
        Step to which a text file's force is rounded, newtons. Parquet keeps every digit,
        C3D stores 32-bit floats (about 7 digits).

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    ArgumentError
        When an argument is not usable or the ending is not one of these.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = cj.write_recording(cj.simulate_jump(seed=1).recording, Path(folder) / "jump.csv")
    ...     path.read_text().splitlines()[0]
    'time_s,force_left_n,force_right_n'
    """
    path = Path(path)
    low = path.name.lower()
    if low.endswith(".parquet"):
        data = _parquet(recording, time=time)
    elif low.endswith(".c3d"):
        data = _c3d(recording)
    elif low.endswith(_ENDINGS):
        data = _text(recording, time, delimiter, decimal, resolution_n).encode("utf-8")
        if low.endswith(".gz"):
            data = gzip.compress(data, compresslevel=6, mtime=0)
    else:
        raise ArgumentError(
            f"path: the ending of {path.name!r} is not known; use one of {', '.join(_ENDINGS)}."
        )
    atomic_write(path, data)
    return path


def _text(rec: Recording, time: bool, delimiter: str, decimal: str, resolution: float) -> str:
    one_of("decimal", decimal, (".", ","))
    one_of("delimiter", delimiter, [mark for mark in marks() if mark])
    if delimiter == decimal:
        raise ArgumentError(
            f"delimiter: found {delimiter!r}, which is the decimal mark too; write delimiter=';'."
        )
    resolution = number("resolution_n", resolution, low=1e-9, high=100.0, unit="N")
    places = _places(resolution)
    force = np.round(rec.force_n / resolution) * resolution + 0.0
    pattern = f"%.{places}f"
    columns = [[pattern % v for v in column] for column in force.T.tolist()]
    names = [f"force_{p}_n" for p in rec.plates]
    if time:
        stamp = f"%.{_time_places(rec)}f"
        columns.insert(0, [stamp % t for t in rec.time_s.tolist()])
        names.insert(0, "time_s")
    rows = [delimiter.join(row) for row in zip(*columns, strict=True)]
    text = "\n".join(rows) + "\n"
    if decimal == ",":
        text = text.replace(".", ",")
    return delimiter.join(names) + "\n" + text


def _places(resolution: float) -> int:
    """Return the decimals that print a multiple of the resolution without loss."""
    return next((d for d in range(10) if _whole(resolution * 10**d)), 9)


def _time_places(rec: Recording) -> int:
    """Return the decimals that print every time exactly, or 9 when none do."""
    for digits in range(3, 9):
        if _whole(10**digits / rec.rate_hz) and (
            rec.start_s == 0 or _whole(rec.start_s * 10**digits)
        ):
            return digits
    return 9


def _whole(value: float) -> bool:
    value = abs(value)
    return value >= 0.5 and abs(value - round(value)) < 1e-9 * max(1.0, value)


def _parquet(rec: Recording, *, time: bool) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    from cmjlab.files.parquet import RATE_KEY, START_KEY

    columns = {f"force_{p}_n": rec.force_n[:, k] for k, p in enumerate(rec.plates)}
    if time:
        columns = {"time_s": rec.time_s, **columns}
    table = pa.table(columns).replace_schema_metadata(
        {RATE_KEY: repr(rec.rate_hz).encode(), START_KEY: repr(rec.start_s).encode()}
    )
    buffer = io.BytesIO()
    pq.write_table(table, buffer, compression="zstd")
    return buffer.getvalue()


def _c3d(rec: Recording) -> bytes:
    """Return a C3D file: one force platform of type 2 per plate, one sample per frame.

    A recording with a total beside its parts is written as plain channels without platforms,
    since platforms are understood as adding up.
    """
    import c3d

    first = round(rec.start_s * rec.rate_hz) + 1
    if not math.isfinite(rec.start_s) or first < 1:
        raise ArgumentError(f"start_s: a C3D file cannot start at {rec.start_s:g} s.")
    platforms = "total" not in rec.plates or len(rec.plates) == 1
    kinds = ("Fx", "Fy", "Fz", "Mx", "My", "Mz") if platforms else ("Fz",)
    labels = [f"{kind}_{plate}" for plate in rec.plates for kind in kinds]
    units = [unit for _ in rec.plates for unit in ("N", "N", "N", "Nmm", "Nmm", "Nmm")]
    analog = np.zeros((rec.n_samples, len(labels)))
    analog[:, kinds.index("Fz") :: len(kinds)] = rec.force_n
    writer = c3d.Writer(point_rate=rec.rate_hz, analog_rate=rec.rate_hz)
    writer.set_start_frame(first)
    writer.set_analog_labels(labels)
    writer.set_analog_scales(np.ones(len(labels)))
    writer.set_analog_offsets(np.zeros(len(labels)))
    group = writer.analog_group
    group.add_str("UNITS", "Units of the channels.", _packed(units, len(labels)), 4, len(labels))
    if platforms:
        _add_platforms(writer, len(rec.plates))
    none = np.zeros((0, 5))
    writer._frames = [(none, row[:, None]) for row in analog]
    buffer = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # "no point data": a force recording has none
        writer.write(buffer)
    return buffer.getvalue()


def _packed(units: list[str], count: int) -> str:
    return "".join(u.ljust(4) for u in (units if len(units) == count else ["N"] * count))


def _add_platforms(writer: Any, count: int) -> None:
    """Declare force platforms side by side, x to the right, z up, 0.4 m × 0.6 m."""
    group = writer.get_create("FORCE_PLATFORM")
    channels = np.arange(1, 6 * count + 1)
    corners = np.zeros((count, 4, 3))
    for k in range(count):
        left, right = 400.0 * k, 400.0 * (k + 1)
        corners[k] = [[right, 600, 0], [left, 600, 0], [left, 0, 0], [right, 0, 0]]
    # Dimensions with the first index fastest, as the format stores them.
    group.set("USED", "Number of platforms", 2, "<h", count)
    for name, about, values, shape in (
        ("TYPE", "Type of each platform", np.full(count, 2), (count,)),
        ("ZERO", "Frames for zeroing: none", np.array([1, 0]), (2,)),
        ("CHANNEL", "Channels of each platform", channels, (6, count)),
    ):
        group.add(name, about, 2, "", values.astype("<i2").tobytes(), *shape)
    for name, about, floats, dims in (
        ("CORNERS", "Corners, mm", corners, (3, 4, count)),
        ("ORIGIN", "Origin of the sensors, mm", np.zeros((count, 3)), (3, count)),
    ):
        group.add(name, about, 4, "", floats.astype("<f4").tobytes(), *dims)
