"""Recording: the vertical force of one stretch of time, in newtons, on one uniform clock."""

from __future__ import annotations

import copy
import dataclasses
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.checks import names, number, shown
from cmjlab.errors import ArgumentError
from cmjlab.upstairs import upstairs

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]
#: Fields of a Recording that say whose it is: nothing is computed from them.
_WITHOUT_CHECK = {"athlete", "session", "trial", "jump", "notes"}
_PLATE = re.compile(r"total|left|right|plate_[1-9][0-9]*")


def _as_floats(force: Any) -> FloatArray:
    """Return a copy as floats; what holds no real numbers is refused."""
    kind = getattr(force, "dtype", None)
    try:
        if isinstance(kind, np.dtype) and kind.kind not in "fiuO":
            raise TypeError(f"dtype {kind}")
        out = np.array(force, dtype=np.float64, copy=True, order="F")  # a plate lies in one piece
    except (TypeError, ValueError, OverflowError) as problem:
        raise ArgumentError(
            f"force_n: an array of numbers in newtons is needed, found {shown(force)} ({problem})."
        ) from None
    return out


@dataclass(frozen=True)
class ReadingNote:
    """An assumption or a finding of the reader: a code for programs, a text about this file."""

    code: str
    text: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Source:
    """Where a recording was read from."""

    file: str
    sha256: str = ""
    layout_key: str = ""


@dataclass(frozen=True, eq=False)
class Recording:
    """Vertical ground reaction force; pushing down on the plate is positive.

    Parameters
    ----------
    force_n : array_like, shape (n_samples,) or (n_samples, n_plates)
        Force in newtons; lost samples are nan. Kept as a read-only float64 array
        of shape (n_samples, n_plates).
    rate_hz : float
        Sampling rate in hertz.
    plates : tuple of str
        Names: "total", "left", "right", "plate_1", … one per column.
    athlete, session, trial : str, optional
        Ids, as text.
    jump : int
        Number of the jump within its file, from 1.
    start_s : float
        Time of the first sample on the file's own clock, seconds.
    source : Source, optional
        File, its SHA-256 and the key of the Layout used.
    notes : tuple of ReadingNote
        Every assumption made while reading.

    Attributes
    ----------
    total_n : ndarray, shape (n_samples,)
        Force on all plates in newtons, made from the others.

    Raises
    ------
    ArgumentError
        When shape, rate or plate names are not usable.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import numpy as np
    >>> still = cj.Recording(np.full(2000, 700.0), rate_hz=1000, athlete="A01")
    >>> still.duration_s
    2.0
    >>> still.plate("total")[:2].tolist(), still.replace(session="base1").session
    ([700.0, 700.0], 'base1')
    """

    force_n: FloatArray
    rate_hz: float
    plates: tuple[str, ...] = ("total",)
    athlete: str | None = field(default=None, kw_only=True)
    session: str | None = field(default=None, kw_only=True)
    trial: str | None = field(default=None, kw_only=True)
    jump: int = field(default=1, kw_only=True)
    start_s: float = field(default=0.0, kw_only=True)
    source: Source | None = field(default=None, kw_only=True)
    notes: tuple[ReadingNote, ...] = field(default=(), kw_only=True)
    total_n: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        force = _as_floats(self.force_n)
        if force.ndim == 1:
            force = force[:, None]
        if force.ndim != 2 or force.shape[1] < 1:
            raise ArgumentError(
                f"force_n: an array (samples,) or (samples, plates) is needed, found shape {force.shape}."
            )
        plates = tuple(names("plates", self.plates))
        wrong = [p for p in plates if not _PLATE.fullmatch(str(p))]
        if wrong or len(plates) != force.shape[1] or len(set(plates)) != len(plates):
            raise ArgumentError(
                f"plates: found {shown(plates)} for {force.shape[1]} column(s); one different name per"
                " column is needed, of total, left, right, plate_1, plate_2, …"
            )
        if not (self.source is None or isinstance(self.source, Source)):
            raise ArgumentError(f"source: a Source or None is needed, found {shown(self.source)}.")
        force.setflags(write=False)
        object.__setattr__(self, "force_n", force)
        object.__setattr__(self, "plates", plates)
        object.__setattr__(self, "start_s", number("start_s", self.start_s))
        object.__setattr__(self, "rate_hz", number("rate_hz", self.rate_hz, low=1e-3, high=1e6))
        object.__setattr__(self, "total_n", self._total(force, plates))

    @staticmethod
    def _total(force: FloatArray, plates: tuple[str, ...]) -> FloatArray:
        if "total" in plates:
            total = np.ascontiguousarray(force[:, plates.index("total")])
        else:
            total = force[:, 0].copy()
            for column in range(1, force.shape[1]):
                total += force[:, column]
        total.setflags(write=False)
        return total

    @property
    def n_samples(self) -> int:
        """Number of samples."""
        return int(self.force_n.shape[0])

    @property
    def duration_s(self) -> float:
        """Duration in seconds (samples divided by rate)."""
        return self.n_samples / self.rate_hz

    @property
    def time_s(self) -> FloatArray:
        """Time of every sample on the file's clock, seconds."""
        return self.start_s + np.arange(self.n_samples) / self.rate_hz

    def plate(self, name: str) -> FloatArray:
        """Return the force of one plate; KeyError when there is none of this name."""
        if name not in self.plates:
            raise KeyError(f"no plate {name!r}; plates are {', '.join(self.plates)}")
        return self.force_n[:, self.plates.index(name)]

    def replace(self, **changes: Any) -> Recording:
        """Return a copy with some fields changed."""
        if changes.keys() <= _WITHOUT_CHECK:
            out = copy.copy(self)  # arrays are read-only: both may hold the same
            for name, value in changes.items():
                object.__setattr__(out, name, value)
            return out
        kept = {f.name: getattr(self, f.name) for f in dataclasses.fields(self) if f.init}
        return Recording(**{**kept, **changes})

    def plot(self, *, ax: Axes | None = None) -> Figure:
        """Return the figure of the force over time, of every plate and their sum.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Axes of your own to draw in; default a figure of its own.

        Returns
        -------
        matplotlib.figure.Figure
            With an ``alt_text`` that says what it shows.

        Examples
        --------
        >>> import cmjlab as cj
        >>> cj.simulate_jump(seed=1).recording.plot().alt_text[:15]
        'Force over time'
        """
        return upstairs("plot_recording")(self, ax=ax)  # type: ignore[no-any-return]

    def __repr__(self) -> str:
        return upstairs("text_of")(self)  # type: ignore[no-any-return]

    def _repr_html_(self) -> str:
        return upstairs("html_of")(self)  # type: ignore[no-any-return]
