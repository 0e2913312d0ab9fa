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
from cmjlab.keys import ENGINE, file_sha256
from cmjlab.method import Method
from cmjlab.safe_open import read_file
from cmjlab.study.store.one_file import FileResult, Task, measure_file, unreadable_file

#: Seconds in which a scheduler must answer.
CONNECT_S = 5.0
#: Seconds without any worker after which a run ends; dask may start a new one until then.
NOBODY_S = 30.0
_LOOK_S = 1.0
#: Files that go to a worker in one part, at most: as paths, or as bytes.
_PART_FILES, _PART_BYTES = 20, 5
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
        yield from _Work(client, address, method, carry).done(tasks)


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
    for worker, found in client.run(eval, _ASKED, on_error="return").items():
        _refuse_version("the worker", worker, found)


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
        return file_sha256(task.path) == task.sha256
    except (OSError, CmjlabError):
        return False


def _all_see(client: Any, tasks: Sequence[Task]) -> bool:
    """Return whether every worker sees the recordings under their path."""
    if not tasks or not _seen(tasks[0]):
        return True
    return all(client.run(_seen, _as_path(tasks[0])).values())


def _as_path(task: Task) -> Task:
    """Return a task that does not depend on the folder in which a process works."""
    return replace(task, path=task.path.absolute())


# ---- the work --------------------------------------------------------------------------------


def measure_there(tasks: Sequence[Task], method: Method, own: _Own) -> list[FileResult]:
    """Measure some files in a worker; one that joined late may have another version."""
    if own != _OWN:
        raise ArgumentError(
            f"cluster: a worker has {_named(_OWN)}, this computer has {_named(own)}; numbers of two"
            " versions are never put together. Install the same on all of them."
        )
    return [measure_file(t, method) for t in tasks]


def _with_bytes(task: Task) -> Task:
    """Return a task that carries the bytes of its file; what cannot be read stays for the end."""
    try:
        data = read_file(task.path, limit_mb=task.layout.size_limit_mb)
    except (OSError, CmjlabError):
        return task
    return replace(task, data=data)


class _Work:
    """The parts that wait, those that run, and what to do with each that ends.

    Parameters
    ----------
    client : distributed.Client
    address : str
    method : Method
    carry : bool
        Send the bytes of the recordings along: some worker does not see them.
    """

    def __init__(self, client: Any, address: str, method: Method, carry: bool) -> None:
        self.client, self.address, self.method, self.carry = client, address, method, carry
        self.waiting: deque[Sequence[Task]] = deque()
        self.running: dict[Any, Sequence[Task]] = {}

    def done(self, tasks: Sequence[Task]) -> Generator[FileResult, None, None]:
        """Hand out all tasks, some ahead for each thread, and yield what comes back."""
        self.waiting = _parts(tasks, self._threads(), _PART_BYTES if self.carry else _PART_FILES)
        alone = 0.0
        try:
            while self.waiting or self.running:
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
        while self.waiting and len(self.running) < most:
            part = self.waiting.popleft()
            sent = list(map(_with_bytes if self.carry else _as_path, part))
            future = self.client.submit(measure_there, sent, self.method, _OWN, pure=False)
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

    def _results(self, future: Any, part: Sequence[Task]) -> list[FileResult]:
        """Return the results of a part; one that ends its workers is taken apart."""
        from concurrent.futures import CancelledError

        from distributed import KilledWorker

        try:
            results: list[FileResult] = future.result()
        except KilledWorker:
            return self._taken_apart(part)
        except CancelledError as problem:
            raise self._gone("does not answer any more") from problem
        except CmjlabError:
            raise
        except Exception as problem:
            what = f"{type(problem).__name__}: {problem}"[:300]
            raise self._gone(f"could not do a part ({what})") from problem
        # What a worker could not open is tried here, where it may be seen: the same rows as alone.
        tasks = dict(zip((r.key for r in results), part, strict=True))
        return [r if r.keep else measure_file(tasks[r.key], self.method) for r in results]

    def _taken_apart(self, part: Sequence[Task]) -> list[FileResult]:
        """Send the files of a part one by one; a file alone that ended its workers is told."""
        if len(part) > 1:
            self.waiting.extend([task] for task in part)
            return []
        text = f"{part[0].file}: every worker that measured it ended; it may need more memory."
        return [unreadable_file(part[0], text, keep=False)]

    def _gone(self, what: str) -> StudyError:
        return StudyError(
            f"cluster: {self.address} {what}. What was measured is kept; start scheduler and"
            " workers, and the same command goes on from there."
        )


def _parts(tasks: Sequence[Task], threads: int, most: int) -> deque[Sequence[Task]]:
    size = max(1, min(most, len(tasks) // (_PARTS_EACH * max(1, threads))))
    return deque(tasks[i : i + size] for i in range(0, len(tasks), size))
