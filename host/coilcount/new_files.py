"""New files that appear whole or not at all: each is written under a temporary name and then given its own.

An existing file is never overwritten.  A command that fails or is interrupted leaves no file behind, so that it can be
run again.  All functions raise plain OSError; the caller turns it into a message.
"""

import contextlib
import errno
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

# Part of the temporary name.  If the process is killed such a file stays behind, and may be deleted.
_MARK = "unfinished"
# Characters of the name that are kept in the temporary one.  File systems allow 255 bytes, and a character has up to
# four; 50 leave room for the addition.
_NAME_KEPT = 50


@contextlib.contextmanager
def new_paths(*paths: str | os.PathLike) -> Iterator[list[Path]]:
    """A temporary path beside each of `paths`; the body makes its files there.

    After the body all files get their own names, or none of them does.  If the body or the naming raises, also by
    Ctrl-C, the temporary files are removed.  Raises FileExistsError if a name is taken, before the body and after it.
    """
    finals = [Path(path) for path in paths]
    for path in finals:
        # As with O_EXCL: a link that leads nowhere takes the name as well.
        if os.path.lexists(path):
            raise _taken(path)
    # The name is cut: a long name with an addition may be longer than the file system allows.
    temporaries = [path.with_name(f"{path.name[:_NAME_KEPT]}.{_MARK}-{secrets.token_hex(4)}") for path in finals]
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
    """One new file, open for writing; it is on the disk before it gets its name.

    mode, options: as of open(); text is UTF-8 unless `options` say otherwise.

    Raises FileExistsError if the name is taken, OSError if the file cannot be made or written.
    """
    if "b" not in mode:
        options = {"encoding": "utf-8", **options}
    with new_paths(path) as (temporary,), open(temporary, mode, **options) as file:
        yield file
        file.flush()
        os.fsync(file.fileno())


def _give_name(temporary: Path, path: Path) -> None:
    """Rename without ever replacing a file; os.rename alone would replace it on some systems."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise _taken(path) from None
    except OSError:
        # A file system without hard links, such as FAT: take the name with an empty file, then replace that file.
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
