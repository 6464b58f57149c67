"""Checks that the files of a recording are still there under their names, and words the warning if one is not."""

import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from coilcount.capture.writer import Part


@dataclass(slots=True)
class _Known:
    identity: tuple[int, int] | None  # device and inode number; None if this disk has no lasting inode numbers
    stands: bool = True


class Standing:
    """Checks the files of a recording repeatedly.  Each check may wait for the disk.

    on_warning: called with a sentence for a person.
    """

    def __init__(self, on_warning: Callable[[str], None]) -> None:
        self._on_warning = on_warning
        self._known: dict[Part, _Known] = {}

    @property
    def missing(self) -> list[Path]:
        """The parts that were not there under their names at the last look."""
        return [part.path for part, known in self._known.items() if not known.stands]

    def look(self, parts: list[Part]) -> None:
        """Warn of each part that is gone since the last look, and of each that came back."""
        for part in parts:
            known = self._known.get(part)
            if known is None:
                known = self._known[part] = _Known(_identity(part))
            stands = _stands(part.path, known.identity)
            if stands != known.stands:
                known.stands = stands
                self._on_warning(f"{part.path} is there again" if stands else _gone(part, known.identity))


def _identity(part: Part) -> tuple[int, int] | None:
    """Device and inode number of an open part.

    None if the part is closed, or if the disk gives a file no lasting inode number, as some network disks.
    """
    if part.file is None:
        return None
    try:
        opened = os.fstat(part.file)
    except OSError:
        return None
    identity = opened.st_dev, opened.st_ino
    try:
        named = os.stat(part.path)
    except OSError:
        return identity  # it is gone from its name already
    return identity if identity == (named.st_dev, named.st_ino) else None


def _stands(path: str | Path, identity: tuple[int, int] | None) -> bool:
    """True if there is a file at `path`, and it is the one with this identity if that is known."""
    try:
        found = os.stat(path)
    except OSError:
        return False
    return identity is None or identity == (found.st_dev, found.st_ino)


def _gone(part: Part, identity: tuple[int, int] | None) -> str:
    """The warning: what happened to the file, and how it can still be saved."""
    moved = f"{part.path} is no longer there under its name: it was renamed, or its folder was moved or unmounted"
    if part.file is None:
        return moved
    now_at = ""
    deleted = False
    with contextlib.suppress(OSError):
        deleted = os.fstat(part.file).st_nlink == 0
        now_at = os.readlink(f"/proc/self/fd/{part.file}")  # exists on Linux only
    if deleted:
        copy = f"cp /proc/{os.getpid()}/fd/{part.file} NEW.ccap"
        return (
            f"{part.path} was deleted. Recording goes on in the open file, which is lost when the recording ends"
            f"{f'. To keep it, copy it before that: {copy}' if now_at else ''}"
        )
    where = f", which is now {now_at}" if now_at and _stands(now_at, identity) else "; put the folder back"
    return f"{moved}. Recording goes on in the open file{where}"
