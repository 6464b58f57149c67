"""Replays several recordings at once, on all cores.  Results come from the cache if they are there."""

import contextlib
import multiprocessing
import os
import signal
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from multiprocessing.connection import Connection, wait
from types import MappingProxyType
from typing import Any

from coilcount.capture.reader import Report
from coilcount.desk.cache import Cache, Key
from coilcount.desk.recordings import Recording
from coilcount.desk.replays import replay_grid
from coilcount.errors import CoilcountError
from coilcount.model import Entry, GridReplay
from coilcount.settings import SECTIONS, Settings

# Entries between two looks at the clock, and seconds between two reports of progress.  Chosen by hand.
_LOOK_EVERY = 500
_REPORT_EVERY_S = 0.2

Progress = Callable[[float], None]
Result = GridReplay | CoilcountError


def replay_many(
    recordings: Sequence[Recording],
    settings: Settings,
    thresholds: Sequence[float],
    *,
    series: bool = False,
    progress: Progress | None = None,
    cache: Cache | None = None,
    processes: int | None = None,
) -> list[Result]:
    """Replay each recording at each of the thresholds (sigma) and at the settings' own; see replays.replay_grid().

    progress: called with the share of the bytes that are done, 0 to 1.
    cache: None, or where results of earlier calls are.  New results are stored there.
    processes: most processes that work at once; None for one on each core.

    Returns a result for each recording, in their order.  If a recording cannot be used its result is the error, and
    the others are done.  Raises InputError for a threshold out of range.  After Ctrl-C all processes end at once.
    """
    for threshold in thresholds:
        settings.with_threshold(threshold)
    results: list[Result | None] = [None] * len(recordings)
    keys: list[Key | None] = [None] * len(recordings)
    bytes_done = _Bytes([_size(recording) for recording in recordings], progress)
    if cache is not None:
        for number, recording in enumerate(recordings):
            keys[number] = cache.key(recording, settings, thresholds)
            results[number] = cache.load(keys[number], recording, settings, series)
            if results[number] is not None:
                bytes_done.report(number, 1.0)
    # The largest one first, so that no core waits at the end for a large one that began late.
    missing = sorted((n for n, result in enumerate(results) if result is None), key=bytes_done.size_of, reverse=True)
    jobs = deque((number, recordings[number], keys[number]) for number in missing)
    task = _Task(_plain(settings), tuple(thresholds), series, cache)
    workers = min(len(jobs), _cores() if processes is None else processes)
    if workers > 1:
        _spread(jobs, workers, task, results, bytes_done)
    while jobs:  # one recording, one core, or no process could be started
        number, recording, key = jobs.popleft()
        try:
            results[number] = task.run(recording, key, lambda share, number=number: bytes_done.report(number, share))
        except CoilcountError as error:
            results[number] = error
        bytes_done.report(number, 1.0)
    return results


class _Task:
    """What is the same for all recordings."""

    def __init__(
        self, tables: Mapping[str, Any], thresholds: tuple[float, ...], series: bool, cache: Cache | None
    ) -> None:
        self._tables, self._thresholds, self._series, self._cache = tables, thresholds, series, cache

    def run(self, recording: Recording, key: Key | None, report_share: Progress) -> GridReplay:
        """Replay one recording, and store the result in the cache."""

        def watched(entries: Iterator[Entry], report: Report) -> Iterator[Entry]:
            last_s = time.monotonic()
            for number, entry in enumerate(entries):
                if number % _LOOK_EVERY == 0 and time.monotonic() - last_s >= _REPORT_EVERY_S:
                    last_s = time.monotonic()
                    report_share(report.share())
                yield entry

        settings = Settings(**{name: MappingProxyType(values) for name, values in self._tables.items()})
        replay = replay_grid(recording, settings, self._thresholds, series=self._series, watched=watched)
        if self._cache is not None:
            self._cache.store(key, replay)
        return replay


class _Bytes:
    """Adds up the bytes that are done, and reports their share."""

    def __init__(self, sizes: Sequence[int], progress: Progress | None) -> None:
        self._sizes = sizes
        self._done = [0.0] * len(sizes)
        self._progress = progress

    def size_of(self, number: int) -> int:
        """Bytes of recording `number`."""
        return self._sizes[number]

    def report(self, number: int, share: float) -> None:
        """The share `share` of recording `number` is done."""
        self._done[number] = share * self._sizes[number]
        if self._progress is not None:
            self._progress(min(1.0, sum(self._done) / (sum(self._sizes) or 1)))


# ------------------------------------------------------------ several processes


def _spread(jobs: deque, count: int, task: _Task, results: list[Result | None], bytes_done: _Bytes) -> None:
    """Let `count` processes do the jobs.  Jobs are left over if no process can be started."""
    workers: dict[Connection, _Worker] = {}
    try:
        while jobs or workers:
            while jobs and len(workers) < count:
                try:
                    worker = _Worker(task)
                except OSError:  # too many processes, or too little memory
                    count = len(workers)
                    break
                workers[worker.connection] = worker
                worker.give(jobs.popleft())
            if not workers:
                return
            for connection in wait(list(workers)):
                worker = workers[connection]
                number = worker.number
                try:
                    kind, value = connection.recv()
                except (EOFError, OSError):
                    del workers[connection]
                    worker.end()
                    results[number] = CoilcountError(
                        "the process that replayed this recording has ended early",
                        worker.name,
                        "Close other programs if memory is short, and run the command again",
                    )
                    bytes_done.report(number, 1.0)
                    continue
                if kind == "share":
                    bytes_done.report(number, value)
                    continue
                if kind == "fault":
                    raise RuntimeError(f"{worker.name}: a fault of coilcount in another process\n{value}")
                results[number] = value
                bytes_done.report(number, 1.0)
                if jobs:
                    worker.give(jobs.popleft())
                else:
                    del workers[connection]
                    worker.end()
    finally:
        for worker in workers.values():
            worker.end()


class _Worker:
    """A process that replays one recording after the other.  number, name: of the recording it works on."""

    def __init__(self, task: _Task) -> None:
        # A new interpreter and no fork: a fork would copy threads' locks and open files of this process.
        context = multiprocessing.get_context("spawn")
        self.connection, theirs = context.Pipe()
        self._process = context.Process(target=_work, args=(theirs, task), daemon=True)
        self.number = 0
        self.name = ""
        with _without_interrupt():
            self._process.start()
        # Now only the process holds its end, so either side sees it if the other is gone.
        theirs.close()

    def give(self, job: tuple[int, Recording, Key | None]) -> None:
        """Let it replay a recording."""
        self.number, recording, key = job
        self.name = recording.name
        with contextlib.suppress(OSError):  # it has ended: recv() will show that
            self.connection.send((recording, key))

    def end(self) -> None:
        """End the process at once, whatever it does."""
        self.connection.close()
        self._process.terminate()
        self._process.join()


def _work(connection: Connection, task: _Task) -> None:
    """The life of a worker.  It ends if the other end of the connection is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches every process; the first one ends the others
    with contextlib.suppress(EOFError, OSError):
        while True:
            recording, key = connection.recv()
            try:
                answer = ("result", task.run(recording, key, lambda share: connection.send(("share", share))))
            except CoilcountError as error:
                answer = ("result", error)
            except BrokenPipeError:
                return
            except Exception:
                answer = ("fault", traceback.format_exc())
            connection.send(answer)


@contextlib.contextmanager
def _without_interrupt() -> Iterator[None]:
    """Ctrl-C waits until the end of the body.  A process started inside never sees it, not even while it starts."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _plain(settings: Settings) -> dict[str, dict[str, Any]]:
    """The settings as dicts, because the read-only ones of Settings cannot be sent to another process."""
    return {name: dict(getattr(settings, name)) for name in (*SECTIONS, "origins")}


def _size(recording: Recording) -> int:
    total = 0
    for part in recording.parts:
        with contextlib.suppress(OSError):
            total += os.stat(part).st_size
    return total


def _cores() -> int:
    """Number of cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
