"""Tables that people keep: read from .csv of any dialect or .xlsx, written safely."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

from cmjlab.errors import ReadError

if TYPE_CHECKING:
    import pandas as pd

    from cmjlab.tables import Table


def read_table(path: str | Path, table: Table | None = None) -> pd.DataFrame:
    """Read a table; every cell stays text unless ``table`` says it is a number.

    Parameters
    ----------
    path : str or Path
        ``.csv`` (any dialect) or ``.xlsx``.
    table : Table, optional
        Declared columns; gives the dtypes.

    Returns
    -------
    pandas.DataFrame

    Raises
    ------
    ReadError
        When the file is missing or no table.
    """
    import pandas as pd

    path = Path(path)
    try:
        if path.suffix.lower() == ".xlsx":
            frame = pd.read_excel(path, dtype=str, keep_default_na=False)
        else:
            data = path.read_bytes()
            codec = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
            try:
                text = data.decode(codec)
            except UnicodeDecodeError:
                text = data.decode("cp1252", errors="replace")
            head = text.split("\n", 1)[0]
            mark = max((",", ";", "\t"), key=head.count)
            frame = pd.read_csv(io.StringIO(text), sep=mark, dtype=str, keep_default_na=False)
    except (OSError, ValueError) as error:
        raise ReadError(f"{path.name}: the table cannot be read ({error}).") from error
    frame.columns = [str(c).strip() for c in frame.columns]
    frame = frame.map(lambda v: v.strip() if isinstance(v, str) else v)
    if table is None:
        return frame
    return table.cast(frame.replace("", pd.NA))


def write_table(frame: pd.DataFrame, path: str | Path) -> Path:
    """Write a table as .csv (UTF-8 with a mark that spreadsheets know)."""
    path = Path(path)
    frame.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")
    return path
