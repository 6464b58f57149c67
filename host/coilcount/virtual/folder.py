"""The temporary folder of a virtual board, and the removal of folders whose owner was killed.

The owner holds a lock on the file `lock` in the folder as long as it lives.  The system releases the lock however the
process ends.  So a folder whose lock is free has no owner, and the next virtual board that starts removes it.
"""

import contextlib
import os
import shutil
import stat
import tempfile
import time
from pathlib import Path

PREFIX = "coilcount-"
_LOCK = "lock"
# s.  If a folder has no lock after this time, its owner was killed between making the two.  Chosen by hand.
_STILL_MAKING_S = 60.0


def make() -> tuple[Path, int]:
    """Make a folder; returns its path and the descriptor that holds its lock until it is closed."""
    import fcntl

    folder = Path(tempfile.mkdtemp(prefix=PREFIX))
    fresh = folder / f"{_LOCK}.new"
    lock = os.open(fresh, os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    # It gets its name only when it is held, so that no other process ever finds it free.
    fresh.rename(folder / _LOCK)
    return folder, lock


def remove_left() -> None:
    """Remove this user's folders whose owner has ended; a folder that cannot be removed stays."""
    for folder in Path(tempfile.gettempdir()).glob(PREFIX + "*"):
        with contextlib.suppress(OSError):
            status = folder.lstat()
            if stat.S_ISDIR(status.st_mode) and status.st_uid == os.getuid():
                _remove(folder, time.time() - status.st_mtime)


def _remove(folder: Path, age_s: float) -> None:
    """Remove one folder unless its owner is alive.  Raises OSError if it is, or if the folder cannot be removed."""
    import fcntl

    try:
        lock = os.open(folder / _LOCK, os.O_RDWR | os.O_NOFOLLOW)
    except FileNotFoundError:
        if age_s > _STILL_MAKING_S:
            (folder / f"{_LOCK}.new").unlink(missing_ok=True)
            folder.rmdir()  # fails if anything else is in it
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)  # raises OSError if the owner is alive
        shutil.rmtree(folder, ignore_errors=True)
    finally:
        os.close(lock)
