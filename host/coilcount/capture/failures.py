"""An OSError of a file, as the one line that a person gets."""

import errno
import os

from coilcount.errors import CoilcountError, InputError, StorageError

# EFBIG: the file may not grow; EDQUOT: the user may not have more.
DISK_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def cannot_read(error: OSError, path: str | os.PathLike) -> CoilcountError:
    """Why `path` cannot be read."""
    if isinstance(error, FileNotFoundError):
        return InputError("there is no such file", str(path), "Look at the name and the folder")
    return InputError(f"the file cannot be read: {error.strerror}", str(path), "Look at the file and its rights")


def cannot_write(error: OSError, path: str | os.PathLike) -> CoilcountError:
    """Why `path` cannot be made or written."""
    if isinstance(error, FileExistsError):
        return InputError("the file exists", str(path), "Nothing is ever overwritten: give another name")
    if isinstance(error, FileNotFoundError):
        return InputError("there is no such folder", str(path), "Make it, or look at the name")
    if error.errno in DISK_FULL:
        return StorageError("the disk is full", str(path), "Make room and do it again")
    return InputError(f"the file cannot be written: {error.strerror}", str(path), "Look at the folder and its rights")
