"""Writes captures: never over a file, a flush for every line, the disk asked to keep them once a second."""

import contextlib
import errno
import os
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Self

from coilwire import frame

from coilcount.capture.entries import encode
from coilcount.capture.failures import DISK_FULL, cannot_write
from coilcount.errors import InputError, StorageError
from coilcount.model import End, Entry, Header, Imported, Line, Operator

_HELLO_PREFIX = b"@H,"
# O_BINARY is there on Windows only, which else makes CRLF of a line feed.
_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)


def free_bytes(folder: Path) -> int:
    """Bytes that this user may still write in `folder`."""
    return shutil.disk_usage(folder).free


def part_path(path: Path, part: int) -> Path:
    """NAME.ccap for part 1, NAME.002.ccap for part 2, and so on."""
    return path if part == 1 else path.with_name(f"{path.stem}.{part:03d}{path.suffix}")


class CaptureWriter:
    """Appends entries to a capture; time comes in with the entries.

    path: the file, which must not exist; header: its first line.
    rotate_bytes, rotate_s: go on in the next part once this one holds so much, or so many host seconds.
    min_free_bytes: below this on_warning is called, once, with a sentence for a person.
    sync_s: the longest time by host_s between two fsync; None: only when a part is closed (for a file that a
    program makes as fast as it can and could make again).

    Raises InputError where the file exists, cannot be made or is to be compressed; StorageError where a line cannot
    be written, and then every whole line is safe on the disk.
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
        sync_s: float | None = 1.0,
    ) -> None:
        self.path = Path(path)  # of the part that is being written
        if self.path.suffix == ".gz":
            raise InputError("captures are written plain", str(path), "Leave .gz away and compress it afterwards")
        self.lines = 0  # in all parts
        self._first_path = self.path
        self._header = header
        self._rotate_bytes = rotate_bytes
        self._rotate_s = rotate_s
        self._min_free_bytes = min_free_bytes
        self._on_warning = on_warning
        self._free = free
        self._sync_s = sync_s
        self._warned = False
        self._hello: Line | None = None
        self._threshold: Operator | None = None
        self._freeze: Operator | None = None
        self._host_s = 0.0
        self._synced_s = 0.0
        self._file: int | None = None
        self._open(self.path, header)
        self._look_at_disk()

    def write(self, entry: Entry) -> None:
        """Append one entry; it is with the operating system when this returns."""
        if self._file is None:
            raise StorageError("the capture is closed", str(self.path), "Begin a new recording")
        if type(entry) is Line:
            if entry.data.find(_HELLO_PREFIX) >= 0 and frame.parse(entry.data):
                self._hello = entry
        elif type(entry) is Operator:
            if entry.action == "threshold":
                self._threshold = entry
            elif entry.action in ("freeze", "thaw"):
                self._freeze = entry if entry.action == "freeze" else None
        self._append(encode(entry))
        if type(entry) is not Imported:
            self.tick(entry.host_s)

    def tick(self, host_s: float) -> None:
        """Tell the time where no entry comes: what was written is made safe once a second."""
        self._host_s = max(self._host_s, host_s)
        if self._file is None:
            return
        if self._sync_s is not None and self._host_s - self._synced_s >= self._sync_s:
            self._sync()
            self._synced_s = self._host_s
            self._look_at_disk()
        full = self._rotate_bytes is not None and self._size >= self._rotate_bytes
        if full or (self._rotate_s is not None and self._host_s - self._part_start_s >= self._rotate_s):
            self._rotate()

    def close(self, status: str = "closed") -> None:
        """Write the End and make everything safe; a second call does nothing."""
        if self._file is None:
            return
        self._append(encode(End(self._host_s, status, self._part_lines)))
        self._finish()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _open(self, path: Path, header: Header) -> None:
        try:
            file = os.open(path, _FLAGS, 0o644)
        except OSError as error:
            raise cannot_write(error, path) from None
        self._file = file
        self.path = path
        self._size = 0
        self._part_lines = 0
        self._part_start_s = self._host_s
        self._append(encode(header))

    def _append(self, data: bytes) -> None:
        left = memoryview(data)
        try:
            while left:
                left = left[os.write(self._file, left) :]
        except OSError as error:
            self._give_up(error)
        self._size += len(data)
        self._part_lines += 1
        self.lines += 1

    def _give_up(self, error: OSError) -> None:
        # Cut the half line off, which also makes room for an End; whatever fails here, the whole lines stay.
        end = encode(End(self._host_s, "disk full", self._part_lines))
        with contextlib.suppress(OSError):
            os.ftruncate(self._file, self._size)
            if self._size == 0:
                os.unlink(self.path)
            elif os.write(self._file, end) < len(end):
                os.ftruncate(self._file, self._size)
        self._finish()
        what = "the disk is full" if error.errno in DISK_FULL else f"the capture cannot be written: {error.strerror}"
        raise StorageError(
            what, str(self.path), f"All {self.lines} lines before are safe; make room and begin a new recording"
        ) from None

    def _sync(self) -> None:
        try:
            os.fsync(self._file)
        except OSError as error:
            # A pipe or a device cannot be synchronised; a disk that fails to must be told of.
            if error.errno != errno.EINVAL:
                self._give_up(error)

    def _finish(self) -> None:
        file, self._file = self._file, None
        try:
            os.fsync(file)
        except OSError as error:
            if error.errno != errno.EINVAL:
                raise StorageError(
                    f"the last second may not be on the disk: {error.strerror}",
                    str(self.path),
                    "Check it: coilcount inspect",
                ) from None
        finally:
            os.close(file)

    def _rotate(self) -> None:
        self.close("rotated")
        part = self._header.part + 1
        while (path := part_path(self._first_path, part)).exists():
            part += 1
        self._header = replace(self._header, part=part)
        self._open(path, self._header)
        # What a reader of this part alone needs: the board, the threshold in force, a freeze that still lasts.  At
        # their own times.
        for entry in (self._hello, self._threshold, self._freeze):
            if entry is not None:
                self._append(encode(entry))
        self._synced_s = self._host_s

    def _look_at_disk(self) -> None:
        if self._warned:
            return
        free = self._free(self.path.parent)
        if free < self._min_free_bytes:
            self._warned = True
            self._on_warning(f"only {free / 1e6:.0f} MB are left on the disk of {self.path}: make room")
