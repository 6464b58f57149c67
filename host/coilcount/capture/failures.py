"""An OSError of a file, as the one line that a person gets."""

import errno
import os

from coilcount.errors import CoilcountError, InputError, StorageError

# EFBIG: the file may not grow; EDQUOT: the user may not have more.
DISK_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def reason(error: OSError) -> str:
    """What the system says, in its words."""
    return error.strerror or str(error) or type(error).__name__


def cannot_read(error: OSError, path: str | os.PathLike) -> CoilcountError:
    """Why `path` cannot be read."""
    if isinstance(error, FileNotFoundError):
        return InputError("there is no such file", str(path), "Look at the name and the folder")
    return InputError(f"the file cannot be read: {reason(error)}", str(path), "Look at the file and its rights")


def cannot_write(error: OSError, path: str | os.PathLike) -> CoilcountError:
    """Why `path` cannot be made or written; if a file exists that the error names, that file."""
    if isinstance(error, FileExistsError):
        path = error.filename or path
        return InputError("the file exists", str(path), "Nothing is ever overwritten: give another name")
    if isinstance(error, FileNotFoundError):
        return InputError("there is no such folder", str(path), "Make it, or look at the name")
    if error.errno in DISK_FULL:
        return StorageError("the disk is full", str(path), "Make room and do it again")
    return InputError(f"the file cannot be written: {reason(error)}", str(path), "Look at the folder and its rights")


def recording_stopped(
    what: str, path: str | os.PathLike, lines: int, *, waiting: int = 0, unconfirmed: str = ""
) -> StorageError:
    """Why a recording cannot go on, and what of it is safe.

    lines: those that were written; waiting: entries that were not written any more; unconfirmed: why the disk did not
    confirm the last second, if it did not.
    """
    if unconfirmed:
        safe = f"{lines} lines were written before, but the disk may not hold the last second of them ({unconfirmed})"
    else:
        safe = f"All {lines} lines before are safe"
    if waiting:
        safe += f"; {waiting} line{' is' if waiting == 1 else 's are'} not recorded"
    return StorageError(what, str(path), f"{safe}; make room and begin a new recording")
