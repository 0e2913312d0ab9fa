"""Jumps that need not fit into memory: written once, summarised file by file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from os import PathLike
from pathlib import Path

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.catalog import METRICS
from cmjlab.checks import suggestion
from cmjlab.errors import ArgumentError
from cmjlab.stats.common.loads import at_one_load, chosen_load
from cmjlab.study.dataset.columns import ROW, Kind
from cmjlab.study.dataset.parts import Part, bucket_of, find_parts, kinds_of, read_part
from cmjlab.study.dataset.write import write_dataset
from cmjlab.study.summarise import BEST_BY, CARRIED, NOT_VALUES, summarise_sessions

_KEYS = ("athlete", "session")
#: Columns of a jump besides its values that decide what is summarised.
_DECIDE = (*_KEYS, "accepted", "load_kg")


class JumpsDataset:
    """A Parquet data set of jumps, each athlete's side by side, that is read a part at a time.

    :meth:`write` makes one of any number of jumps tables, :meth:`open` opens it.
    Its :meth:`sessions_table` is what the statistics take.

    Attributes
    ----------
    folder : Path
        Where it lies; any program that reads Parquet can read it, too.
    columns : tuple of str
        Columns of the jumps.
    n_jumps : int
        How many jumps there are.

    Examples
    --------
    >>> import tempfile
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study(mini=True))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     jumps = cj.JumpsDataset.write([study.measure()], folder)
    ...     sessions = jumps.sessions_table()
    ...     again = cj.JumpsDataset.open(folder)
    >>> jumps.n_jumps == again.n_jumps == len(study.measure())
    True
    >>> cj.reliability(sessions, "jump_height_m").kind
    'reliability'
    """

    def __init__(self, folder: Path, parts: Sequence[Part], kinds: dict[str, Kind], n_jumps: int):
        self.folder = folder
        self.columns = tuple(kinds)
        self.n_jumps = n_jumps
        self._parts = tuple(parts)
        self._kinds = kinds

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.folder.name!r}, n_jumps={self.n_jumps})"

    @classmethod
    def write(
        cls, tables: pd.DataFrame | Iterable[pd.DataFrame], folder: str | PathLike[str]
    ) -> JumpsDataset:
        """Write jumps tables as a data set and open it.

        Parameters
        ----------
        tables : pandas.DataFrame, or iterable of them
            Jumps tables, one row per jump with athlete and session, e.g. ``Study.measure()`` of one
            study after the other by a generator: no two of them are held at the same time. Athletes
            of different studies need different ids.
        folder : path
            A new or empty folder.

        Returns
        -------
        JumpsDataset

        Raises
        ------
        StatsError
            A table is no jumps table, a jump stands twice, or tables do not fit together.
        StudyError
            The folder holds something, or cannot be written.
        """
        place = Path(folder)
        write_dataset(tables, place)
        return cls.open(place)

    @classmethod
    def open(cls, folder: str | PathLike[str]) -> JumpsDataset:
        """Open a data set.

        Parameters
        ----------
        folder : path

        Returns
        -------
        JumpsDataset

        Raises
        ------
        StudyError
            It is none, is damaged, or a file of it is missing.
        """
        parts = find_parts(Path(folder))
        found = [kinds_of(part) for part in parts]
        return cls(Path(folder), parts, found[0][0], sum(rows for _, rows in found))

    def batches(self, metrics: str | Sequence[str] | None = None) -> Iterator[pd.DataFrame]:
        """Yield the jumps part by part, every athlete whole.

        Parameters
        ----------
        metrics : str or sequence of str, optional
            Metrics to read beside what is no metric; default all.

        Yields
        ------
        pandas.DataFrame
            Some thousand jumps in the dtypes in which they were written.
        """
        columns = self._with(metrics)
        for part in self._parts:
            frame = read_part(part, self._kinds, columns)
            if len(frame):
                yield frame.drop(columns=ROW)

    def jumps(
        self,
        metrics: str | Sequence[str] | None = None,
        *,
        athletes: str | Sequence[str] | None = None,
    ) -> pd.DataFrame:
        """Return jumps as one table, in the order in which they were written.

        Parameters
        ----------
        metrics : str or sequence of str, optional
            Metrics to read beside what is no metric; default all.
        athletes : str or sequence of str, optional
            Only the jumps of these; only the files that hold them are read. Default everybody.

        Returns
        -------
        pandas.DataFrame

        Raises
        ------
        ArgumentError
            There is no such metric or athlete.
        """
        columns = self._with(metrics)
        wanted = None if athletes is None else checks.names("athletes", athletes)
        at = None if wanted is None else [bucket_of(a) for a in wanted]
        frames = [
            read_part(part, self._kinds, columns, wanted)
            for part in self._parts
            if at is None or any(part.first <= b <= part.last for b in at)
        ]
        table = pd.concat(frames, ignore_index=True)
        missing = [a for a in wanted or () if not (table["athlete"] == a).any()]
        if missing:
            raise ArgumentError(f"athletes: there is no {missing[0]!r} in {self.folder.name}.")
        return table.sort_values(ROW, ignore_index=True).drop(columns=ROW)

    def sessions_table(
        self,
        how: str = "mean",
        *,
        metrics: str | Sequence[str] | None = None,
        jumps_wanted: int = 3,
        best_n: int = 2,
        load_kg: float | None = None,
    ) -> pd.DataFrame:
        """Return one row per athlete and session, as :func:`cmjlab.summarise_sessions` does.

        The numbers and their order are those of that function for all jumps in one table; only
        the sessions have to fit into memory.

        Parameters
        ----------
        how : str
            "mean", "median", "best" or "best_n_mean".
        metrics : str or sequence of str, optional
            Metrics to summarise; default all, and numbers of the user's own. The best jumps are
            known by their height, which is then summarised too.
        jumps_wanted : int
            Jumps wanted per athlete and session.
        best_n : int
            Jumps used by "best_n_mean".
        load_kg : float, optional
            Load in kg of the jumps to summarise; default: jumps without load, or the only load
            there is.

        Returns
        -------
        pandas.DataFrame
            Sessions table.

        Raises
        ------
        StatsError
            Several loads are there and none is asked for, or there is no height for the best.
        ArgumentError
            There is no such metric, or ``how`` is not one of the four.
        """
        columns = self._summarised(metrics, best=how in ("best", "best_n_mean"))
        load = chosen_load(self._loads(), load_kg)
        parts: list[pd.DataFrame] = []
        places: list[np.ndarray] = []
        for part in self._parts:
            frame = read_part(part, self._kinds, columns)
            jumps = frame.drop(columns=ROW)
            summary = summarise_sessions(
                jumps, how, jumps_wanted=jumps_wanted, best_n=best_n, load_kg=load
            )
            if len(summary) or (not parts and part is self._parts[-1]):
                parts.append(summary)
                places.append(_first_rows(frame, load))
        table = pd.concat(parts, ignore_index=True)
        parts.clear()
        return table.take(np.argsort(np.concatenate(places))).reset_index(drop=True)

    def _loads(self) -> list[float]:
        """Return the different loads of all jumps; 0 where none is stated."""
        if "load_kg" not in self.columns:
            return [0.0]
        found: set[float] = set()
        for part in self._parts:
            loads = read_part(part, self._kinds, ["load_kg"])["load_kg"]
            found |= set(loads.astype("float64").fillna(0.0).unique().tolist())
        return sorted(found)

    def _wanted(self, metrics: str | Sequence[str] | None) -> list[str] | None:
        if metrics is None:
            return None
        wanted = checks.names("metrics", metrics)
        for name in wanted:
            if name not in self.columns:
                raise ArgumentError(
                    f"metrics: there is no {name!r} in {self.folder.name}.{suggestion(name, self.columns)}"
                )
        return wanted

    def _with(self, metrics: str | Sequence[str] | None) -> list[str]:
        """Return the columns that are no metrics, and the metrics wanted."""
        wanted = self._wanted(metrics)
        return [c for c in self.columns if wanted is None or c not in METRICS or c in wanted]

    def _summarised(self, metrics: str | Sequence[str] | None, *, best: bool) -> list[str]:
        """Return the columns that a summary needs."""
        wanted = self._wanted(metrics)
        if wanted is None:
            wanted = [c for c in self.columns if c in METRICS or c not in NOT_VALUES]
        kept = {*wanted, *_DECIDE, *CARRIED, *([BEST_BY] if best else [])}
        return [c for c in self.columns if c in kept]


def _first_rows(frame: pd.DataFrame, load_kg: float) -> np.ndarray:
    """Return the place of the first jump of every athlete and session, in the order of a summary."""
    there = [c for c in (*_KEYS, "load_kg", ROW) if c in frame]
    used = at_one_load(frame[there], load_kg).dropna(subset=list(_KEYS))
    return used.drop_duplicates(list(_KEYS))[ROW].to_numpy()
