"""What `coilcount noise` finds in a recording."""

from dataclasses import dataclass


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
