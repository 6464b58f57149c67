"""Records in the background: the loop that reads the port hands entries over and never waits for the disk.

One thread writes them, one by one, within milliseconds.  A second one asks the disk once a second to keep them
(`disk_keeper`).  So a slow disk delays neither the port nor the moment at which a line is with the operating system.
"""

import contextlib
import os
import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import Any, Self

from coilcount.capture.disk_keeper import DiskKeeper
from coilcount.capture.disk_space import DiskSpace, free_bytes
from coilcount.capture.failures import recording_stopped
from coilcount.capture.writer import CaptureWriter, Part
from coilcount.errors import CoilcountError, StorageError
from coilcount.model import Entry, Header

# Entries that may wait for the disk: 10 minutes at 50 a second, about 10 MB of memory.  Chosen by hand.
MOST_WAITING = 30_000
# Seconds beyond the ordinary one until a person is told that the disk is late.  Chosen by hand.
LATE_S = 2.0
# Seconds without lateness until it is told again.  Chosen by hand: a disk that is always slow is told of once.
ON_TIME_AGAIN_S = 60.0
# Seconds in which the disk does nothing at all until recording gives up, once nothing more can wait or at the end.
PATIENCE_S = 60.0
_TELL_WAITING_S = 5.0


class BackgroundWriter:
    """Appends entries to a capture without waiting for the disk; all methods are for one thread.

    path, header, rotate_bytes, rotate_s: as of CaptureWriter.
    min_free_bytes: on_warning is called once if less than this is left on the disk.
    on_warning: called from within write(), tick() and close(), in their thread, with a sentence for a person.
    sync_s: seconds between the beginnings of two fsync.
    most_waiting: entries that may wait; write() blocks while more do.
    patience_s: seconds without any progress of the disk after which blocking ends with a StorageError.

    The constructor makes the file, and raises what CaptureWriter raises.  After that a failure of the disk is raised
    by the next call, once; it names the number of lines that are safe.
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
        self._told_late = False
        self._late_until_s = 0.0
        self._told_full = False
        # What the threads share.  Every change of these is announced by _changed, but for warnings.
        self._changed = threading.Condition()
        self._waiting: deque[tuple[float, str, Any]] = deque()  # (handed over at, method of the writer, argument)
        self._in_hand_s: float | None = None  # when the entry was handed over that is being written now
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
        # A daemon: a disk that hangs forever must not keep the process.
        self._thread = threading.Thread(target=self._write_all, name="capture-write", daemon=True)
        self._thread.start()
        self._keeper.thread.start()
        self._tell()

    @property
    def path(self) -> Path:
        """Of the part that is being written."""
        return self._writer.path

    @property
    def lines(self) -> int:
        """Lines with the operating system, in all parts."""
        return self._writer.lines

    @property
    def parts(self) -> list[Path]:
        """The files of this recording, in order."""
        return [part.path for part in list(self._writer.parts)]

    @property
    def missing(self) -> list[Path]:
        """Those of them that did not stand under their names when last looked, about a second ago or at the end."""
        return self._keeper.missing

    @property
    def backlog_lines(self) -> int:
        """Entries that wait to be written."""
        return len(self._waiting)

    @property
    def late_s(self) -> float:
        """Seconds beyond sync_s for which the oldest entry has waited for the disk to confirm it; 0 if in time."""
        with self._changed:
            waiting_s = self._waiting[0][0] if self._waiting else None
            times = (self._keeper.owed_since_s, self._in_hand_s, waiting_s)
        owed = [time_s for time_s in times if time_s is not None]
        return max(0.0, monotonic() - min(owed) - self._sync_s) if owed else 0.0

    def write(self, entry: Entry) -> None:
        """Hand one entry over; blocks only while too many wait.  Raises StorageError."""
        if self._closed:
            raise StorageError("the capture is closed", str(self.path), "Begin a new recording")
        self._hand_over("write", entry)  # first, so that a failure counts this entry as well
        self._look()
        if len(self._waiting) > self._most_waiting:
            self._wait_for_room()

    def tick(self, host_s: float) -> None:
        """Tell the time, also when no entry comes; passes on what the threads have to say.  Raises StorageError."""
        if self._closed:
            return
        self._look()
        self._hand_over("tick", host_s)

    def close(self, status: str = "closed") -> None:
        """Write what waits and the End, and make everything safe; a second call does nothing.

        Raises StorageError if something could not be written or the disk did not confirm it.
        """
        if self._closed:
            return
        self._closed = True
        self._hand_over("close", status)
        self._end()
        if self._failure is not None:
            raise self._told_failure()
        if self._keeper.failure:
            what = f"the last second may not be on the disk: {self._keeper.failure}"
            raise StorageError(what, str(self.path), "Check it: coilcount inspect")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self.close()
            return
        try:
            self.close("aborted")
        except CoilcountError as error:  # the exception that is under way says what matters
            self._on_warning(str(error))

    # ---- in the calling thread

    def _hand_over(self, method: str, argument: Any) -> None:
        with self._changed:
            if method == "tick" and self._waiting and self._waiting[-1][1] == "tick":
                self._waiting.pop()
            self._waiting.append((monotonic(), method, argument))
            self._changed.notify_all()

    def _look(self) -> None:
        """Passes on warnings, tells of a late disk, raises what went wrong in the writing thread."""
        late_s, now = self._note_late(), monotonic()
        if late_s > LATE_S:
            self._late_until_s = now
            if not self._told_late:
                self._told_late = True
                self._on_warning(
                    f"the disk is slow: it has not confirmed the last {late_s + self._sync_s:.0f} s of {self.path}. "
                    "Recording goes on and nothing is lost; a power cut now would lose them"
                )
        elif now - self._late_until_s > ON_TIME_AGAIN_S:
            self._told_late = False
        if len(self._waiting) < self._most_waiting // 2:
            self._told_full = False
        self._tell()
        if self._failure is not None:
            self._closed = True
            self._end()
            raise self._told_failure()

    def _note_late(self) -> float:
        late_s = self.late_s
        self.worst_late_s = max(self.worst_late_s, late_s)
        return late_s

    def _tell(self) -> None:
        while self._warnings:
            self._on_warning(self._warnings.popleft())

    def _wait_for_room(self) -> None:
        if not self._told_full:
            self._told_full = True
            self._on_warning(
                f"the disk takes nothing, and {self._most_waiting} lines wait for it. Nothing more is read from the "
                "board until it does; the board counts what it has to drop"
            )
        moved_s, done = monotonic(), self._done
        while len(self._waiting) > self._most_waiting and self._failure is None:
            with self._changed:
                self._changed.wait(0.1)
            if self._done != done:
                moved_s, done = monotonic(), self._done
            elif monotonic() - moved_s > self._patience_s:
                self._closed = True
                raise self._stuck()
        self._look()

    def _end(self) -> None:
        """Waits for both threads and tells what there is to tell at the end."""
        began_s = moved_s = told_s = monotonic()
        done = None
        for thread in (self._thread, self._keeper.thread):
            while thread.is_alive():
                thread.join(0.05)
                self._note_late()
                self._tell()
                now = monotonic()
                if done != (done := (self._done, self._keeper.rounds)):
                    moved_s = now
                if now - moved_s > self._patience_s:
                    raise self._stuck()
                if now - told_s > _TELL_WAITING_S:
                    told_s = now
                    self._on_warning(f"waiting for the disk since {now - began_s:.0f} s: {self._backlog()}")
            self._keeper.finish()
        self._tell()
        self._tell_the_end()

    def _tell_the_end(self) -> None:
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
        return f"{lines} lines are to be written" if lines else "all lines are written but not yet confirmed"

    def _stuck(self) -> StorageError:
        what = f"the disk has done nothing for {self._patience_s:.0f} s"
        return recording_stopped(what, self.path, self.lines, waiting=self._entries_waiting(), unconfirmed="no answer")

    def _told_failure(self) -> Exception:
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
                at, method, argument = self._waiting.popleft()
                if method != "tick":
                    self._in_hand_s = at
            try:
                getattr(self._writer, method)(argument)
            except Exception as error:  # whatever it is, the calling thread raises it
                with contextlib.suppress(Exception):
                    self._writer.close("aborted")
                with self._changed:
                    self._waiting.appendleft((at, method, argument))
                    self._failure = error
                    self._in_hand_s = None
                    self._changed.notify_all()
                return
            if method != "tick":
                self._keeper.wrote(at)
            with self._changed:
                self._in_hand_s = None
                self._done += 1
                self._changed.notify_all()

    def _part_ended(self, part: Part) -> None:
        self._keeper.part_ended(part)
