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


# ---------------------------------------------------------------- what `coilcount noise` finds


@dataclass(frozen=True, slots=True)
class Interval95:
    """A value with the ends of its 95 % interval, all in one unit."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class StabilityRow:
    """Deviations of the mean fractional frequency at one averaging time; None if too few terms are left."""

    tau_s: float
    m: int  # readings in one average
    noise: str  # the noise type that dominates, for example "flicker FM"
    noise_measured: bool  # False: taken over from a shorter averaging time
    adev: Interval95 | None
    oadev: Interval95 | None
    mdev: Interval95 | None
    hdev: Interval95 | None


@dataclass(frozen=True, slots=True)
class SlopeValue:
    """A drift in ppm a minute or in ppm a kelvin."""

    value: float
    standard_error: float


@dataclass(frozen=True, slots=True)
class NoiseDrift:
    """Drift of the frequency; None if the recording cannot show it."""

    ppm_per_minute: SlopeValue | None
    ppm_per_kelvin: SlopeValue | None
    temperature_range_k: float | None  # None: no temperature was recorded


@dataclass(frozen=True, slots=True)
class NoisePeak:
    """A peak of the detection statistic."""

    time_s: float
    score: float  # sigma, with the sign of the shift
    peak_shift_hz: float


@dataclass(frozen=True, slots=True)
class NoisePeaks:
    """The peaks of the detection statistic in a whole recording."""

    minutes: float  # for which there was a statistic
    peaks: tuple[NoisePeak, ...]
    peaks_from: float  # sigma: the level from which peaks are counted
    fewest_peaks: int  # that a threshold needs


@dataclass(frozen=True, slots=True)
class NoiseClassMatch:
    """The nearest noise class, and the measured deviation over the deviation of that class."""

    name: str
    ratio: float


@dataclass(frozen=True, slots=True)
class NoiseBand:
    """Noise density in one band of the noise profile."""

    hz: float  # centre
    ppm_rthz: float  # one-sided density, ppm per root hertz


@dataclass(frozen=True, slots=True)
class LearnedNoise:
    """Settings of the tracker that suit the recording."""

    scale_floor_ppm: float
    noise_ppm_rthz: tuple[NoiseBand, ...]  # the noise profile; empty if the recording is too short for one


@dataclass(frozen=True, slots=True)
class NoiseThreshold:
    """The threshold for a wanted false-alarm rate.  Rates are alerts a minute, levels are in sigma."""

    false_alarms_per_minute: float  # wanted
    threshold: float
    rate_low: float  # 95 % interval of the rate at this threshold
    rate_high: float
    tail: str  # "z" or "z squared": in which the fitted tail is exponential
    tail_from: float
    tail_peaks: int  # peaks above tail_from, which the fit uses
    promised_per_minute: float | None  # the lowest rate known within a factor of 3; None: no rate is
    minutes_needed: float  # recording time that the wanted rate needs
    alerts_here: int  # alerts of this recording at this threshold
    alerts_here_per_minute: tuple[float, float, float]  # the rate and its 95 % interval
    curve: tuple[tuple[float, float], ...]  # (level, rate) along the fitted tail


@dataclass(frozen=True, slots=True)
class NoiseReport:
    """All that `coilcount noise` reports.  The field names are the keys of its JSON, in this order."""

    file: str
    simulated: bool
    duration_s: float
    frequency_hz: float
    readings: int
    lost: int
    segments: int  # stretches without a break
    miscounts: int
    tau0_s: float  # spacing of the readings
    noise_ppm: float | None  # of one reading
    noise_hz: float | None
    noise_class: NoiseClassMatch | None
    drift: NoiseDrift
    stability: tuple[StabilityRow, ...]
    clean: bool
    found: tuple[NoisePeak, ...]  # peaks that noise alone does not make; empty if clean
    statistic: NoisePeaks
    learned: LearnedNoise
    threshold: NoiseThreshold | None  # None: not clean, or too few peaks
