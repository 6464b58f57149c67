"""The recordings of `tune`: each one once, with labels, group and content hash, replayed at every threshold.

A recording that cannot be used is left out with the reason, and the others are used.
"""

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from coilcount.desk.cache import Cache
from coilcount.desk.many import Job, replay_jobs
from coilcount.desk.recordings import Recording
from coilcount.desk.scoring import labels_of, score
from coilcount.desk.tune_choice import Judged
from coilcount.errors import CoilcountError
from coilcount.model import GridReplay, Header, Label, LeftOutRecording, Score, TunedRecording
from coilcount.settings import RATES, Settings

# Sigma.  The thresholds that are tried: 40, each 4.9 % above the one before.  Below 2.5 the alerts of noise run into
# each other; above 16 only strong objects are left.  All chosen by hand.
LOWEST, HIGHEST, COUNT = 2.5, 16.0, 40
GRID = tuple(round(float(threshold), 2) for threshold in np.geomspace(LOWEST, HIGHEST, COUNT))
NO_LABELS = "it has no labels"
BLOCK = 1 << 20  # bytes read at once for a hash
# "site: NAME" in a note of the recording, up to the next semicolon or line.
SITE = re.compile(r"\bsite\s*:\s*([^;\n]+)", re.IGNORECASE)

Progress = Callable[[float], None]


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


def judge(
    recordings: Sequence[Recording],
    candidates: Sequence[Settings],
    by: str,
    progress: Progress = lambda share: None,
    cache: Cache | None = None,
) -> tuple[list[Judged], list[LeftOutRecording]]:
    """Replay and judge the recordings.  Returns those that could be used, and those that were left out.

    candidates: the settings to try, the ones in force first; all have the same threshold or rate.
    by: "recording" or "site", the group that a recording belongs to.
    progress: called with the share that is done, 0 to 1.
    cache: where results of earlier replays are; None for none.
    """
    usable, left_out = _usable(recordings)
    jobs = [Job(one.recording, settings, tuple(GRID), rates=RATES) for one in usable for settings in candidates]
    scores: list[tuple[Score, ...]] = [()] * len(jobs)
    at_rates: list[tuple[Score, ...]] = [()] * len(jobs)
    owns: dict[int, Score] = {}
    firsts: dict[int, TunedRecording] = {}
    refused: dict[int, str] = {}
    for number, replay in replay_jobs(jobs, progress=progress, cache=cache):
        position, candidate = divmod(number, len(candidates))
        one = usable[position]
        if isinstance(replay, CoilcountError):
            refused[position] = str(replay)
            continue
        # Only the scores are kept: the replays of many hours would fill the memory.
        made = [score(replay, at, one.labels) for at in replay.at]
        scores[number] = tuple(judged_at for judged_at in made if judged_at.asked_per_minute is None)
        rates = [judged_at for judged_at in made if judged_at.asked_per_minute in RATES]
        at_rates[number] = tuple(sorted(rates, key=lambda judged_at: judged_at.asked_per_minute))
        if candidate == 0:
            own = owns[position] = made[replay.own]
            firsts[position] = _described(one, replay, own, by)
            if not replay.ready_minutes:
                refused[position] = "it is too short: the warm-up does not end"
    judged = []
    for position, one in enumerate(usable):
        if position in refused:
            left_out.append(LeftOutRecording(one.recording.name, refused[position]))
            continue
        part = slice(position * len(candidates), (position + 1) * len(candidates))
        judged.append(Judged(firsts[position], tuple(scores[part]), tuple(at_rates[part]), owns[position]))
    return judged, left_out


@dataclass(frozen=True, slots=True)
class _Usable:
    recording: Recording
    hashes: tuple[str, ...]
    labels: list[Label]


def _usable(recordings: Sequence[Recording]) -> tuple[list[_Usable], list[LeftOutRecording]]:
    """The recordings that have labels, each one once, and those that are left out."""
    usable: list[_Usable] = []
    left_out: list[LeftOutRecording] = []
    first_of: dict[tuple[str, ...], str] = {}
    for recording in recordings:
        name = recording.name
        try:
            hashes = tuple(sha256(part) for part in recording.parts)
            labels = labels_of(recording)
        except OSError as error:
            left_out.append(LeftOutRecording(name, f"the file cannot be read: {error.strerror}"))
            continue
        except CoilcountError as error:
            left_out.append(LeftOutRecording(name, str(error)))
            continue
        if hashes in first_of:
            left_out.append(LeftOutRecording(name, f"the same recording as {first_of[hashes]}, used once"))
        elif labels is None:
            left_out.append(LeftOutRecording(name, NO_LABELS))
        else:
            first_of[hashes] = name
            usable.append(_Usable(recording, hashes, labels))
    return usable, left_out


def _described(one: _Usable, replay: GridReplay, own: Score, by: str) -> TunedRecording:
    """What the report says of a recording.  own: its score with the settings in force."""
    name = one.recording.name
    return TunedRecording(
        file=name,
        sha256=one.hashes,
        start_utc=replay.header.start_utc,
        simulated=replay.header.simulated,
        minutes=own.minutes,
        passes=len(own.passes),
        left_out=len(own.left_out),
        group=name if by == "recording" else site_of(replay.header, name),
        complaint=replay.complaint,
    )
