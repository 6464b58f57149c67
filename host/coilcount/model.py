"""Frozen records that pass between the rooms.  The names carry the units.

There are two families.  Entries are the contents of a capture: received lines and the operator's actions.  Outputs are
the results that the chain computes from entries.

Times named `host_s` are seconds of the host's monotonic clock since the capture began.  Times named `..._s` without
"host" are on the board's time base: t = 0 at the first edge of the first interval.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

# ---------------------------------------------------------------- entries: the contents of a capture


@dataclass(frozen=True, slots=True)
class Header:
    """The first line of a capture: its source, and the settings that were in force."""

    source: str  # "serial", "virtual", "simulate" or "import"
    start_utc: str  # ISO 8601 with Z; the time at host_s = 0
    host_version: str = ""
    command: tuple[str, ...] = ()
    board: dict[str, Any] = field(default_factory=dict)  # the fields of the hello, by name; may be empty
    settings: dict[str, Any] = field(default_factory=dict)  # the effective settings
    build: dict[str, Any] | None = None  # {"file", "sha256", "plan"} of --build
    notes: dict[str, str] = field(default_factory=dict)  # coil, place, weather, ...
    interval_s: float | None = None  # the spacing of imported readings
    simulated: bool = False
    part: int = 1  # 1, 2, ...: number of this part of a recording


@dataclass(frozen=True, slots=True)
class Line:
    """One line as received, without its line feed; or the rest of a line that was cut."""

    host_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Operator:
    """One action of the operator: "freeze", "thaw", "threshold" (with value) or "mark" (with text).

    A freeze while the baseline is frozen sets the baseline again.
    """

    host_s: float
    action: str
    value: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """A time from start_host_s to host_s in which the host received nothing, and the reason."""

    host_s: float
    start_host_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Imported:
    """One reading of another counter; time_s is the middle of the reading."""

    time_s: float
    frequency_hz: float
    temperature_c: float | None = None
    amplitude_v: float | None = None
    supply_v: float | None = None


@dataclass(frozen=True, slots=True)
class End:
    """The last line of a capture that was closed.  It is redundant: a capture can be read without it."""

    host_s: float
    status: str  # whole: "closed", "rotated", "salvaged"; not whole: "aborted", "disk full", "write failed"
    lines: int  # number of lines before this one


Entry = Header | Line | Operator | Gap | Imported | End

# ---------------------------------------------------------------- outputs: the results of the chain


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
    threshold: float = 0.0  # the raise level in force, in sigma
    threshold_ppm: float | None = None  # the same in ppm; None during warm-up
    hold_from_ppm: float | None = None  # the level from which auto-hold can be relied on
    roughness: float | None = None  # how many times the noise of the profile this soil has
