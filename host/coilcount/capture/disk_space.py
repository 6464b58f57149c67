"""Watches the free space of the disk, and warns once before it is used up."""

import shutil
from collections.abc import Callable
from pathlib import Path


def free_bytes(folder: Path) -> int:
    """Bytes that this user may still write in `folder`.  Raises OSError."""
    return shutil.disk_usage(folder).free


class DiskSpace:
    """Warns once if less than `least` bytes are free.

    free: returns the free bytes of a folder's disk; on_warning: called with a sentence for a person.
    """

    def __init__(self, least: int, free: Callable[[Path], int], on_warning: Callable[[str], None]) -> None:
        self._least = least
        self._free = free
        self._on_warning = on_warning
        self._warned = False

    def look(self, path: Path) -> None:
        """Check the disk that holds this file."""
        if self._warned:
            return
        try:
            free = self._free(path.parent)
        except OSError:
            return  # the folder is gone, or this disk does not report it: the recording goes on
        if free < self._least:
            self._warned = True
            self._on_warning(f"only {free / 1e6:.0f} MB are free on the disk of {path}: make room")
