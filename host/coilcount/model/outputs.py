"""Outputs: what the chain computes from entries, and what it knows right now."""

from collections.abc import Mapping
from dataclasses import dataclass, field

# The reason of an alert that turned out to be a dip broader than any pass.  The tracker has its own copy of these words
# (tracker/alert.py, BROAD), because it imports nothing of the host; a test compares them.
BROAD_DIP = "soil, or the coil was lifted"


@dataclass(frozen=True, slots=True)
class Thresholds:
    """The detection statistic or the shift from which on an alert is raised: one value for each sign, both positive."""

    rise: float
    fall: float

    @property
    def least(self) -> float:
        """The lower of the two."""
        return min(self.rise, self.fall)

    def of(self, sign: int) -> float:
        """That of a sign: +1 a rise, -1 a dip; the lower one for 0, a sign that is not settled."""
        return self.rise if sign > 0 else self.fall if sign < 0 else self.least

    def __mul__(self, factor: float) -> "Thresholds":
        return Thresholds(self.rise * factor, self.fall * factor)


@dataclass(frozen=True, slots=True)
class Point:
    """One reading with the tracker's state, for the screen and for --series."""

    time_s: float
    frequency_hz: float
    shift_ppm: float  # reading minus baseline, in parts of the baseline
    shift_hz: float
    uncertainty_ppm: float  # standard uncertainty of the shift
    baseline_hz: float
    statistic: float  # detection statistic in sigma, signed, of the box width with the largest; 0 while not ready
    ready: bool  # False during warm-up
    frozen: bool  # the operator froze the baseline
    held: bool  # auto-hold is on


@dataclass(frozen=True, slots=True)
class Alert:
    """One alert at one stage; the other fields are the keys of `replay --json`."""

    stage: str  # "raised", "settled", "released"; "final" if nothing can change any more
    id: int
    raised_s: float
    settled_s: float | None
    released_s: float | None
    peak_s: float
    open: bool
    sign: int  # of the frequency shift: -1 fell, +1 rose, 0 while not settled
    response: str  # "ferrous", "non-ferrous" or "uncertain"
    reasons: tuple[str, ...]
    score: float  # the largest absolute detection statistic, in sigma
    peak_shift_ppm: float
    peak_shift_hz: float
    confidence: float | None  # sign confidence: probability that the sign is right; None if uncertain
    width_s: float
    seen: int = 1  # passes in a row with this sign and about this height, within 4 s; 1 while not settled
    # Noise alone gives such a score about once in this many minutes, 10.0: that or more rarely.  None: not known yet,
    # or the dip is broad (soil, or the coil was lifted).
    rarity_min: float | None = None


@dataclass(frozen=True, slots=True)
class Hold:
    """A time in which auto-hold held the baseline while the coil rested over a target.  stage: "start" or "final"."""

    stage: str
    start_s: float
    end_s: float | None
    open: bool
    sign: int


@dataclass(frozen=True, slots=True)
class Silence:
    """A gap in the readings, on the board's time base.  bridged: host time was needed to measure it."""

    start_s: float
    end_s: float
    reason: str
    bridged: bool


@dataclass(frozen=True, slots=True)
class MarkMade:
    """A mark that was set with a key or with the board's button."""

    time_s: float
    text: str


@dataclass(frozen=True, slots=True)
class Notice:
    """A message that a person should read once: a log text, a stopped oscillator, a mismatch of versions.

    level: "info" or "warning".
    """

    time_s: float | None
    level: str
    text: str


@dataclass(frozen=True, slots=True)
class Summary:
    """The summary of one capture; the fields are the keys of `replay --json`."""

    start_utc: str
    duration_s: float
    records: int
    lost: int
    dropped: int
    damaged: int
    baseline_hz: float | None
    noise_ppm: float | None
    alerts: int
    settings_sha256: str
    mended: int = 0  # readings that jumped further than a pass can, replaced by interpolation
    repaired: int = 0  # miscounted edges removed from the raw sums
    false_alarms_per_minute: float | None = None  # asked for, in force at the end; None: a fixed threshold
    broad_dips: int = 0  # dips broader than any pass, taken for soil or a lifted coil: they raised no alert


Output = Point | Alert | Hold | Silence | MarkMade | Notice | Summary


@dataclass(frozen=True, slots=True)
class ChainFacts:
    """What the chain knows right now, for the screen; nothing of it is part of a recording."""

    records: int = 0  # interval records or imported readings taken
    rate_hz: float = 0.0  # records a second over the last second
    lost: int = 0
    damaged: int = 0
    dropped: int = 0
    mended: int = 0
    repaired: int = 0
    faults: Mapping[str, int] = field(default_factory=dict)  # intervals that the board flagged, by what went wrong
    stopped: bool = False  # the coil's oscillator
    temperature_c: float | None = None  # of the board
    supply_v: float | None = None
    noise_ppm: float | None = None  # how much readings scatter now
    false_alarms_per_minute: float | None = None  # at most so many are asked for; None: a fixed threshold
    thresholds: Thresholds = Thresholds(0.0, 0.0)  # in force, in sigma
    threshold_ppm: Thresholds | None = None  # the same in ppm; None during warm-up
    broad_dips: int = 0  # dips taken for soil or a lifted coil
    hold_from_ppm: float | None = None  # the level from which auto-hold can be relied on
    roughness: float | None = None  # how many times the noise of the profile this soil has
