"""Once a second, in a thread of its own: asks the disk to keep what was written, and looks after the files."""

import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path
from time import monotonic

from coilcount.capture.disk_space import DiskSpace
from coilcount.capture.failures import reason
from coilcount.capture.standing import Standing
from coilcount.capture.writer import Part, finish_part, sync_part


class DiskKeeper:
    """Makes the parts of a recording safe (fsync), and closes those that have ended; nothing else closes them.

    parts: of the recording, the last one is being written; it may grow.  sync_s: seconds between the beginnings of two
    fsync.  warnings: takes sentences for a person.  Times are those of time.monotonic().
    """

    def __init__(self, parts: list[Part], sync_s: float, space: DiskSpace, warnings: deque[str]) -> None:
        self.rounds = 0  # grows as long as the disk does anything
        self.failure = ""  # why the latest fsync failed, if it did
        self.earlier_failure = ""  # why one before it did
        self._parts = parts
        self._sync_s = sync_s
        self._space = space
        self._warnings = warnings
        self._standing = Standing(warnings.append)
        self._lock = threading.Lock()
        self._written_s: float | None = monotonic()  # hand-over of the oldest entry that no fsync has begun for
        self._syncing_s: float | None = None  # the same, for the fsync that runs
        self._ended: list[Part] = []  # parts whose last line is written
        self._over = threading.Event()
        # A daemon: a disk that hangs forever must not keep the process.
        self.thread = threading.Thread(target=self._run, name="capture-sync", daemon=True)
        self._look()

    @property
    def owed_since_s(self) -> float | None:
        """When the oldest entry was handed over that is written and not confirmed by the disk; None if all are."""
        with self._lock:
            return self._written_s if self._syncing_s is None else self._syncing_s

    @property
    def missing(self) -> list[Path]:
        """The parts that did not stand under their names at the last look."""
        return self._standing.missing

    def wrote(self, handed_over_s: float) -> None:
        """An entry was written that was handed over at this time."""
        with self._lock:
            if self._written_s is None:
                self._written_s = handed_over_s

    def part_ended(self, part: Part) -> None:
        """This part has its last line: it is made safe and closed soon."""
        with self._lock:
            self._ended.append(part)

    def finish(self) -> None:
        """Nothing more is written: all is made safe and closed at once, and the thread ends."""
        self._over.set()

    def _run(self) -> None:
        over = False
        while not over:
            began_s = monotonic()
            over = self._over.is_set()
            with self._lock:
                self._syncing_s, self._written_s = self._written_s, None
                ended, self._ended = self._ended, []
            self._look()
            for part in ended:
                self._sync(finish_part, part)
            if self._syncing_s is not None and (current := self._parts[-1]).file is not None:
                self._sync(sync_part, current)
            with self._lock:
                self._syncing_s = None
            self.rounds += 1
            self._over.wait(max(0.0, began_s + self._sync_s - monotonic()))

    def _look(self) -> None:
        parts = list(self._parts)
        self._standing.look(parts)
        self._space.look(parts[-1].path)

    def _sync(self, how: Callable[[Part], None], part: Part) -> None:
        try:
            how(part)
            self.failure = ""
        except OSError as error:
            self.failure = reason(error)
            if self.failure != self.earlier_failure:
                self.earlier_failure = self.failure
                self._warnings.append(
                    f"the disk did not keep the last second of {part.path}: {self.failure}. Recording goes on; look at "
                    "the disk"
                )
