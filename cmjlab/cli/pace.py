"""How far a long command is: a bar in a terminal, a line a minute where nobody watches."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

from cmjlab.cli.say import line, visible

#: A line this often where there is no terminal: a night's run tells its log how far it is.
EVERY_S = 60.0
#: What has fewer steps is over before a pace means anything.
_FEW = 50


class Pace:
    """Steps a second and time left, from the first step on (starting up is not part of the pace).

    Parameters
    ----------
    clock : callable
        Returns seconds.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._begun: tuple[int, float] | None = None

    def words(self, done: int, total: int) -> str:
        """Return "380 a second, 49 s left", "" as long as nobody can say."""
        now = self._clock()
        if self._begun is None:
            self._begun = (done, now)
        first, begun = self._begun
        if total < _FEW or done == first or now <= begun:
            return ""
        rate = (done - first) / (now - begun)
        return f"{rate:.3g} a second, {duration((total - done) / rate)} left"


def duration(seconds: float) -> str:
    """Return a time as "49 s", "12 min" or "3 h 20 min"."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"


@contextlib.contextmanager
def progress(what: str) -> Iterator[Callable[[Any], None]]:
    """Tell how far the work is from the library's callbacks, with pace and time left."""
    pace = Pace()
    if not sys.stderr.isatty():
        yield _lines(what, pace)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[pace]}", markup=False),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None, pace="")

        def step(state: Any) -> None:
            told = pace.words(state.done, state.total)
            bar.update(
                task,
                completed=state.done,
                total=state.total,
                description=visible(state.what),
                pace=told,
            )

        yield step


def _lines(what: str, pace: Pace) -> Callable[[Any], None]:
    """Return what writes a line to the standard error from time to time."""
    last = time.monotonic()

    def step(state: Any) -> None:
        nonlocal last
        told = pace.words(state.done, state.total)
        if told and time.monotonic() - last >= EVERY_S:
            last = time.monotonic()
            line(f"{what}: {state.done} of {state.total}, {told}", err=True)

    return step
