"""Measure files on a cluster that somebody else started (Dask): this process hands out and keeps.

There is no scheduler of ours. Tasks go out in small parts; what comes back is yielded as it comes,
so that whoever keeps it loses little. A part whose worker ends goes to another one.
"""

from __future__ import annotations

import contextlib
import logging
import re
import warnings
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from dataclasses import replace
from typing import Any

from cmjlab import __version__
from cmjlab.checks import shown
from cmjlab.errors import ArgumentError, CmjlabError, StudyError
from cmjlab.extras import optional
from cmjlab.keys import ENGINE
from cmjlab.method import Method
from cmjlab.study.store.one_file import (
    FileResult,
    Task,
    measure_chunk,
    measure_file,
    unreadable_file,
)

#: Seconds in which a scheduler must answer.
CONNECT_S = 5.0
#: Seconds without any worker after which a run ends; dask may start a new one until then.
NOBODY_S = 30.0
_LOOK_S = 1.0
#: Files that go to a worker in one part, at most: as paths, or as bytes.
_PART_FILES, _PART_BYTES = 50, 5
#: Parts that wait at each thread.
_AHEAD = 3
#: Parts for each thread, at least, so that none works on alone at the end.
_PARTS_EACH = 4

_ADDRESS = re.compile(r"(tcp|tls)://[^\s/]+:\d{1,5}")
_Own = tuple[str, int]
_OWN: _Own = (__version__, ENGINE)
#: Asked as text: a process with another version need not know any function of this one.
_ASKED = "(__import__('cmjlab').__version__, __import__('cmjlab.keys').keys.ENGINE)"


def checked_address(cluster: object) -> str:
    """Return the address of a scheduler; ArgumentError when it is none."""
    if isinstance(cluster, str) and _ADDRESS.fullmatch(cluster):
        return cluster
    raise ArgumentError(
        f"cluster: found {shown(cluster)}, expected the address of a scheduler: tcp://HOST:PORT, or"
        " tls://HOST:PORT (encrypted)."
    )


def measured_on_cluster(
    tasks: Sequence[Task], method: Method, cluster: str
) -> Generator[FileResult, None, None]:
    """Yield the results of all tasks as a cluster finishes them.

    Parameters
    ----------
    tasks : sequence of Task
    method : Method
    cluster : str
        Address of a Dask scheduler.

    Raises
    ------
    MissingExtraError
        The extra ``cluster`` is not installed.
    ArgumentError
        The scheduler does not answer, has no worker, or runs another cmjlab or ENGINE.
    StudyError
        The cluster went away while it worked.
    """
    address = checked_address(cluster)
    with _connected(address) as client:
        _refuse_other_versions(client, address)
        carry = not _all_see(client, tasks)
        yield from _Work(client, address, Measuring(method), carry).done(tasks)


def hashed_on_cluster(
    tasks: Sequence[Task], cluster: str
) -> Generator[tuple[Task, str], None, None]:
    """Yield tasks with the SHA-256 of their bytes, which lie at a URL that all workers can read.

    Whatever a worker cannot read is left out, and everything when one worker sees nothing.
    """
    if not tasks:
        return
    address = checked_address(cluster)
    with _connected(address) as client:
        _refuse_other_versions(client, address)
        try:
            first = replace(tasks[0], sha256=tasks[0].digest())
        except OSError:
            return
        if _all_see(client, [first]):
            yield from _Work(client, address, Hashing(), carry=False).done(tasks)


@contextlib.contextmanager
def _connected(address: str) -> Iterator[Any]:
    """Hold a connection; what the library logs about it is told by us in one sentence."""
    dask = optional("dask", extra="cluster", purpose="--cluster needs")
    distributed = optional("distributed", extra="cluster", purpose="--cluster needs")
    logger = logging.getLogger("distributed")
    before = logger.level
    logger.setLevel(logging.CRITICAL)
    settings = {
        "distributed.comm.timeouts.connect": f"{CONNECT_S:g}s",
        "distributed.admin.large-graph-warning-threshold": "1GB",  # recordings, when they travel
    }
    try:
        with dask.config.set(settings):
            client = _client(distributed, address)
            try:
                yield client
            finally:
                with contextlib.suppress(Exception):  # it may have gone away
                    client.close(timeout=_LOOK_S)
    finally:
        logger.setLevel(before)


def _client(distributed: Any, address: str) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # versions are compared by ourselves
        try:
            return distributed.Client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, TypeError, ValueError, RuntimeError) as problem:
            secret = (
                " tls:// needs certificates on both sides: name them in"
                " DASK_DISTRIBUTED__COMM__TLS__CA_FILE, …__CLIENT__CERT and …__CLIENT__KEY."
            )
            raise ArgumentError(
                f"cluster: no scheduler answers at {address} within {CONNECT_S:g} s. Start one"
                " (dask scheduler), look at the address that it prints, and whether a firewall lies"
                f" between.{secret if address.startswith('tls') else ''}"
            ) from problem


# ---- what must be right before anything is measured ------------------------------------------


def _refuse_other_versions(client: Any, address: str) -> None:
    """Stop when there is no worker, or when scheduler or a worker is not of our version."""
    if not client.nthreads():
        raise ArgumentError(
            f"cluster: the scheduler at {address} has no worker. Start one: dask worker {address}"
        )
    try:
        scheduler: Any = client.run_on_scheduler(eval, _ASKED)
    except Exception as problem:
        scheduler = problem
    _refuse_version("the scheduler", address, scheduler)
    for worker, found in _of_each(client, eval, _ASKED).items():
        _refuse_version("the worker", worker, found)


def _of_each(client: Any, function: Any, given: Any) -> dict[str, Any]:
    """Return what a function says in each worker, or its error; those that just ended are left out."""
    found: dict[str, Any] = client.run(function, given, on_error="return")
    return {worker: said for worker, said in found.items() if not isinstance(said, OSError)}


def _refuse_version(what: str, where: str, found: Any) -> None:
    if isinstance(found, tuple | list) and tuple(found) == _OWN:
        return
    raise ArgumentError(
        f"cluster: {what} at {where} has {_named(found)}, this computer has {_named(_OWN)};"
        " numbers of two versions are never put together. Install the same on all of them and"
        " start scheduler and workers again."
    )


def _named(found: Any) -> str:
    if isinstance(found, tuple | list):
        return f"cmjlab {found[0]} (ENGINE {found[1]})"
    return f"no cmjlab that can be used ({type(found).__name__}: {found})"


def _seen(task: Task) -> bool:
    """Return whether the file of a task is seen from here with the bytes that are known of it."""
    try:
        return task.digest() == task.sha256
    except (OSError, CmjlabError):
        return False


def _all_see(client: Any, tasks: Sequence[Task]) -> bool:
    """Return whether every worker sees the recordings under their path."""
    if not tasks or not _seen(tasks[0]):
        return True
    return all(said is True for said in _of_each(client, _seen, tasks[0].anywhere()).values())


# ---- the work --------------------------------------------------------------------------------


class Measuring:
    """Files are measured there.

    Parameters
    ----------
    method : Method
    """

    def __init__(self, method: Method) -> None:
        self.method = method

    def there(self, tasks: Sequence[Task]) -> list[FileResult]:
        """Measure some files in a worker."""
        return measure_chunk(tasks, self.method)

    def here(self, tasks: Sequence[Task], results: list[FileResult]) -> list[FileResult]:
        """Return results; what a worker could not open is tried here: the same rows as alone."""
        by_key = dict(zip((r.key for r in results), tasks, strict=True))
        return [r if r.keep else measure_file(by_key[r.key], self.method) for r in results]

    def lost(self, task: Task) -> list[FileResult]:
        """Return the rows of a file that ended every worker."""
        text = f"{task.file}: every worker that measured it ended; it may need more memory."
        return [unreadable_file(task, text, keep=False)]


class Hashing:
    """Checksums of files are made there."""

    def there(self, tasks: Sequence[Task]) -> list[str]:
        """Return the SHA-256 of some files in a worker; "" for one that cannot be read."""
        found = []
        for task in tasks:
            try:
                found.append(task.digest())
            except OSError:
                found.append("")
        return found

    def here(self, tasks: Sequence[Task], results: list[str]) -> list[tuple[Task, str]]:
        """Return tasks with their checksums."""
        return [(t, sha256) for t, sha256 in zip(tasks, results, strict=True) if sha256]

    def lost(self, task: Task) -> list[tuple[Task, str]]:
        """Return nothing for a file that ended every worker: it is tried here."""
        return []


def done_there(
    job: Measuring | Hashing, tasks: Sequence[Task], own: _Own
) -> tuple[_Own, list[Any] | str]:
    """Do a part in a worker; returns its version and what came of it, or why nothing did.

    A worker that joined late may have another version: it does nothing. Errors come back as text,
    since not every error can travel.
    """
    if own != _OWN:
        return _OWN, ""
    try:
        return _OWN, job.there(tasks)
    except Exception as problem:
        return _OWN, f"{type(problem).__name__}: {problem}"[:300]


def _with_bytes(task: Task) -> Task:
    """Return a task that carries the bytes of its file; what cannot be read stays for the end."""
    try:
        return replace(task, data=task.bytes(), remote=None)
    except (OSError, CmjlabError):
        return task


class _Work:
    """The parts that wait, those that run, and what to do with each that ends.

    Parameters
    ----------
    client : distributed.Client
    address : str
    job : Measuring or Hashing
        What is done with each file.
    carry : bool
        Send the bytes of the recordings along: some worker does not see them.
    """

    def __init__(self, client: Any, address: str, job: Measuring | Hashing, carry: bool) -> None:
        self.client, self.address, self.job, self.carry = client, address, job, carry
        self.waiting: deque[Sequence[Task]] = deque()
        self.running: dict[Any, Sequence[Task]] = {}
        self.suspects: deque[Task] = deque()
        self.alone: Sequence[Task] = ()

    def done(self, tasks: Sequence[Task]) -> Generator[Any, None, None]:
        """Hand out all tasks, some ahead for each thread, and yield what comes back."""
        self.waiting = _parts(tasks, self._threads(), _PART_BYTES if self.carry else _PART_FILES)
        alone = 0.0
        try:
            while self.waiting or self.running or self.suspects:
                threads = self._threads()
                self._hand_out(max(1, _AHEAD * threads))
                ended = self._ended()
                alone = 0.0 if threads or ended else alone + _LOOK_S
                if alone >= NOBODY_S:
                    raise self._gone("has had no worker for a while")
                for future in ended:
                    yield from self._results(future, self.running.pop(future))
        finally:
            with contextlib.suppress(Exception):
                self.client.cancel(list(self.running), force=True)

    def _hand_out(self, most: int) -> None:
        if self.suspects and not self.waiting and not self.running:
            self.alone = [self.suspects.popleft()]
            self.waiting.append(self.alone)
        while self.waiting and len(self.running) < most:
            part = self.waiting.popleft()
            sent = list(map(_with_bytes if self.carry else Task.anywhere, part))
            future = self.client.submit(done_there, self.job, sent, _OWN, pure=False)
            self.running[future] = part

    def _threads(self) -> int:
        try:
            return sum(self.client.nthreads().values())
        except (OSError, TimeoutError) as problem:
            raise self._gone("does not answer any more") from problem

    def _ended(self) -> list[Any]:
        """Return the parts that have ended, after a short wait."""
        from concurrent.futures import CancelledError

        from distributed import wait

        try:
            with self.client.as_current():
                ended = wait(list(self.running), timeout=_LOOK_S, return_when="FIRST_COMPLETED")
            return list(ended.done)
        except TimeoutError:
            return []
        except CancelledError as problem:
            raise self._gone("does not answer any more") from problem

    def _results(self, future: Any, part: Sequence[Task]) -> list[Any]:
        """Return the results of a part; the files of one that ended its workers are kept for later."""
        from concurrent.futures import CancelledError

        from distributed import KilledWorker

        try:
            own, results = future.result()
        except KilledWorker:
            return self._ended_workers(part)
        except CancelledError as problem:
            raise self._gone("does not answer any more") from problem
        except Exception as problem:
            what = f"{type(problem).__name__}: {problem}"[:300]
            raise self._gone(f"could not do a part ({what})") from problem
        _refuse_version("a worker", self.address, own)
        if isinstance(results, str):
            raise self._gone(f"could not do a part ({results})")
        return list(self.job.here(part, results))

    def _ended_workers(self, part: Sequence[Task]) -> list[Any]:
        """Keep the files of a part whose workers ended; a file alone that did it again is told.

        What stood in line at such a worker is blamed by Dask too, so each is tried by itself.
        """
        if part is not self.alone:
            self.suspects.extend(part)
            return []
        return list(self.job.lost(part[0]))

    def _gone(self, what: str) -> StudyError:
        return StudyError(
            f"cluster: {self.address} {what}. What was measured is kept; start scheduler and"
            " workers, and the same command goes on from there."
        )


def _parts(tasks: Sequence[Task], threads: int, most: int) -> deque[Sequence[Task]]:
    size = max(1, min(most, len(tasks) // (_PARTS_EACH * max(1, threads))))
    return deque(tasks[i : i + size] for i in range(0, len(tasks), size))
