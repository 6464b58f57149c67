"""What `coilcount tune` finds in labelled recordings."""

from dataclasses import dataclass
from typing import Any

from coilcount.model.desk import AnswerCounts
from coilcount.model.noise_report import Interval95


@dataclass(frozen=True, slots=True)
class TunedRecording:
    """A recording that was used."""

    file: str
    sha256: tuple[str, ...]  # of each part, as it lies on the disk
    start_utc: str
    simulated: bool
    minutes: float  # in which false alarms are counted, with the settings in force
    passes: int  # labelled passes over objects
    left_out: int  # labels with no statistic at their closest approach
    group: str  # what it is left out with: its own name, or its site
    complaint: str  # its damage; "" if it is whole


@dataclass(frozen=True, slots=True)
class LeftOutRecording:
    """A recording that was not used, and why."""

    file: str
    reason: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """False alarms and found passes, with 95 % intervals (Garwood's of a rate, Wilson's of a share)."""

    false_alarms: int
    minutes: float
    rate: Interval95 | None  # false alarms a minute; None if there are no minutes
    passes: int
    found: int
    share: Interval95 | None  # of the passes; None if there are none


@dataclass(frozen=True, slots=True)
class AtGrid:
    """The outcome of one threshold, or of one rate of false alarms that is asked for.

    threshold: in sigma.  For a rate: the lower one of both signs, in the median over the recordings.
    asked_per_minute: at most so many false alarms a minute are asked for; None: the threshold is fixed.
    """

    threshold: float
    outcome: Outcome
    asked_per_minute: float | None = None


@dataclass(frozen=True, slots=True)
class KindFound:
    """Passes over one kind of object in one range of depth."""

    object: str
    from_cm: float | None  # depth; None if the labels do not give it
    to_cm: float | None
    passes: int
    found: int  # at the chosen threshold
    share: Interval95
    found_at: tuple[int, ...]  # at each threshold of the curve


@dataclass(frozen=True, slots=True)
class LeftOutGroup:
    """One group of recordings, judged with a choice that was made without it."""

    group: str
    recordings: int
    candidate: int | None  # number of the settings chosen on the others; None if no threshold keeps the rate there
    threshold: float | None
    outcome: Outcome | None


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """The choice, judged on recordings that had no part in it.

    even: probability that false alarms spread so unevenly over the groups by chance alone; None if there are too few.
    """

    groups: tuple[LeftOutGroup, ...]
    outcome: Outcome  # of all groups together
    answers: tuple[AnswerCounts, AnswerCounts]
    even: float | None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One set of settings that was tried.  changed: its settings of the tracker that differ from those in force."""

    changed: dict[str, Any]
    threshold: float | None  # the one chosen for the wanted rate; None if none keeps it
    outcome: Outcome | None


@dataclass(frozen=True, slots=True)
class TuneReport:
    """Detections against false alarms in labelled recordings, and the threshold for a wanted rate."""

    false_alarms_per_minute: float  # asked for
    by: str  # "recording" or "site"
    version: str  # of coilcount
    settings_sha256: str  # of the settings in force
    simulated: bool
    recordings: tuple[TunedRecording, ...]
    left_out: tuple[LeftOutRecording, ...]
    candidates: tuple[Candidate, ...]  # the first is the settings in force
    best: int | None  # number of the chosen candidate; None if no threshold keeps the rate
    curve: tuple[AtGrid, ...]  # of the chosen candidate, in rising order of the threshold
    in_force: AtGrid  # with the settings in force
    kinds: tuple[KindFound, ...]
    answers: tuple[AnswerCounts, AnswerCounts]  # at the chosen threshold, else at that nearest to the one in force
    cross: CrossCheck | None  # None if there is only one group
    minutes_needed: float  # from which the wanted rate is usually known within a factor of 3
    rates: tuple[AtGrid, ...] = ()  # of the chosen candidate, in rising order of the rate that is asked for
    proposed_rate: float | None = None  # the highest of `rates` that keeps the wanted rate; None: none does

    @property
    def chosen(self) -> AtGrid | None:
        """The chosen threshold, and its outcome on the recordings that it was chosen on."""
        if self.best is None:
            return None
        candidate = self.candidates[self.best]
        return AtGrid(candidate.threshold, candidate.outcome)
