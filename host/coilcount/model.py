"""Frozen records that pass between the rooms.  Units are in the names.

Two families: entries are what a capture holds (what was received and what the operator did), and
outputs are what the chain makes of them.  Times named `host_s` are seconds of the host's monotonic
clock since the capture began; times named `..._s` without "host" are on the board's time base
(t = 0 at the first edge of the first interval).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

# ---------------------------------------------------------------- entries: what a capture holds


@dataclass(frozen=True, slots=True)
class Header:
    """The first line of a capture: where it comes from and what was in force."""

    source: str  # "serial", "virtual", "simulate" or "import"
    start_utc: str  # ISO 8601 with Z; host_s = 0
    host_version: str = ""
    command: tuple[str, ...] = ()
    board: dict[str, Any] = field(default_factory=dict)  # the fields of the hello, by name; may be empty
    settings: dict[str, Any] = field(default_factory=dict)  # the effective settings
    build: dict[str, Any] | None = None  # {"file", "sha256", "plan"} of --build
    notes: dict[str, str] = field(default_factory=dict)  # coil, place, weather, ...
    interval_s: float | None = None  # imported readings: their spacing
    simulated: bool = False
    part: int = 1  # 1, 2, ... where the recording was rotated


@dataclass(frozen=True, slots=True)
class Line:
    """One line as received, without its line feed; or the cut rest of one."""

    host_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Operator:
    """What the operator did.  action: "freeze", "thaw", "threshold" (with value) or "mark" (with text).

    A freeze while the baseline is frozen sets a new zero.
    """

    host_s: float
    action: str
    value: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """The host knows that nothing was received from start_host_s to host_s, and why."""

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
    """The redundant last line of a capture that was closed; never needed to read it."""

    host_s: float
    status: str  # "closed", "rotated", "salvaged"; not whole: "aborted", "disk full", "write failed"
    lines: int


Entry = Header | Line | Operator | Gap | Imported | End

# ---------------------------------------------------------------- outputs: what the chain makes of them


@dataclass(frozen=True, slots=True)
class Point:
    """One reading as the tracker saw it, for the screen and for --series."""

    time_s: float
    frequency_hz: float
    shift_ppm: float  # of the baseline
    shift_hz: float
    uncertainty_ppm: float  # standard uncertainty of the shift
    baseline_hz: float
    statistic: float  # z, signed, of the width that answers most; 0 while not ready
    ready: bool  # False while the boxes fill
    frozen: bool  # the operator holds the baseline
    held: bool  # the automatic hold is on


@dataclass(frozen=True, slots=True)
class Alert:
    """One alert; `stage` tells how far it has come, the other fields are those of `replay --json`."""

    stage: str  # "raised", "settled", "released"; "final" once nothing can change any more
    id: int
    raised_s: float
    settled_s: float | None
    released_s: float | None
    peak_s: float
    open: bool
    sign: int  # of the frequency shift: -1 fell, +1 rose, 0 while not settled
    response: str  # "ferrous", "non-ferrous" or "uncertain"
    reasons: tuple[str, ...]
    score: float  # largest |z|
    peak_shift_ppm: float
    peak_shift_hz: float
    confidence: float | None  # probability that the response is right
    width_s: float
    seen: int = 1  # passes in a row with this sign and about this height, within 4 s; 1 while not settled


@dataclass(frozen=True, slots=True)
class Hold:
    """The baseline was held while the coil rested over something.  stage: "start" or "final"."""

    stage: str
    start_s: float
    end_s: float | None
    open: bool
    sign: int


@dataclass(frozen=True, slots=True)
class Silence:
    """A gap in the readings, on the board's time base.  `bridged` where host time was needed to measure it."""

    start_s: float
    end_s: float
    reason: str
    bridged: bool


@dataclass(frozen=True, slots=True)
class MarkMade:
    """A mark by key or by the board's button."""

    time_s: float
    text: str


@dataclass(frozen=True, slots=True)
class Notice:
    """Something a person should read once: a log text, a stopped oscillator, a mismatch of versions.

    level: "info" or "warning".
    """

    time_s: float | None
    level: str
    text: str


@dataclass(frozen=True, slots=True)
class Summary:
    """The last word on one capture; the keys of `replay --json`."""

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
    mended: int = 0  # readings that jumped further than a pass can, replaced by the line between their neighbours
    repaired: int = 0  # miscounted edges taken out of the raw sums


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
