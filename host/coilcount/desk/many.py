"""Replays several recordings at once, on all cores.  Results come from the cache if they are there."""

import contextlib
import multiprocessing
import os
import signal
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from types import MappingProxyType

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


@dataclass(frozen=True, slots=True)
class Job:
    """One recording that shall be replayed; the fields are the arguments of replays.replay_grid()."""

    recording: Recording
    settings: Settings
    thresholds: tuple[float, ...] = ()
    series: bool = False
    rates: tuple[float, ...] = ()


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
    """Replay each recording at each of the thresholds (sigma) and at the settings' own.

    Returns a result for each recording, in their order.  The rest is as for replay_jobs().
    """
    jobs = [Job(recording, settings, tuple(thresholds), series) for recording in recordings]
    found = dict(replay_jobs(jobs, progress=progress, cache=cache, processes=processes))
    return [found[number] for number in range(len(jobs))]


def replay_jobs(
    jobs: Sequence[Job],
    *,
    progress: Progress | None = None,
    cache: Cache | None = None,
    processes: int | None = None,
) -> Iterator[tuple[int, Result]]:
    """Do the jobs, and yield (position of the job, its result) as soon as each is done, in any order.

    So a caller that needs each result only once need not keep them all.
    progress: called with the share of the bytes that are done, 0 to 1.
    cache: None, or where results of earlier calls are.  New results are stored there.
    processes: most processes that work at once; None for one on each core.

    If a recording cannot be used its result is the error, and the others are done.  Raises InputError for a threshold
    or a rate out of range.  After Ctrl-C, and if the caller stops early, all processes end at once.
    """
    for threshold in {threshold for job in jobs for threshold in job.thresholds}:
        jobs[0].settings.with_threshold(threshold)
    for rate in {rate for job in jobs for rate in job.rates}:
        jobs[0].settings.with_false_alarms(rate)
    bytes_done = _Bytes([_size(job.recording) for job in jobs], progress)
    missing = []
    for number, job in enumerate(jobs):
        key = found = None
        if cache is not None:
            key = cache.key(job.recording, job.settings, job.thresholds, job.rates)
            found = cache.load(key, job.recording, job.settings, job.series)
        if found is None:
            missing.append(_Work(number, job, key, cache))
        else:
            bytes_done.report(number, 1.0)
            yield number, found
    # The largest one first, so that no core waits at the end for a large one that began late.
    waiting = deque(sorted(missing, key=lambda work: bytes_done.size_of(work.number), reverse=True))
    workers = min(len(waiting), _cores() if processes is None else processes)
    if workers > 1:
        yield from _spread(waiting, workers, bytes_done)
    while waiting:  # one recording, one core, or no process could be started
        work = waiting.popleft()
        try:
            result = work.run(lambda share, number=work.number: bytes_done.report(number, share))
        except CoilcountError as error:
            result = error
        bytes_done.report(work.number, 1.0)
        yield work.number, result


class _Work:
    """A job with all that it needs, in a form that can be sent to another process."""

    def __init__(self, number: int, job: Job, key: Key | None, cache: Cache | None) -> None:
        self.number = number
        self.recording = job.recording
        # The read-only dicts of Settings cannot be sent.
        self._tables = {name: dict(getattr(job.settings, name)) for name in (*SECTIONS, "origins")}
        self._thresholds, self._rates, self._series = job.thresholds, job.rates, job.series
        self._key, self._cache = key, cache

    def run(self, report_share: Progress) -> GridReplay:
        """Replay the recording, and store the result in the cache."""

        def watched(entries: Iterator[Entry], report: Report) -> Iterator[Entry]:
            last_s = time.monotonic()
            for number, entry in enumerate(entries):
                if number % _LOOK_EVERY == 0 and time.monotonic() - last_s >= _REPORT_EVERY_S:
                    last_s = time.monotonic()
                    report_share(report.share())
                yield entry

        settings = Settings(**{name: MappingProxyType(values) for name, values in self._tables.items()})
        replay = replay_grid(
            self.recording, settings, self._thresholds, rates=self._rates, series=self._series, watched=watched
        )
        if self._cache is not None:
            self._cache.store(self._key, replay)
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


def _spread(waiting: deque[_Work], count: int, bytes_done: _Bytes) -> Iterator[tuple[int, Result]]:
    """Let `count` processes do the work that waits.  Work is left over if no process can be started."""
    workers: dict[Connection, _Worker] = {}
    try:
        while waiting or workers:
            while waiting and len(workers) < count:
                try:
                    worker = _Worker()
                except OSError:  # too many processes, or too little memory
                    count = len(workers)
                    break
                workers[worker.connection] = worker
                worker.give(waiting.popleft())
            if not workers:
                return
            for connection in wait(list(workers)):
                worker = workers[connection]
                number = worker.work.number
                try:
                    kind, value = connection.recv()
                except (EOFError, OSError):
                    kind, value = "result", _ended_early(worker.work)
                    del workers[connection]
                    worker.end()
                if kind == "share":
                    bytes_done.report(number, value)
                    continue
                if kind == "fault":
                    raise RuntimeError(f"{worker.work.recording.name}: a fault in another process\n{value}")
                if connection in workers:
                    if waiting:
                        worker.give(waiting.popleft())
                    else:
                        del workers[connection]
                        worker.end()
                bytes_done.report(number, 1.0)
                yield number, value
    finally:
        for worker in workers.values():
            worker.end()


def _ended_early(work: _Work) -> CoilcountError:
    return CoilcountError(
        "the process that replayed this recording has ended early",
        work.recording.name,
        "Close other programs if memory is short, and run the command again",
    )


class _Worker:
    """A process that replays one recording after the other.  work: what it does now."""

    def __init__(self) -> None:
        # A new interpreter and no fork: a fork would copy threads' locks and open files of this process.
        context = multiprocessing.get_context("spawn")
        self.connection, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
        self.work: _Work | None = None
        with _without_interrupt():
            self._process.start()
        # Now only the process holds its end, so either side sees it if the other is gone.
        theirs.close()

    def give(self, work: _Work) -> None:
        """Let it replay a recording."""
        self.work = work
        with contextlib.suppress(OSError):  # it has ended: recv() will show that
            self.connection.send(work)

    def end(self) -> None:
        """End the process at once, whatever it does."""
        self.connection.close()
        self._process.terminate()
        self._process.join()


def _serve(connection: Connection) -> None:
    """The life of a process.  It ends if the other end of the connection is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches every process; the first one ends the others
    with contextlib.suppress(EOFError, OSError):
        while True:
            work = connection.recv()
            try:
                answer = ("result", work.run(lambda share: connection.send(("share", share))))
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
