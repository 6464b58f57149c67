"""Turns an OSError of a file into the one-line error that a person reads."""

import errno
import os

from coilcount.errors import CoilcountError, InputError, StorageError

# ENOSPC: no space on the disk; EDQUOT: the user has used all the space that is allowed; EFBIG: the file may not grow.
DISK_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def reason(error: OSError) -> str:
    """The reason as the system words it."""
    return error.strerror or str(error) or type(error).__name__


def cannot_read(error: OSError, path: str | os.PathLike) -> CoilcountError:
    """The error for a file that cannot be read."""
    if isinstance(error, FileNotFoundError):
        return InputError("there is no such file", str(path), "Check the name and the folder")
    return InputError(f"the file cannot be read: {reason(error)}", str(path), "Check the file and its permissions")


def cannot_write(error: OSError, path: str | os.PathLike) -> CoilcountError:
    """The error for a file that cannot be made or written.  If a file exists already, it names that file."""
    if isinstance(error, FileExistsError):
        path = error.filename or path
        return InputError("the file exists", str(path), "Nothing is ever overwritten: give another name")
    if isinstance(error, FileNotFoundError):
        return InputError("there is no such folder", str(path), "Make the folder, or check the name")
    if error.errno in DISK_FULL:
        return StorageError("the disk is full", str(path), "Make room and do it again")
    return InputError(f"the file cannot be written: {reason(error)}", str(path), "Check the folder and its permissions")


def recording_stopped(
    what: str, path: str | os.PathLike, lines: int, *, waiting: int = 0, unconfirmed: str = ""
) -> StorageError:
    """The error that ends a recording; it says how many lines are safe.

    what: the failure; lines: number of lines that were written; waiting: number of entries that are lost because they
    were not written; unconfirmed: why the disk did not confirm the last second, "" if it did.
    """
    if unconfirmed:
        safe = f"{lines} lines were written before, but the disk may not hold the last second of them ({unconfirmed})"
    else:
        safe = f"All {lines} lines before are safe"
    if waiting:
        safe += f"; {waiting} line{' is' if waiting == 1 else 's are'} not recorded"
    return StorageError(what, str(path), f"{safe}; make room and begin a new recording")
