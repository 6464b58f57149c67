"""A thread that, once a second, makes what was written safe on the disk and checks the files of a recording."""

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
    """Makes the parts of a recording safe (fsync) and closes the parts that have ended; nothing else closes them.

    parts: the files of the recording; the last one is being written, and the list grows.
    sync_s: seconds from the start of one fsync to the start of the next.
    space: watches the free space; warnings: gets sentences for a person.
    All times are those of time.monotonic().
    """

    def __init__(self, parts: list[Part], sync_s: float, space: DiskSpace, warnings: deque[str]) -> None:
        self.rounds = 0  # rounds done; it stops growing if the disk hangs
        self.failure = ""  # why the latest fsync failed, "" if it did not
        self.earlier_failure = ""  # why an earlier one failed
        self._parts = parts
        self._sync_s = sync_s
        self._space = space
        self._warnings = warnings
        self._standing = Standing(warnings.append)
        self._lock = threading.Lock()
        self._written_s: float | None = monotonic()  # when the oldest entry that no fsync has begun for was handed over
        self._syncing_s: float | None = None  # the same, for the fsync that is running
        self._ended: list[Part] = []  # parts that got their last line and are still open
        self._over = threading.Event()
        # A daemon thread, so that a disk that hangs for ever does not keep the process alive.
        self.thread = threading.Thread(target=self._run, name="capture-sync", daemon=True)
        self._look()

    @property
    def owed_since_s(self) -> float | None:
        """When the oldest entry was handed over that is written but not confirmed by the disk; None if all are."""
        with self._lock:
            return self._written_s if self._syncing_s is None else self._syncing_s

    @property
    def missing(self) -> list[Path]:
        """The parts that were not there under their names at the last look."""
        return self._standing.missing

    def wrote(self, handed_over_s: float) -> None:
        """Note that an entry was written; handed_over_s: when it was handed over."""
        with self._lock:
            if self._written_s is None:
                self._written_s = handed_over_s

    def part_ended(self, part: Part) -> None:
        """Note that this part has its last line: it is made safe and closed in the next round."""
        with self._lock:
            self._ended.append(part)

    def finish(self) -> None:
        """Note that nothing more is written: everything is made safe and closed at once, and the thread ends."""
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

    def _sync(self, sync: Callable[[Part], None], part: Part) -> None:
        try:
            sync(part)
            self.failure = ""
        except OSError as error:
            self.failure = reason(error)
            if self.failure != self.earlier_failure:
                self.earlier_failure = self.failure
                self._warnings.append(
                    f"the disk did not keep the last second of {part.path}: {self.failure}. Recording goes on; check "
                    "the disk"
                )
