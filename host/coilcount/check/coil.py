"""The coil's part of `check`: frequency, jumps, edges, noise, drift, amplitude, inductance."""

from collections.abc import Iterator, Sequence
from math import pi
from statistics import fmean, median

from coilwire import records

from coilcount.check import faults
from coilcount.check.evidence import MEASURED, NOT_CHECKED, OK, Asked, Evidence, Finding, failed

# ppm.  The largest change of the frequency within 1 s; a larger one is a jump, which no target makes.  From an earlier
# circuit simulation (ngspice) of the default coil, not repeated here.
MAX_JUMP_PPM = 2000.0
# Fractions of the median period.  A shorter period is an edge counted twice, a longer one an edge missed.  The same
# limits as those of the board's own flags (PROTOCOL.md).
SHORT_PERIOD, LONG_PERIOD = 0.7, 1.4
# Fractions of the calibrated amplitude between which the amplitude is accepted.  From an earlier circuit simulation
# (ngspice) of the default oscillator, not repeated here.
MIN_AMPLITUDE, MAX_AMPLITUDE = 0.3, 1.5
# ppm.  A coil at rest whose readings scatter more is reported as noisy.  Chosen by hand.
MAX_NOISE_PPM = 2.0
# ppm a minute.  A coil whose frequency drifts faster, up or down, is reported.  Chosen by hand.
MAX_DRIFT_PPM_PER_MINUTE = 10.0
# Fraction of the amplitude.  A larger change, within 1 s or over the run, is reported as a fault.  Chosen by hand.
MAX_AMPLITUDE_CHANGE = 0.05
# ppm.  If the frequency moved less than this while the amplitude changed, the amplitude changed alone: that is a loss
# in the coil.  Chosen by hand.
AMPLITUDE_ALONE_PPM = 100.0
# s.  A line through fewer means of 1 s than this says nothing about drift.  Chosen by hand.
MIN_DRIFT_SECONDS = 10
# Units of `amplitude` on the wire in one volt (PROTOCOL.md: 0.1 mV).
_AMPLITUDE_UNITS_PER_V = 1e4


def judge_coil(evidence: Evidence, asked: Asked, frequency_hz: float) -> Iterator[Finding]:
    """Every check of the coil.  frequency_hz: the median of its readings."""
    yield _frequency(asked, frequency_hz)
    yield _jumps(evidence.readings)
    yield from _edges(evidence)
    yield _noise(evidence.noise_ppm)
    if asked.drift_minutes is not None:
        yield _drift(evidence.readings, frequency_hz)
    yield from _amplitude(evidence, asked, frequency_hz)
    if asked.capacitor_nf is not None:
        yield _inductance(frequency_hz, asked.capacitor_nf, asked.capacitor_tolerance)


def _frequency(asked: Asked, frequency_hz: float) -> Finding:
    figures = {"frequency_hz": frequency_hz}
    if asked.lowest_hz <= frequency_hz <= asked.highest_hz:
        return Finding("frequency", OK, f"{frequency_hz:.3f} Hz", figures)
    limits = f"{asked.lowest_hz:.0f} to {asked.highest_hz:.0f} Hz"
    text = f"the frequency is outside {limits}: {frequency_hz:.3f} Hz"
    return failed("frequency", faults.FREQUENCY_RANGE, text, figures)


def _noise(noise_ppm: float | None) -> Finding:
    if noise_ppm is None:
        return Finding("noise", NOT_CHECKED, "too few readings")
    figures = {"noise_ppm": noise_ppm}
    if noise_ppm <= MAX_NOISE_PPM:
        return Finding("noise", OK, f"{noise_ppm:.3f} ppm, standard deviation of one reading", figures)
    return failed("noise", faults.NOISE, f"the readings are noisy: {noise_ppm:.3f} ppm", figures)


def _jumps(readings: Sequence[tuple[float, float]]) -> Finding:
    largest, time_s = _largest_step(readings)
    largest_ppm = 1e6 * largest
    figures = {"largest_ppm_in_a_second": largest_ppm}
    if largest_ppm > MAX_JUMP_PPM:
        text = f"the frequency jumps by {largest_ppm:.0f} ppm within a second, at {time_s:.1f} s"
        return failed("jumps", faults.FREQUENCY_JUMP, text, figures)
    return Finding("jumps", OK, f"at most {largest_ppm:.1f} ppm within a second", figures)


def _largest_step(series: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The largest relative change within 1 s, and the time in s at which it ended.

    series: (time in s, value) in order.
    """
    largest, largest_at_s = 0.0, 0.0
    start = 0
    for end, (end_s, value) in enumerate(series):
        while end_s - series[start][0] > 1.0:
            start += 1
        for _, before in series[start:end]:
            step = abs(value - before) / before if before else 0.0
            if step > largest:
                largest, largest_at_s = step, end_s
    return largest, largest_at_s


def _edges(evidence: Evidence) -> Iterator[Finding]:
    intervals = [record for _, record in evidence.heard if isinstance(record, records.Interval)]
    measured = [record for record in intervals if record.shortest]
    if not measured:
        yield Finding("edges", NOT_CHECKED, "no interval holds a period")
        return
    usual = median(record.shortest + record.longest for record in measured) / 2
    double = sum(
        1 for record in measured if record.flags & records.FLAG_DOUBLE_EDGE or record.shortest < SHORT_PERIOD * usual
    )
    # A new time base begins after a silence, which `oscillator` reports: its long period is no missed edge.
    steady = [record for record in measured if not record.flags & records.FLAG_NEW_TIME_BASE]
    missed = sum(
        1 for record in steady if record.flags & records.FLAG_LOST_EDGE or record.longest > LONG_PERIOD * usual
    )
    stalls = sum(1 for record in intervals if record.flags & records.FLAG_STALL)
    overruns = sum(1 for record in intervals if record.flags & records.FLAG_OVERRUN)
    figures = {"double": double, "missed": missed, "stalls": stalls, "overruns": overruns}
    found = [
        failed("edges", fault, f"{words} in {count} of {len(intervals)} intervals", figures)
        for fault, words, count in (
            (faults.DOUBLE_EDGES, "edges are counted twice", double),
            (faults.MISSED_EDGES, "edges are missed", missed),
            (faults.STALL, "the time base broke", stalls),
            (faults.OVERRUN, "edges were overwritten", overruns),
        )
        if count
    ]
    yield from found
    if not found:
        yield Finding("edges", OK, f"none counted twice or missed in {len(intervals)} intervals", figures)


def _drift(readings: Sequence[tuple[float, float]], frequency_hz: float) -> Finding:
    """The slope of a least-squares line through the means of each second."""
    values_by_second: dict[int, list[float]] = {}
    for time_s, reading_hz in readings:
        values_by_second.setdefault(int(time_s), []).append(reading_hz)
    points = [(float(second), fmean(values)) for second, values in values_by_second.items()]
    if len(points) < MIN_DRIFT_SECONDS:
        return Finding("drift", NOT_CHECKED, f"less than {MIN_DRIFT_SECONDS} seconds of readings")
    mean_t, mean_f = fmean(t for t, _ in points), fmean(f for _, f in points)
    slope_hz_per_s = sum((t - mean_t) * (f - mean_f) for t, f in points) / sum((t - mean_t) ** 2 for t, _ in points)
    drift_ppm = 60e6 * slope_hz_per_s / frequency_hz  # in one minute
    spread_ppm = 1e6 * (max(f for _, f in points) - min(f for _, f in points)) / frequency_hz
    minutes = (points[-1][0] - points[0][0]) / 60
    figures = {"drift_ppm_a_minute": drift_ppm, "peak_to_peak_ppm": spread_ppm, "minutes": minutes}
    text = (
        f"{drift_ppm:+.2f} ppm a minute, {spread_ppm:.1f} ppm peak to peak over {minutes:.1f} min (means of one second)"
    )
    if abs(drift_ppm) > MAX_DRIFT_PPM_PER_MINUTE:
        return failed("drift", faults.DRIFT, f"the coil drifts: {text}", figures)
    return Finding("drift", OK, text, figures)


def _amplitude(evidence: Evidence, asked: Asked, frequency_hz: float) -> Iterator[Finding]:
    series = [
        (host_s, record.amplitude / _AMPLITUDE_UNITS_PER_V)
        for host_s, record in evidence.heard
        if isinstance(record, records.Interval) and not record.flags & records.FLAG_NO_AMPLITUDE
    ]
    if not series:
        yield Finding("amplitude", NOT_CHECKED, "this board has no amplitude channel")
        return
    yield _amplitude_level(median(volts for _, volts in series), asked.amplitude_v)
    yield _loss(series, evidence.readings, frequency_hz)


def _amplitude_level(volts: float, calibrated_v: float | None) -> Finding:
    figures = {"amplitude_v": volts}
    if calibrated_v is None:
        text = f"{volts:.4f} V (give --amplitude-v to compare with the calibrated amplitude)"
        return Finding("amplitude", MEASURED, text, figures)
    if MIN_AMPLITUDE * calibrated_v <= volts <= MAX_AMPLITUDE * calibrated_v:
        text = f"{volts:.4f} V, {100 * volts / calibrated_v:.0f} % of the calibrated amplitude"
        return Finding("amplitude", OK, text, figures)
    limits = f"{100 * MIN_AMPLITUDE:.0f} to {100 * MAX_AMPLITUDE:.0f} %"
    text = f"the amplitude is outside {limits} of the calibrated {calibrated_v:g} V: {volts:.4f} V"
    return failed("amplitude", faults.AMPLITUDE_RANGE, text, figures)


def _loss(
    amplitudes: Sequence[tuple[float, float]], readings: Sequence[tuple[float, float]], frequency_hz: float
) -> Finding:
    """Whether the amplitude changed, alone or together with the frequency.

    amplitudes: (time in s, V); readings: (time in s, Hz).
    """
    step = _largest_step(amplitudes)[0]
    start_v = _start(amplitudes)
    change = abs(_end(amplitudes) / start_v - 1) if start_v else 0.0
    moved_ppm = 1e6 * abs(_end(readings) - _start(readings)) / frequency_hz if readings else 0.0
    figures = {"amplitude_step": step, "amplitude_change": change, "frequency_change_ppm": moved_ppm}
    if step > MAX_AMPLITUDE_CHANGE and 1e6 * _largest_step(readings)[0] > MAX_JUMP_PPM:
        text = f"amplitude and frequency jumped together, the amplitude by {step:.0%}"
        return failed("loss", faults.AMPLITUDE_AND_FREQUENCY, text, figures)
    if change > MAX_AMPLITUDE_CHANGE and moved_ppm < AMPLITUDE_ALONE_PPM:
        return failed("loss", faults.AMPLITUDE_ALONE, f"the amplitude changed alone, by {change:.0%}", figures)
    return Finding("loss", OK, f"the amplitude changed by {change:.1%} over the run", figures)


def _start(series: Sequence[tuple[float, float]]) -> float:
    """The mean value of the first tenth."""
    return fmean(value for _, value in series[: max(1, len(series) // 10)])


def _end(series: Sequence[tuple[float, float]]) -> float:
    """The mean value of the last tenth."""
    return fmean(value for _, value in series[-max(1, len(series) // 10) :])


def _inductance(frequency_hz: float, capacitor_nf: float, tolerance_percent: float) -> Finding:
    """L = 1 / ((2 pi f)^2 C), Thomson's formula.

    Its relative tolerance is that of C: the frequency is known far better.
    """
    inductance_uh = 1e6 / ((2 * pi * frequency_hz) ** 2 * capacitor_nf * 1e-9)
    margin_uh = inductance_uh * tolerance_percent / 100
    text = (
        f"{inductance_uh:.2f} uH with {capacitor_nf:g} nF, +-{margin_uh:.2f} uH for +-{tolerance_percent:g} % of the "
        "capacitor"
    )
    return Finding("inductance", MEASURED, text, {"inductance_uh": inductance_uh, "tolerance_uh": margin_uh})
