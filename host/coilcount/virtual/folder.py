"""The temporary folder of a virtual board, and the removal of those whose owner was killed.

The owner holds a lock on the folder's file `lock` as long as it lives; the system lets go of it however the process
ends.  So a folder whose lock is free belongs to nobody, and the next virtual board to start removes it.
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
# A folder without a lock after this long: its owner was killed in the instant between the two.  Chosen by hand.
_STILL_MAKING_S = 60.0


def make() -> tuple[Path, int]:
    """A new folder, and the descriptor that holds its lock until it is closed."""
    import fcntl

    folder = Path(tempfile.mkdtemp(prefix=PREFIX))
    fresh = folder / f"{_LOCK}.new"
    lock = os.open(fresh, os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    # Under its name only when it is held: nobody finds it free meanwhile.
    fresh.rename(folder / _LOCK)
    return folder, lock


def remove_left() -> None:
    """Remove this user's folders whose owner is gone; what cannot be removed stays."""
    for folder in Path(tempfile.gettempdir()).glob(PREFIX + "*"):
        with contextlib.suppress(OSError):
            seen = folder.lstat()
            if stat.S_ISDIR(seen.st_mode) and seen.st_uid == os.getuid():
                _remove(folder, time.time() - seen.st_mtime)


def _remove(folder: Path, age_s: float) -> None:
    import fcntl

    try:
        lock = os.open(folder / _LOCK, os.O_RDWR | os.O_NOFOLLOW)
    except FileNotFoundError:
        if age_s > _STILL_MAKING_S:
            (folder / f"{_LOCK}.new").unlink(missing_ok=True)
            folder.rmdir()  # fails where anything else is in it
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)  # raises OSError where the owner lives
        shutil.rmtree(folder, ignore_errors=True)
    finally:
        os.close(lock)
