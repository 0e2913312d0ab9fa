"""Read a force recording from a file: text of any dialect, C3D, .xlsx or Parquet."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from cmjlab.checks import number
from cmjlab.errors import ArgumentError, ReadError
from cmjlab.files.clock import find_clock
from cmjlab.files.columns import Columns, FloatArray
from cmjlab.files.contents import Contents, load
from cmjlab.files.even_grid import Clock
from cmjlab.files.fast import read_fast
from cmjlab.files.force import force_matrix, join_plates
from cmjlab.files.force_columns import assign_force
from cmjlab.files.roles import read_headings
from cmjlab.files.time_column import assign_time
from cmjlab.layout import Layout
from cmjlab.recording import Recording, Source

#: Fewer rows than this are no recording at all (a jump needs hundreds).
_FEWEST_ROWS = 5
_NOTHING_STATED = Layout()


def read_recording(
    path: str | Path, *, layout: Layout | None = None, rate_hz: float | None = None
) -> Recording:
    """Read the vertical force of one file.

    Parameters
    ----------
    path : str or Path
        Text (any separator, decimal mark, header, encoding), ``.c3d``, ``.xlsx`` or
        ``.parquet``; text also packed as ``.gz`` or as a ``.zip`` of one file.
    layout : Layout, optional
        What a person states about the file; what it leaves open is found out and noted.
    rate_hz : float, optional
        Sampling rate in hertz, for files that do not say it.

    Returns
    -------
    Recording
        Force in newtons, pushing down positive, on one uniform clock. Lost samples are nan;
        nothing is resampled. ``notes`` names every assumption
        (codes: ``cmjlab.files.notes.NOTE_CODES``).

    Raises
    ------
    ReadError
        When the file is not usable, or two readings are possible; the text says what to do.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "jump.csv"
    ...     _ = cj.write_recording(cj.simulate_jump(seed=1).recording, path)
    ...     cj.read_recording(path).rate_hz
    1000.0
    """
    if rate_hz is not None:
        rate_hz = number("rate_hz", rate_hz, low=1.0, high=1e6, unit="Hz")
    path = Path(path)
    contents = load(path, limit_mb=(layout or _NOTHING_STATED).size_limit_mb)
    return recording_of(contents, layout, rate_hz)


def recording_of(
    contents: Contents, layout: Layout | None = None, rate_hz: float | None = None
) -> Recording:
    """Return the recording in a file's contents."""
    columns = read_columns(contents, layout or _NOTHING_STATED)
    return build(contents, columns, layout, rate_hz)


def read_columns(contents: Contents, layout: Layout) -> Columns:
    """Return the columns of a file, whatever its kind."""
    if contents.kind == "c3d":
        from cmjlab.files.c3d_file import read_c3d

        return read_c3d(contents.name, contents.data, layout)
    if contents.kind == "parquet":
        from cmjlab.files.parquet import read_parquet

        return read_parquet(contents.name, contents.data)
    if contents.kind == "xlsx":
        from cmjlab.files.sheet import read_sheet

        return read_sheet(contents.name, contents.data, layout)
    columns = read_fast(contents.name, contents.data, layout)
    if columns is not None:
        return columns
    from cmjlab.files.delimited import read_delimited
    from cmjlab.files.text import decode

    return read_delimited(
        contents.name, decode(contents.name, contents.data, layout.encoding), layout
    )


def build(
    contents: Contents, columns: Columns, layout: Layout | None, rate_hz: float | None
) -> Recording:
    """Give the columns their meaning and build the recording."""
    stated = layout or _NOTHING_STATED
    refuse_few_rows(columns)
    roles = read_headings(columns)
    assign_time(columns, stated, roles)
    assign_force(columns, stated, roles)
    clock = find_clock(columns, roles, stated, rate_hz)
    force, notes = force_matrix(columns, roles, stated)
    force = on_grid(force, clock)
    force, plates = join_plates(columns.file, force, roles.plates, stated, notes)
    source = Source(str(contents.path), contents.sha256, layout.key if layout else "")
    try:
        return Recording(
            force,
            clock.rate_hz,
            tuple(plates),
            start_s=clock.start_s,
            source=source,
            notes=(*columns.notes, *roles.notes, *clock.notes, *notes),
        )
    except ArgumentError as error:
        raise ReadError(f"{columns.file}: {error}") from error


def refuse_few_rows(columns: Columns) -> None:
    """Stop when there are too few rows for any recording."""
    if columns.n_rows < _FEWEST_ROWS:
        raise ReadError(
            f"{columns.file}: only {columns.n_rows} row(s) of numbers were found; a recording of a"
            " jump has hundreds. Export it again."
        )


def on_grid(force: FloatArray, clock: Clock) -> FloatArray:
    """Return the force on the uniform clock, nan where samples are lost."""
    if clock.index is None:
        return force
    kept = force if clock.rows is None else force[clock.rows]
    grid = np.full((clock.n_samples, force.shape[1]), np.nan)
    grid[clock.index] = kept
    return grid
