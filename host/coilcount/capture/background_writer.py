"""Records in the background: the loop that reads the port hands entries over and does not wait for the disk.

One thread writes the entries one by one, within milliseconds.  A second thread makes them safe on the disk once a
second (`disk_keeper`).  So a slow disk delays neither the reading of the port nor the writing of lines to the operating
system.
"""

import contextlib
import os
import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import Any

from coilcount.capture.disk_keeper import DiskKeeper
from coilcount.capture.disk_space import DiskSpace, free_bytes
from coilcount.capture.failures import recording_stopped
from coilcount.capture.left_open import ClosedOnExit
from coilcount.capture.writer import CaptureWriter, Part
from coilcount.errors import StorageError
from coilcount.model import Entry, Header

# Entries that may wait for the disk.  Chosen by hand: 10 minutes at 50 a second, about 10 MB of memory.
MOST_WAITING = 30_000
# s.  If the disk confirms entries later than this after the usual second, a person is warned.  Chosen by hand.
LATE_S = 2.0
# s.  If the disk was on time for this long, a person is warned of the next delay again.  Chosen by hand, so that a disk
# that is always slow gives one warning.
ON_TIME_AGAIN_S = 60.0
# s.  If the disk does nothing at all for this long, recording gives up.  This applies when no more entries may wait,
# and at the end.  Chosen by hand.
PATIENCE_S = 60.0
# s between two messages that the end still waits for the disk.  Chosen by hand.
_REPORT_WAITING_S = 5.0
# s between two looks at the disk's progress, while waiting for room and at the end.  Chosen by hand.
_ROOM_LOOK_S, _END_LOOK_S = 0.1, 0.05


class BackgroundWriter(ClosedOnExit):
    """Appends entries to a capture without waiting for the disk.  One thread calls all its methods.

    path, header, rotate_bytes, rotate_s: as for CaptureWriter.
    min_free_bytes: on_warning is called once if fewer bytes are free on the disk.
    on_warning: called with a sentence for a person, from write(), tick() and close() in their thread.
    free: returns the free bytes of a folder's disk.
    sync_s: seconds from the start of one fsync to the start of the next.
    most_waiting: entries that may wait; write() blocks while there are more.
    patience_s: seconds without any progress of the disk after which write() and close() raise StorageError.

    The constructor makes the file, and raises the errors of CaptureWriter.  Later, a failure of the disk is raised by
    the next call, once; it names the number of lines that are safe.
    """

    def __init__(
        self,
        path: str | os.PathLike,
        header: Header,
        *,
        rotate_bytes: int | None = None,
        rotate_s: float | None = None,
        min_free_bytes: int = 50_000_000,
        on_warning: Callable[[str], None] = lambda text: None,
        free: Callable[[Path], int] = free_bytes,
        sync_s: float = 1.0,
        most_waiting: int = MOST_WAITING,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self.worst_late_s = 0.0  # the largest late_s so far
        self._on_warning = on_warning
        self._sync_s = sync_s
        self._most_waiting = most_waiting
        self._patience_s = patience_s
        self._closed = False
        self._warned_late = False
        self._late_until_s = 0.0
        self._warned_full = False
        # Shared by the threads.  _changed announces every change of these, except of the warnings.
        self._changed = threading.Condition()
        self._waiting: deque[tuple[float, str, Any]] = deque()  # (time of hand-over, method of the writer, argument)
        self._in_hand_s: float | None = None  # when the entry that is being written was handed over
        self._done = 0  # entries written
        self._failure: Exception | None = None
        self._warnings: deque[str] = deque()

        self._writer = CaptureWriter(
            path,
            header,
            rotate_bytes=rotate_bytes,
            rotate_s=rotate_s,
            on_warning=self._warnings.append,
            finish=self._part_ended,
        )
        space = DiskSpace(min_free_bytes, free, self._warnings.append)
        self._keeper = DiskKeeper(self._writer.parts, sync_s, space, self._warnings)
        # A daemon thread, so that a disk that hangs for ever does not keep the process alive.
        self._thread = threading.Thread(target=self._write_all, name="capture-write", daemon=True)
        self._thread.start()
        self._keeper.thread.start()
        self._pass_on_warnings()

    @property
    def path(self) -> Path:
        """Path of the part that is being written."""
        return self._writer.path

    @property
    def lines(self) -> int:
        """Number of lines that the operating system has, in all parts."""
        return self._writer.lines

    @property
    def parts(self) -> list[Path]:
        """The files of this recording, in order."""
        return [part.path for part in list(self._writer.parts)]

    @property
    def missing(self) -> list[Path]:
        """The files of this recording that were not there under their names at the last look, at most about 1 s ago."""
        return self._keeper.missing

    @property
    def backlog_lines(self) -> int:
        """Number of entries that wait to be written."""
        return len(self._waiting)

    @property
    def late_s(self) -> float:
        """How much longer than sync_s the oldest entry has waited until the disk confirms it, in s; 0 if in time."""
        with self._changed:
            waiting_s = self._waiting[0][0] if self._waiting else None
            times = (self._keeper.owed_since_s, self._in_hand_s, waiting_s)
        owed = [time_s for time_s in times if time_s is not None]
        return max(0.0, monotonic() - min(owed) - self._sync_s) if owed else 0.0

    def write(self, entry: Entry) -> None:
        """Hand one entry over; blocks only while too many entries wait.  Raises StorageError."""
        if self._closed:
            raise StorageError("the capture is closed", str(self.path), "Begin a new recording")
        self._hand_over("write", entry)  # first, so that a failure counts this entry as well
        self._check_disk()
        if len(self._waiting) > self._most_waiting:
            self._wait_for_room()

    def tick(self, host_s: float) -> None:
        """Note the host time, even if no entry comes, and pass on the threads' warnings.  Raises StorageError."""
        if self._closed:
            return
        self._check_disk()
        self._hand_over("tick", host_s)

    def close(self, status: str = "closed") -> None:
        """Write the waiting entries and the End, and make all safe on the disk; a second call does nothing.

        Raises StorageError if something could not be written or the disk did not confirm it.
        """
        if self._closed:
            return
        self._closed = True
        self._hand_over("close", status)
        self._end()
        if self._failure is not None:
            raise self._failure_for_a_person()
        if self._keeper.failure:
            what = f"the last second may not be on the disk: {self._keeper.failure}"
            raise StorageError(what, str(self.path), "Check it: coilcount inspect")

    # ---- in the calling thread

    def _hand_over(self, method: str, argument: Any) -> None:
        with self._changed:
            if method == "tick" and self._waiting and self._waiting[-1][1] == "tick":
                self._waiting.pop()
            self._waiting.append((monotonic(), method, argument))
            self._changed.notify_all()

    def _check_disk(self) -> None:
        """Pass on warnings, warn of a late disk, and raise the failure of the writing thread if there is one."""
        late_s, now = self._measure_late(), monotonic()
        if late_s > LATE_S:
            self._late_until_s = now
            if not self._warned_late:
                self._warned_late = True
                self._on_warning(
                    f"the disk is slow: it has not confirmed the last {late_s + self._sync_s:.0f} s of {self.path}. "
                    "Recording goes on and nothing is lost; a power cut now would lose them"
                )
        elif now - self._late_until_s > ON_TIME_AGAIN_S:
            self._warned_late = False
        if len(self._waiting) < self._most_waiting // 2:
            self._warned_full = False
        self._pass_on_warnings()
        if self._failure is not None:
            self._closed = True
            self._end()
            raise self._failure_for_a_person()

    def _measure_late(self) -> float:
        late_s = self.late_s
        self.worst_late_s = max(self.worst_late_s, late_s)
        return late_s

    def _pass_on_warnings(self) -> None:
        while self._warnings:
            self._on_warning(self._warnings.popleft())

    def _wait_for_room(self) -> None:
        if not self._warned_full:
            self._warned_full = True
            self._on_warning(
                f"the disk accepts nothing, and {self._most_waiting} lines wait for it. Nothing more is read from the "
                "board until it does; the board counts the records that it has to drop"
            )
        progress_s, done = monotonic(), self._done
        while len(self._waiting) > self._most_waiting and self._failure is None:
            with self._changed:
                self._changed.wait(_ROOM_LOOK_S)
            if self._done != done:
                progress_s, done = monotonic(), self._done
            elif monotonic() - progress_s > self._patience_s:
                self._closed = True
                raise self._stuck()
        self._check_disk()

    def _end(self) -> None:
        """Wait for both threads, and report the state of the recording."""
        began_s = progress_s = reported_s = monotonic()
        done = None
        for thread in (self._thread, self._keeper.thread):
            while thread.is_alive():
                thread.join(_END_LOOK_S)
                self._measure_late()
                self._pass_on_warnings()
                now = monotonic()
                if done != (done := (self._done, self._keeper.rounds)):
                    progress_s = now
                if now - progress_s > self._patience_s:
                    raise self._stuck()
                if now - reported_s > _REPORT_WAITING_S:
                    reported_s = now
                    self._on_warning(f"waiting for the disk for {now - began_s:.0f} s: {self._backlog()}")
            self._keeper.finish()
        self._pass_on_warnings()
        self._report_the_end()

    def _report_the_end(self) -> None:
        keeper = self._keeper
        if self.worst_late_s > LATE_S:
            harmless = "" if self._failure or keeper.earlier_failure else "; nothing was lost by it"
            self._on_warning(f"the disk was up to {self.worst_late_s:.1f} s late{harmless}")
        if keeper.earlier_failure and not keeper.failure:
            self._on_warning(
                f"the disk once did not keep what was written ({keeper.earlier_failure}). Check the recording: "
                f"coilcount inspect {self.path}"
            )
        if self.missing:
            names = ", ".join(map(str, self.missing))
            self._on_warning(f"at the end there is no such file: {names}. It was deleted, or moved with its folder")

    def _backlog(self) -> str:
        lines = self.backlog_lines
        return f"{lines} lines are still to be written" if lines else "all lines are written but not yet confirmed"

    def _stuck(self) -> StorageError:
        what = f"the disk has done nothing for {self._patience_s:.0f} s"
        return recording_stopped(what, self.path, self.lines, waiting=self._entries_waiting(), unconfirmed="no answer")

    def _failure_for_a_person(self) -> Exception:
        failure = self._failure
        if type(failure) is not StorageError:
            return failure
        return recording_stopped(
            failure.what,
            failure.where,
            self.lines,
            waiting=self._entries_waiting(),
            unconfirmed=self._keeper.failure,
        )

    def _entries_waiting(self) -> int:
        with self._changed:
            in_hand = self._in_hand_s is not None
            return in_hand + sum(method == "write" for _, method, _ in self._waiting)

    # ---- in the writing thread

    def _write_all(self) -> None:
        method = ""
        while method != "close":
            with self._changed:
                while not self._waiting:
                    self._changed.wait()
                handed_over_s, method, argument = self._waiting.popleft()
                if method != "tick":
                    self._in_hand_s = handed_over_s
            try:
                getattr(self._writer, method)(argument)
            except Exception as error:  # the calling thread raises it
                with contextlib.suppress(Exception):
                    self._writer.close("aborted")
                with self._changed:
                    self._waiting.appendleft((handed_over_s, method, argument))
                    self._failure = error
                    self._in_hand_s = None
                    self._changed.notify_all()
                return
            if method != "tick":
                self._keeper.wrote(handed_over_s)
            with self._changed:
                self._in_hand_s = None
                self._done += 1
                self._changed.notify_all()

    def _part_ended(self, part: Part) -> None:
        self._keeper.part_ended(part)
