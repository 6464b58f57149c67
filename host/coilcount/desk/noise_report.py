"""The report of `coilcount noise`: frozen records made of what `quiet.examine` found."""

from coilcount.desk.drift import Slope
from coilcount.desk.exceedance import FEWEST, PEAKS_FROM, Peak, poisson_interval
from coilcount.desk.quiet import Quiet, alerts_here
from coilcount.desk.spectrum import centre_hz
from coilcount.desk.stability import Deviation, Row
from coilcount.model import (
    Interval95,
    LearnedNoise,
    NoiseBand,
    NoiseClassMatch,
    NoiseDrift,
    NoisePeak,
    NoisePeaks,
    NoiseReport,
    NoiseThreshold,
    SlopeValue,
    StabilityRow,
)
from coilcount.settings import Settings

_HIGHEST_THRESHOLD = 100.0  # sigma: the upper limit of the setting
_CURVE_POINTS = 60  # chosen by hand for the picture
_CURVE_BEYOND = 1.15  # the curve ends this much above the largest peak or the threshold; chosen by hand


def noise_report(file: str, quiet: Quiet) -> NoiseReport:
    """The report of an examined recording, without a threshold."""
    phases, summary, statistic = quiet.phases, quiet.summary, quiet.statistic
    frequency_hz = summary.baseline_hz
    bands = statistic.learned.get("noise_ppm_rthz", ())
    return NoiseReport(
        file=file,
        simulated=quiet.header.simulated,
        duration_s=summary.duration_s,
        frequency_hz=frequency_hz,
        readings=phases.readings,
        lost=summary.lost,
        segments=len(phases.segments),
        miscounts=phases.miscounts,
        tau0_s=phases.tau0_s,
        noise_ppm=summary.noise_ppm,
        noise_hz=None if summary.noise_ppm is None else summary.noise_ppm * 1e-6 * frequency_hz,
        noise_class=None if quiet.noise_class is None else NoiseClassMatch(*quiet.noise_class),
        drift=NoiseDrift(_slope(quiet.drift.per_minute), _slope(quiet.drift.per_kelvin), quiet.drift.range_k),
        stability=tuple(_stability_row(row) for row in quiet.rows),
        clean=not statistic.strange,
        found=tuple(_peak(peak) for peak in statistic.strange),
        statistic=NoisePeaks(statistic.minutes, tuple(_peak(peak) for peak in statistic.peaks), PEAKS_FROM, FEWEST),
        learned=LearnedNoise(
            statistic.learned["scale_floor_ppm"],
            tuple(NoiseBand(centre_hz(band), density) for band, density in enumerate(bands)),
        ),
        threshold=None,
    )


def noise_threshold(quiet: Quiet, settings: Settings, false_alarms_per_minute: float) -> NoiseThreshold:
    """The threshold that gives a wanted rate, and how many alerts the recording itself has with it.

    quiet: an examined recording with a tail.
    Raises ValueError if the rate is higher than `quiet.statistic.tail.highest_rate`.
    """
    tail, minutes = quiet.statistic.tail, quiet.statistic.minutes
    threshold = min(round(tail.threshold(false_alarms_per_minute), 2), _HIGHEST_THRESHOLD)
    rate_low, rate_high = tail.interval(threshold)
    alerts = alerts_here(quiet, settings, threshold)
    alerts_low, alerts_high = poisson_interval(alerts, minutes)
    lowest = tail.peaks[-1]
    span = _CURVE_BEYOND * max(threshold, tail.peaks[0]) - lowest
    levels = [lowest + span * i / _CURVE_POINTS for i in range(_CURVE_POINTS + 1)]
    return NoiseThreshold(
        false_alarms_per_minute=false_alarms_per_minute,
        threshold=threshold,
        rate_low=rate_low,
        rate_high=rate_high,
        tail="z" if tail.power == 1 else "z squared",
        tail_from=tail.start,
        tail_peaks=tail.count,
        promised_per_minute=tail.promised,
        minutes_needed=tail.minutes_for(false_alarms_per_minute),
        alerts_here=alerts,
        alerts_here_per_minute=(alerts / minutes, alerts_low, alerts_high),
        curve=tuple((level, tail.rate(level)) for level in levels if level >= tail.start),
    )


def _stability_row(row: Row) -> StabilityRow:
    deviations = (_interval(deviation) for deviation in (row.adev, row.oadev, row.mdev, row.hdev))
    return StabilityRow(row.tau_s, row.m, row.noise, row.alpha_measured, *deviations)


def _interval(deviation: Deviation) -> Interval95 | None:
    return Interval95(deviation.value, deviation.low, deviation.high) if deviation.terms else None


def _slope(slope: Slope | None) -> SlopeValue | None:
    return None if slope is None else SlopeValue(slope.value, slope.error)


def _peak(peak: Peak) -> NoisePeak:
    return NoisePeak(round(peak.time_s, 6), round(peak.z, 6), round(peak.shift_hz, 6))
