"""Recordings as the desk takes them: one capture, or the rotated parts of one recording in their order."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from coilcount.capture.labels import labels_path
from coilcount.capture.reader import Report, read_capture
from coilcount.errors import InputError
from coilcount.model import Entry


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording.  parts: its captures in their order."""

    parts: tuple[Path, ...]

    @property
    def name(self) -> str:
        """The path of the first part, as messages show it."""
        return str(self.parts[0])

    @property
    def labels(self) -> Path:
        """The path of its labels, whether or not there is such a file."""
        return labels_path(self.parts[0])


def read_recording(recording: Recording, report: Report) -> Iterator[Entry]:
    """The entries of a recording, the Header first, as read_capture() gives them; see there for what is raised."""
    if len(recording.parts) > 1:
        raise NotImplementedError
    yield from read_capture(recording.parts[0], report)


def find_recordings(words: Iterable[str]) -> list[Recording]:
    """The recordings in files and folders, as a user gives them.  Raises InputError if a folder holds none."""
    found = []
    for word in words:
        path = Path(word)
        files = sorted([*path.rglob("*.ccap"), *path.rglob("*.ccap.gz")]) if path.is_dir() else [path]
        if not files:
            raise InputError("the folder holds no captures", word, "Give a folder with .ccap or .ccap.gz files")
        found += [Recording((file,)) for file in files]
    return found
