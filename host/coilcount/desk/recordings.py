"""Recordings as the desk takes them: one capture, or the rotated parts of one recording in their order."""

import hashlib
import itertools
import os
import re
import stat
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from coilcount.capture.entries import encode
from coilcount.capture.labels import labels_path, proposed_path
from coilcount.capture.parts import follows_on, read_parts
from coilcount.capture.reader import Report, read_capture, read_text
from coilcount.capture.writer import part_path
from coilcount.errors import CoilcountError, InputError
from coilcount.model import Entry, Header


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording.

    parts: its captures in their order.
    missing: numbers of the parts that are not among them, in front of the last one.
    """

    parts: tuple[Path, ...]
    missing: tuple[int, ...] = ()

    @property
    def name(self) -> str:
        """The path of the first part, as messages show it."""
        return str(self.parts[0])

    @property
    def title(self) -> str:
        """The name, and how many parts follow the first."""
        more = len(self.parts) - 1
        return self.name + (f" and {more} more part{'s' if more > 1 else ''}" if more else "")

    @property
    def labels(self) -> Path:
        """The path of its labels, whether or not there is such a file."""
        return labels_path(self.parts[0])


@dataclass(frozen=True, slots=True)
class Found(Sequence):
    """The recordings in files and folders, and what a user should know about them.

    warnings: sentences, each with the path that it is about.
    """

    recordings: tuple[Recording, ...]
    warnings: tuple[str, ...] = ()

    def __getitem__(self, index):
        return self.recordings[index]

    def __len__(self) -> int:
        return len(self.recordings)


def read_recording(recording: Recording, report: Report, skim: bool = False) -> Iterator[Entry]:
    """The entries of a recording, the Header first, as read_capture() gives them; see there for what is raised.

    Several parts come as one stream, and the report is on all of them.
    skim: if True, of each run of intervals only the first and the last are returned.
    """
    yield from read_parts(recording.parts, report, recording.missing, skim)


def find_recordings(words: Iterable[str | os.PathLike]) -> Found:
    """The recordings in files and folders, as a user gives them.

    Folders are searched with everything below them.  The parts of a rotated recording are taken together.  A capture
    that is given twice is used once.  In folders, files that cannot be read as captures are left out with a warning; a
    file that was given itself is not judged here, so that reading it reports what is wrong.
    Raises InputError if a folder holds no capture.
    """
    search = _Search()
    for word in words:
        path = Path(word)
        if path.is_dir():
            search.folder(path)
        else:
            search.file(path, required=True)
    return search.result()


def recording_of(path: str | os.PathLike) -> Recording:
    """The recording that a capture belongs to, with its other parts from the same folder."""
    path = Path(path)
    search = _Search()
    search.file(path, required=True)
    beside = [other for other in _captures(path.parent, "*") if _base(other)[0] == _base(path)[0]]
    for other in beside:
        search.file(other, required=False)
    return next(recording for recording in search.result() if path in recording.parts)


@dataclass(slots=True)
class _File:
    """A capture before it is known what it belongs to.  header: None if it cannot be read."""

    path: Path
    header: Header | None = None
    begun: bool = False  # it is a capture, though its header may be damaged
    same: list[Path] = field(default_factory=list)  # other names of the same content

    @property
    def key(self) -> bytes:
        """Equal for all parts of one recording: the header of part 1."""
        return b"" if self.header is None else encode(replace(self.header, part=1))

    @property
    def number(self) -> int:
        return 0 if self.header is None else self.header.part


class _Search:
    """Collects files, then sorts them into recordings."""

    def __init__(self) -> None:
        self._files: list[_File] = []
        self._by_id: dict[tuple[int, int], _File] = {}  # device and number of a file, which is one under all its names
        self._rivals: list[_File] = []  # files that have the header of another one and are no part beside it
        self._warnings: list[str] = []

    def folder(self, folder: Path) -> None:
        """Take every capture in a folder and below it."""
        paths = _captures(folder, "**/*")
        used = sum([self.file(path, required=False) for path in paths])
        if not used:
            what = "the folder holds no captures" if not paths else "the folder holds no capture that can be read"
            remedy = "Give a folder with .ccap or .ccap.gz files" if not paths else self._warnings[-1]
            raise InputError(what, str(folder), remedy)
        known = {labels_path(path) for path in paths}
        known |= {proposed_path(path) for path in known}
        for path in sorted([*folder.rglob("*.labels.csv"), *folder.rglob("*.proposed.csv")]):
            if path not in known:
                self._warnings.append(f"{path}: labels without a capture; they are not used")

    def file(self, path: Path, required: bool) -> bool:
        """Take one file.  Returns True if it is used.  required: if True, it is used even if it cannot be read."""
        try:
            info = path.stat()
        except OSError:
            info = None
        if info is None or not stat.S_ISREG(info.st_mode):
            # Reading reports what is wrong.  A pipe is not looked into, because that would take away its start.
            if required:
                self._files.append(_File(path))
            return required
        known = self._by_id.get((info.st_dev, info.st_ino))
        if known is not None:
            if required or path != known.path:
                self._warnings.append(f"{path}: given twice, used once")
            return True
        file = _File(path)
        try:
            report = Report()
            entries = read_capture(path, report)
            header = next(entries)
            file.begun = True
            if not report.header_lost:
                file.header = header
            entries.close()
        except CoilcountError as error:
            if not required:
                self._warnings.append(f"{path}: left out: {error.what}")
                return False
        self._files.append(file)
        self._by_id[info.st_dev, info.st_ino] = file
        return True

    def result(self) -> Found:
        """The recordings in the order in which the first file of each came."""
        recordings: dict[int, Recording] = {}
        self._recognise_by_name()
        groups: dict[bytes, list[_File]] = {}
        for file in self._files:
            groups.setdefault(file.key, []).append(file)
        for key, files in groups.items():
            distinct = self._distinct(files)
            for members in self._joined(distinct) if key else [[file] for file in distinct]:
                place = min(self._files.index(file) for file in members)
                recordings[place] = self._recording(members)
        return Found(tuple(recordings[place] for place in sorted(recordings)), tuple(self._warnings))

    def _recognise_by_name(self) -> None:
        """Give a file whose header is damaged that of the recording whose part it is by its name."""
        for file in self._files:
            if file.header is not None or not file.begun:
                continue
            name, number = _base(file.path)
            place = file.path.with_name(name)
            kin = [
                other
                for other in self._files
                if other.header is not None and other.path.with_name(_base(other.path)[0]) == place
            ]
            if len({other.key for other in kin}) == 1 and number not in {other.number for other in kin}:
                file.header = replace(kin[0].header, part=number)

    def _distinct(self, files: list[_File]) -> list[_File]:
        """Leave out files whose content is that of an earlier one.  All of them have the same key."""
        kept: list[_File] = []
        seen: dict[tuple, _File] = {}
        numbers = [file.number for file in files]
        for file in files:
            # Only files that begin in the same way are read for their content.
            mark = (file.number, _content(file.path) if file.begun and numbers.count(file.number) > 1 else None)
            if mark[1] is not None and mark in seen:
                first = seen[mark]
                first.same.append(file.path)
                self._warnings.append(f"{file.path}: the same content as {first.path}; used once")
            else:
                seen[mark] = file
                kept.append(file)
        return kept

    def _joined(self, files: list[_File]) -> list[list[_File]]:
        """The parts of one recording, in their order, and what else has the same header."""
        parts: dict[int, _File] = {}
        others = []
        first = min(files, key=lambda file: file.number)
        for file in files:
            rival = parts.setdefault(file.number, file)
            if rival is not file:
                if _base(file.path) == (_base(first.path)[0], file.number) != _base(rival.path):
                    parts[file.number], file, rival = file, rival, file
                others.append([file])
                self._rivals.append(file)
                self._warnings.append(
                    f"{file.path}: begins with the same header as {rival.path}; if one is made from the other, "
                    "give only one of them"
                )
        return [[parts[number] for number in sorted(parts)], *others]

    def _recording(self, members: list[_File]) -> Recording:
        paths = tuple(file.path for file in members)
        last = members[-1]
        if last.header is None or last in self._rivals:
            return Recording(paths)
        numbers = [file.number for file in members]
        missing = list(range(1, numbers[0]))
        for earlier, later in itertools.pairwise(members):
            between = range(earlier.number + 1, later.number)
            # A writer skips a number whose file exists.  Then the parts follow one another all the same.
            if between and not follows_on(earlier.path, later.path):
                missing += between
        if missing:
            words = ", ".join(map(str, missing))
            self._warnings.append(
                f"{paths[0]}: part {words} of this recording is not given"
                + ("; times count from the start of the first part that is given" if numbers[0] > 1 else "")
            )
        following = self._following(last)
        if following is not None:
            self._warnings.append(f"{last.path}: the recording goes on in {following}, which is not given")
        for path in paths[1:]:
            if labels_path(path).exists():
                self._warnings.append(
                    f"{labels_path(path)}: not used; labels of a recording lie beside its first part, {paths[0]}"
                )
        return Recording(paths, tuple(missing))

    def _following(self, last: _File) -> Path | None:
        """The next part of a recording, if it lies beside the last one that was given."""
        name, number = _base(last.path)
        if number != last.number:
            return None
        plain = part_path(last.path.with_name(name), number + 1)
        given = {path for file in self._files for path in (file.path, *file.same)}
        for path in (plain, plain.with_name(plain.name + ".gz")):
            if path in given or not path.is_file():
                continue
            try:
                header = next(read_capture(path))
            except CoilcountError:
                continue
            if encode(replace(header, part=1)) == last.key:
                return path
        return None


def _captures(folder: Path, pattern: str) -> list[Path]:
    return sorted(path for end in (".ccap", ".ccap.gz") for path in folder.glob(pattern + end) if not path.is_dir())


def _base(path: Path) -> tuple[str, int]:
    """The name of part 1 and the number of the part, by the path of a part."""
    name = path.name.removesuffix(".gz")
    found = re.fullmatch(r"(.+)\.(\d{3,})(\.[^.]+)", name)
    return (found[1] + found[3], int(found[2])) if found else (name, 1)


def _content(path: Path) -> bytes | None:
    """A hash of the text in a file, compressed or not; None if it cannot be read."""
    digest = hashlib.sha256()
    try:
        for chunk in read_text(path):
            digest.update(chunk)
    except CoilcountError:
        return None
    return digest.digest()
