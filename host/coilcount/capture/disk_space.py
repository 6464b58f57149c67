"""How much room the disk has left, and one warning before it is used up."""

import shutil
from collections.abc import Callable
from pathlib import Path


def free_bytes(folder: Path) -> int:
    """Bytes that this user may still write in `folder`.  Raises OSError."""
    return shutil.disk_usage(folder).free


class DiskSpace:
    """Warns once if less than `least` bytes are left.  free: how many are left in a folder."""

    def __init__(self, least: int, free: Callable[[Path], int], on_warning: Callable[[str], None]) -> None:
        self._least = least
        self._free = free
        self._on_warning = on_warning
        self._warned = False

    def look(self, path: Path) -> None:
        """Look at the disk of this file."""
        if self._warned:
            return
        try:
            free = self._free(path.parent)
        except OSError:
            return  # the folder is gone, or this disk does not say: no reason to end a recording
        if free < self._least:
            self._warned = True
            self._on_warning(f"only {free / 1e6:.0f} MB are left on the disk of {path}: make room")
