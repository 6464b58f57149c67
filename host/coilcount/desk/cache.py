"""The cache of replays: a folder of files, one for each recording, settings, thresholds and rates that were replayed.

A file is found by a hash of everything that the result depends on, so a result is never out of date.  Any trouble with
the folder counts as "not there": the work is then done again, and nothing is lost.
"""

import contextlib
import functools
import hashlib
import json
import os
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import coilwire

import coilcount
from coilcount.desk import replay_file
from coilcount.desk.recordings import Recording
from coilcount.model import GridReplay
from coilcount.settings import Settings

# The environment variables that move or limit the cache.
FOLDER_VARIABLE = "COILCOUNT_CACHE"
LIMIT_VARIABLE = "COILCOUNT_CACHE_MB"
# MB (10^6 bytes) that the cache may use.  Chosen by hand: about 100 hours of readings at 20 ms.
DEFAULT_LIMIT_MB = 500.0
_ENDING = ".replay"
_UNFINISHED = ".unfinished"
# Seconds after which an unfinished file is taken for one of a process that was killed.  Chosen by hand.
_GIVEN_UP_S = 3600.0
# Rooms whose code a result depends on.
_ROOMS = ("capture", "chain", "desk", "model", "readings", "tracker")


@dataclass(frozen=True, slots=True)
class Key:
    """Stands for one result.

    digest: the name of its file.  states: size and time of change of each part when it was read.
    """

    digest: str
    states: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Contents:
    """What is in the cache.

    bytes: of all files.  oldest_s: Unix time of the last use of the file that was not used for longest; None without
    files.
    """

    folder: Path
    files: int
    bytes: int
    limit_bytes: int
    oldest_s: float | None


class Cache:
    """Results of replays in a folder.  Several processes may use it at once.  No method raises OSError but clear()."""

    def __init__(self, folder: Path, limit_mb: float = DEFAULT_LIMIT_MB) -> None:
        self.folder = folder
        self.limit_bytes = int(limit_mb * 1e6)

    def key(
        self, recording: Recording, settings: Settings, thresholds: Sequence[float], rates: Sequence[float] = ()
    ) -> Key | None:
        """The key of a result; None if the recording cannot be read.

        The key depends on the contents of all parts, the settings of the tracker, the thresholds, the rates and the
        program.  What an earlier session had learned stands in the first part.  The key does not depend on names and
        places of files.
        """
        own, asked = settings.fixed_threshold, settings.false_alarms_per_minute
        described = {
            "tracker": {name: settings.tracker[name] for name in sorted(settings.tracker)},
            "thresholds": sorted({*([] if own is None else [own]), *map(float, thresholds)}),
            "rates": sorted({*([] if asked is None else [asked]), *map(float, rates)}),
            "program": _program(),
        }
        digest = hashlib.sha256(json.dumps(described).encode())
        states = []
        try:
            for part in recording.parts:
                with open(part, "rb") as file:
                    states.append(_state(file.fileno()))
                    digest.update(hashlib.file_digest(file, "sha256").digest())
        except OSError:
            return None
        return Key(digest.hexdigest(), tuple(states))

    def load(
        self, key: Key | None, recording: Recording, settings: Settings, series: bool = False
    ) -> GridReplay | None:
        """The result for a key; None if it is not there.  A damaged file is removed.

        recording, settings: those that the key was made of.  series: the readings are needed.
        """
        if key is None:
            return None
        path = self._path(key)
        try:
            data = path.read_bytes()
            found = replay_file.decode(data, series)
        except OSError:
            return None
        except ValueError:
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        if found is None:
            return None
        with contextlib.suppress(OSError):
            os.utime(path)  # used now
        return replace(
            found,
            name=recording.name,
            parts=tuple(map(str, recording.parts)),
            summary=replace(found.summary, settings_sha256=settings.sha256()),
        )

    def store(self, key: Key | None, replay: GridReplay) -> bool:
        """Keep a result.  Returns False if that was not possible, or if the recording has changed since its key.

        The files that were not used for longest are removed if all together are larger than the limit.
        """
        try:
            if key is None or tuple(_state(part) for part in replay.parts) != key.states:
                return False
            data = replay_file.encode(replay)
            if len(data) > self.limit_bytes:
                return False
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._write(self._path(key), data)
            self._make_room()
        except (OSError, ValueError):
            return False
        return True

    def contents(self) -> Contents:
        """What is in the cache."""
        files = self._files()
        oldest_s = min((used_s for used_s, _, _ in files), default=None)
        return Contents(self.folder, len(files), sum(size for _, size, _ in files), self.limit_bytes, oldest_s)

    def clear(self) -> int:
        """Remove all results, and nothing else; return their number.  Raises OSError if one cannot be removed."""
        files = self._files()
        for _, _, path in files:
            path.unlink(missing_ok=True)
        self._remove_unfinished(0.0)
        with contextlib.suppress(OSError):  # not there, or with files of others in it
            self.folder.rmdir()
        return len(files)

    def _path(self, key: Key) -> Path:
        return self.folder / (key.digest + _ENDING)

    def _write(self, path: Path, data: bytes) -> None:
        """Write a file that appears whole or not at all, also if another process writes the same one."""
        number, name = tempfile.mkstemp(_UNFINISHED, "", self.folder)
        try:
            with open(number, "wb") as file:
                file.write(data)
            os.replace(name, path)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name)
            raise

    def _make_room(self) -> None:
        self._remove_unfinished(_GIVEN_UP_S)
        files = sorted(self._files(), key=lambda file: file[0])
        total = sum(size for _, size, _ in files)
        for _, size, path in files:
            if total <= self.limit_bytes:
                return
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
                total -= size

    def _remove_unfinished(self, age_s: float) -> None:
        for used_s, _, path in self._files(_UNFINISHED):
            if time.time() - used_s >= age_s:
                with contextlib.suppress(OSError):
                    path.unlink(missing_ok=True)

    def _files(self, ending: str = _ENDING) -> list[tuple[float, int, Path]]:
        """(time of the last use, bytes, path) of all files.  Another process may remove one meanwhile."""
        return list(self._each_file(ending))

    def _each_file(self, ending: str) -> Iterator[tuple[float, int, Path]]:
        with contextlib.suppress(OSError), os.scandir(self.folder) as entries:
            for entry in entries:
                if entry.name.endswith(ending):
                    with contextlib.suppress(OSError):
                        state = entry.stat(follow_symlinks=False)
                        yield state.st_mtime, state.st_size, Path(entry.path)


def cache_folder(environ: Mapping[str, str], platform: str = sys.platform) -> Path | None:
    """The folder of the cache: that of COILCOUNT_CACHE, else the platform's usual place.

    None if there shall be no cache (COILCOUNT_CACHE is "off"), or if the home folder is not known.
    """
    given = environ.get(FOLDER_VARIABLE, "")
    if given:
        return None if given == "off" else Path(given)
    if platform == "win32":
        base = environ.get("LOCALAPPDATA")
        return Path(base) / "coilcount" / "Cache" if base else None
    home = environ.get("HOME")
    if platform == "darwin":
        return Path(home) / "Library" / "Caches" / "coilcount" if home else None
    # XDG base directory specification: a relative path in this variable must be ignored.
    base = environ.get("XDG_CACHE_HOME", "")
    if not base.startswith("/"):
        base = home and f"{home}/.cache"
    return Path(base) / "coilcount" if base else None


def _state(file: int | str) -> tuple[int, int]:
    """Size and time of the last change of a file."""
    state = os.stat(file)
    return state.st_size, state.st_mtime_ns


@functools.cache
def _program() -> str:
    """The version of coilcount and a hash of the code that makes the results, so that a change of it counts."""
    digest = hashlib.sha256(coilcount.__version__.encode())
    host = Path(coilcount.__file__).parent
    for folder in (Path(coilwire.__file__).parent, *(host / room for room in _ROOMS)):
        for path in sorted(folder.glob("*.py")):
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
