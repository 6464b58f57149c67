"""The recordings of `tune`: each one once, with labels, group and content hash, replayed at every threshold.

A recording that cannot be used is left out with the reason, and the others are used.
"""

import hashlib
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np

from coilcount.desk.recordings import Recording
from coilcount.desk.replays import Watched, replay_grid
from coilcount.desk.scoring import labels_of, score
from coilcount.desk.tune_choice import Judged
from coilcount.errors import CoilcountError
from coilcount.model import GridReplay, Header, LeftOutRecording, Score, TunedRecording
from coilcount.settings import Settings

# Sigma.  The thresholds that are tried: 40, each 4.9 % above the one before.  Below 2.5 the alerts of noise run into
# each other; above 16 only strong objects are left.  All chosen by hand.
LOWEST, HIGHEST, COUNT = 2.5, 16.0, 40
GRID = tuple(round(float(threshold), 2) for threshold in np.geomspace(LOWEST, HIGHEST, COUNT))
NO_LABELS = "it has no labels"
BLOCK = 1 << 20  # bytes read at once for a hash
# "site: NAME" in a note of the recording, up to the next semicolon or line.
SITE = re.compile(r"\bsite\s*:\s*([^;\n]+)", re.IGNORECASE)

WatchedOf = Callable[[Recording], Watched | None]


def sha256(path: Path) -> str:
    """Return the SHA-256 (hex) of a file as it lies on the disk.  Raises OSError."""
    digest = hashlib.sha256()
    with open(path, "rb") as file:
        while block := file.read(BLOCK):
            digest.update(block)
    return digest.hexdigest()


def site_of(header: Header, file: str) -> str:
    """Return the site of a recording: "site: NAME" in one of its notes, else the name of its folder."""
    for note in header.notes.values():
        if match := SITE.search(str(note)):
            return match[1].strip()
    return str(Path(file).parent)


def replays(
    recordings: Sequence[Recording], candidates: Sequence[Settings], watched_of: WatchedOf
) -> Iterator[list[GridReplay] | CoilcountError]:
    """Yield for each recording its replays, one for each candidate, or the error that stopped them; in order."""
    for recording in recordings:
        try:
            yield [replay_grid(recording, settings, GRID, watched=watched_of(recording)) for settings in candidates]
        except CoilcountError as error:
            yield error


def judge(
    recordings: Sequence[Recording],
    candidates: Sequence[Settings],
    by: str,
    watched_of: WatchedOf = lambda recording: None,
) -> tuple[list[Judged], list[LeftOutRecording]]:
    """Replay and judge the recordings.  Returns those that could be used, and those that were left out.

    candidates: the settings to try, the ones in force first; all have the same threshold.
    by: "recording" or "site", the group that a recording belongs to.
    watched_of: gives a wrapper around the iterator of entries, for a progress display.
    """
    left_out: list[LeftOutRecording] = []
    usable, hashes, labels = [], {}, {}
    first_of: dict[tuple[str, ...], str] = {}
    for recording in recordings:
        name = recording.name
        try:
            hashes[name] = tuple(sha256(part) for part in recording.parts)
            labels[name] = labels_of(recording)
        except OSError as error:
            left_out.append(LeftOutRecording(name, f"the file cannot be read: {error.strerror}"))
            continue
        except CoilcountError as error:
            left_out.append(LeftOutRecording(name, str(error)))
            continue
        if hashes[name] in first_of:
            left_out.append(LeftOutRecording(name, f"the same recording as {first_of[hashes[name]]}, used once"))
        elif labels[name] is None:
            left_out.append(LeftOutRecording(name, NO_LABELS))
        else:
            first_of[hashes[name]] = name
            usable.append(recording)
    judged = []
    for recording, made in zip(usable, replays(usable, candidates, watched_of), strict=True):
        name = recording.name
        if isinstance(made, CoilcountError):
            left_out.append(LeftOutRecording(name, str(made)))
            continue
        scores = tuple(tuple(score(replay, at, labels[name]) for at in replay.at) for replay in made)
        in_force = _in_force(scores[0], candidates[0])
        if not made[0].ready_minutes:
            left_out.append(LeftOutRecording(name, "it is too short: the warm-up does not end"))
            continue
        judged.append(
            Judged(
                TunedRecording(
                    file=name,
                    sha256=hashes[name],
                    start_utc=made[0].header.start_utc,
                    simulated=made[0].header.simulated,
                    minutes=in_force.minutes,
                    passes=len(in_force.passes),
                    left_out=len(in_force.left_out),
                    group=name if by == "recording" else site_of(made[0].header, name),
                    complaint=made[0].complaint,
                ),
                scores,
            )
        )
    return judged, left_out


def _in_force(scores: Sequence[Score], settings: Settings) -> Score:
    return next(one for one in scores if one.threshold == settings.tracker["threshold"])
