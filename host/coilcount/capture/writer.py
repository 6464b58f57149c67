"""Writes captures in the caller's thread: never over a file, only whole lines, in several parts if they grow large.

Use this for files that a program makes as fast as it can.  A recording uses `background_writer`, which calls this
module in a thread of its own.
"""

import contextlib
import errno
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NoReturn

from coilcount.capture.entries import encode
from coilcount.capture.failures import DISK_FULL, cannot_write, reason, recording_stopped
from coilcount.capture.lasting import Lasting
from coilcount.capture.left_open import ClosedOnExit
from coilcount.errors import InputError, StorageError
from coilcount.model import End, Entry, Header, Imported

# O_BINARY exists only on Windows; without it, a line feed would become CR LF there.
_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)
# s of the recording from a failed attempt to begin the next part until another.  Chosen by hand: often enough to find a
# folder that came back, rarely enough to cost nothing.
ROTATE_AGAIN_S = 30.0


@dataclass(eq=False, slots=True)
class Part:
    """One file of a recording.  file: its descriptor, None once it is closed."""

    path: Path
    file: int | None


def sync_part(part: Part) -> None:
    """Wait until everything written to this part is on the disk.  Raises OSError."""
    try:
        os.fsync(part.file)
    except OSError as error:
        # EINVAL: a pipe or a device, which cannot be synchronised and need not be.
        if error.errno != errno.EINVAL:
            raise


def finish_part(part: Part) -> None:
    """Make this part safe on the disk and close it; it is closed even if the disk fails.  Raises OSError."""
    try:
        sync_part(part)
    finally:
        file, part.file = part.file, None
        os.close(file)


def part_path(path: Path, number: int) -> Path:
    """The path of a part: NAME.ccap for part 1, NAME.002.ccap for part 2, and so on."""
    return path if number == 1 else path.with_name(f"{path.stem}.{number:03d}{path.suffix}")


class CaptureWriter(ClosedOnExit):
    """Appends entries to a capture; the operating system has each one when write() returns.

    path: the file, which must not exist; header: its first line.
    rotate_bytes, rotate_s: begin the next part when this one holds this many bytes, or lasts this many seconds of host
    time; None for no limit.
    on_warning: called with a sentence for a person, if something is wrong and the recording goes on.
    final: the name that the file will get when it is done, if `path` is temporary; messages use this name.
    finish: called with each part after its last line, to make it safe on the disk and close it; may raise OSError.

    If an exception leaves the `with` block, the capture ends with the status "aborted".

    Raises InputError if the file exists, cannot be made or has the suffix .gz.  Raises StorageError if a line cannot
    be written; the capture then ends with its last whole line, and is closed.
    """

    def __init__(
        self,
        path: str | os.PathLike,
        header: Header,
        *,
        rotate_bytes: int | None = None,
        rotate_s: float | None = None,
        on_warning: Callable[[str], None] = lambda text: None,
        final: str | os.PathLike | None = None,
        finish: Callable[[Part], None] = finish_part,
    ) -> None:
        self._first_path = Path(path)
        self._final = None if final is None else Path(final)
        if (self._final or self._first_path).suffix == ".gz":
            raise InputError(
                "captures are written without compression", str(final or path), "Omit .gz and compress the file later"
            )
        self.lines = 0  # in all parts
        self.parts: list[Part] = []  # all parts; the last one is being written
        self._header = header
        self._rotate_bytes = rotate_bytes
        self._rotate_s = rotate_s
        self._on_warning = on_warning
        self._finish = finish
        self._closed = False
        self._lasting = Lasting()
        self._host_s = 0.0
        self._rotate_again_s = 0.0
        self._no_next_part = ""  # why the next part could not be made
        try:
            self._begin(self._first_path, [header])
        except OSError as error:
            raise cannot_write(error, self._final or path) from None

    @property
    def path(self) -> Path:
        """Path of the part that is being written."""
        return self.parts[-1].path

    def write(self, entry: Entry) -> None:
        """Append one entry; the operating system has it when this returns.  Raises StorageError."""
        if self._closed:
            raise StorageError("the capture is closed", str(self.path), "Begin a new recording")
        self._lasting.note(entry)
        self._append(encode(entry))
        if type(entry) is not Imported:
            self.tick(entry.host_s)

    def tick(self, host_s: float) -> None:
        """Note the host time, so that the next part begins in time even if no entry comes.  Raises StorageError."""
        self._host_s = max(self._host_s, host_s)
        if self._closed or self._host_s < self._rotate_again_s:
            return
        full = self._rotate_bytes is not None and self._size >= self._rotate_bytes
        if full or (self._rotate_s is not None and self._host_s - self._part_start_s >= self._rotate_s):
            self._rotate()

    def close(self, status: str = "closed") -> None:
        """Write the End and make everything safe on the disk; a second call does nothing.  Raises StorageError."""
        if self._closed:
            return
        self._append(encode(End(self._host_s, status, self._part_lines)))
        self._closed = True
        try:
            self._finish(self.parts[-1])
        except OSError as error:
            raise StorageError(
                f"the last second may not be on the disk: {reason(error)}",
                str(self._final or self.path),
                "Check it: coilcount inspect",
            ) from None

    def _begin(self, path: Path, entries: list[Entry]) -> None:
        """Begin a part with its first lines, all of them or none.  Raises OSError."""
        data = [encode(entry) for entry in entries]
        file = os.open(path, _FLAGS, 0o644)
        try:
            _write_all(file, b"".join(data))
        except BaseException:
            os.close(file)
            with contextlib.suppress(OSError):
                os.unlink(path)
            raise
        self.parts.append(Part(path, file))
        self._size = sum(map(len, data))
        self._part_lines = len(data)
        self.lines += len(data)
        self._part_start_s = self._host_s

    def _append(self, data: bytes) -> None:
        try:
            _write_all(self.parts[-1].file, data)
        except OSError as error:
            self._give_up(error)
        self._size += len(data)
        self._part_lines += 1
        self.lines += 1

    def _give_up(self, error: OSError) -> NoReturn:
        """End the capture after its last whole line, and raise the error for a person."""
        # The half line is cut off, which also makes room for an End.  The whole lines stay even if this fails.
        self._closed = True
        part = self.parts[-1]
        full = error.errno in DISK_FULL
        end = encode(End(self._host_s, "disk full" if full else "write failed", self._part_lines))
        unconfirmed = ""
        with contextlib.suppress(OSError):
            os.ftruncate(part.file, self._size)
            if os.write(part.file, end) < len(end):
                os.ftruncate(part.file, self._size)
        try:
            self._finish(part)
        except OSError as failure:
            unconfirmed = reason(failure)
        if self._final is not None:
            raise cannot_write(error, self._final) from None
        what = "the disk is full" if full else f"the capture cannot be written: {reason(error)}"
        raise recording_stopped(what, part.path, self.lines, unconfirmed=unconfirmed) from None

    def _rotate(self) -> None:
        """Begin the next part, then end the old one, so that the recording never pauses."""
        # A reader of the new part alone needs the board's hello, the rate or threshold in force and a freeze that still
        # lasts.  They are repeated with their original times.
        repeated = self._lasting.entries()
        number = self._header.part + 1
        old, size, lines = self.parts[-1], self._size, self._part_lines
        while True:
            path = part_path(self._first_path, number)
            header = replace(self._header, part=number)
            try:
                self._begin(path, [header, *repeated])
            except FileExistsError:
                number += 1
                continue
            except OSError as error:
                self._rotate_again_s = self._host_s + ROTATE_AGAIN_S
                problem = cannot_write(error, path).what
                if problem != self._no_next_part:
                    self._no_next_part = problem
                    self._on_warning(
                        f"the next part of the recording cannot be made ({path}): {problem}. Recording goes on in "
                        f"{old.path}, and the next part is tried again every {ROTATE_AGAIN_S:.0f} s"
                    )
                return
            break
        self._header = header
        self._no_next_part = ""
        self._end_old(old, size, lines)

    def _end_old(self, part: Part, size: int, lines: int) -> None:
        failed = None
        try:
            _write_all(part.file, encode(End(self._host_s, "rotated", lines)))
            self.lines += 1
        except OSError as error:
            failed = error
            with contextlib.suppress(OSError):
                os.ftruncate(part.file, size)
        try:
            self._finish(part)
        except OSError as error:
            failed = failed or error
        if failed:
            self._on_warning(
                f"the end of {part.path} may not be on the disk: {reason(failed)}. Recording goes on in {self.path}"
            )


def _write_all(file: int, data: bytes) -> None:
    left = memoryview(data)
    while left:
        left = left[os.write(file, left) :]
