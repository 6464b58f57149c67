"""New files that appear whole or not at all: written under a temporary name, then given their own.

A name that is taken is never written over.  A command that fails or is interrupted leaves nothing in the way, so that
it can be run again.  Everything here raises plain OSError, for the caller to say in its own words.
"""

import contextlib
import errno
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

# What stays behind if the process is killed: such a file may be deleted.
_MARK = "unfinished"


@contextlib.contextmanager
def new_paths(*paths: str | os.PathLike) -> Iterator[list[Path]]:
    """A temporary path beside each of `paths`, for the body to make the files at.

    After the body all files get their own names, or none of them does.  If the body or the naming raises, also by
    Ctrl-C, the temporary files are removed.  Raises FileExistsError if a name is taken, before the body and after it.
    """
    finals = [Path(path) for path in paths]
    for path in finals:
        # As O_EXCL has it: a link that leads nowhere takes the name as well.
        if os.path.lexists(path):
            raise _taken(path)
    # Cut, because a long name with more behind it may be too long.
    temporaries = [path.with_name(f"{path.name[:50]}.{_MARK}-{secrets.token_hex(4)}") for path in finals]
    named: list[Path] = []
    try:
        yield temporaries
        for temporary, path in zip(temporaries, finals, strict=True):
            _give_name(temporary, path)
            named.append(path)
    except BaseException:
        for path in [*named, *temporaries]:
            with contextlib.suppress(OSError):
                path.unlink()
        raise


@contextlib.contextmanager
def new_file(path: str | os.PathLike, mode: str = "w", **options: Any) -> Iterator[IO]:
    """One new file, open for writing (`mode` and `options` as of open()); it is on the disk before it has its name.

    Raises FileExistsError if the name is taken, OSError if the file cannot be made or written.
    """
    if "b" not in mode:
        options = {"encoding": "utf-8", **options}
    with new_paths(path) as (temporary,), open(temporary, mode, **options) as file:
        yield file
        file.flush()
        os.fsync(file.fileno())


def _give_name(temporary: Path, path: Path) -> None:
    """Rename without ever replacing a file, which os.rename alone does not promise."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise _taken(path) from None
    except OSError:
        # A file system without hard links, such as FAT.  The name is claimed first, and then our own claim replaced.
        try:
            os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            raise _taken(path) from None
        try:
            os.replace(temporary, path)
        except OSError:
            path.unlink()
            raise
    else:
        with contextlib.suppress(OSError):
            os.unlink(temporary)


def _taken(path: Path) -> FileExistsError:
    return FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
