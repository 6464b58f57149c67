"""The coil's part of `check`: frequency, jumps, edges, noise, drift, amplitude, inductance."""

from collections.abc import Iterator, Sequence
from math import pi
from statistics import fmean, median

from coilwire import records

from coilcount.check.evidence import FAILED, NOT_CHECKED, OK, TOLD, Asked, Evidence, Finding

# Limits of the default coil, simulated with ngspice (firmware/WIRING.md); nothing was built.
MOST_PPM_A_SECOND = 2000.0
SHORT_PERIOD, LONG_PERIOD = 0.7, 1.4  # of the median
LEAST_AMPLITUDE, MOST_AMPLITUDE = 0.3, 1.5  # of the calibrated
# Our own choices, no source.
MOST_NOISE_PPM = 2.0
MOST_DRIFT_PPM_A_MINUTE = 10.0
AMPLITUDE_STEP = 0.05  # within a second, or over the run
AMPLITUDE_ALONE_PPM = 100.0


def judge_coil(evidence: Evidence, asked: Asked, hz: float) -> Iterator[Finding]:
    """Every check of the coil; hz: the median of its readings."""
    figures = {"frequency_hz": hz}
    if asked.lowest_hz <= hz <= asked.highest_hz:
        yield Finding("frequency", OK, f"{hz:.3f} Hz", figures)
    else:
        limits = f"{asked.lowest_hz:.0f} to {asked.highest_hz:.0f} Hz"
        yield Finding("frequency", FAILED, f"the frequency is outside {limits}: {hz:.3f} Hz", figures)
    yield _jumps(evidence.readings)
    yield from _edges(evidence)
    noise = evidence.noise_ppm
    if noise is None:
        yield Finding("noise", NOT_CHECKED, "too few readings")
    elif noise <= MOST_NOISE_PPM:
        yield Finding("noise", OK, f"{noise:.3f} ppm of one reading", {"noise_ppm": noise})
    else:
        yield Finding("noise", FAILED, f"the readings are noisy: {noise:.3f} ppm", {"noise_ppm": noise})
    if asked.drift_minutes is not None:
        yield _drift(evidence.readings, hz)
    yield from _amplitude(evidence, asked, hz)
    if asked.capacitor_nf is not None:
        yield _inductance(hz, asked.capacitor_nf, asked.capacitor_tolerance)


def _jumps(readings: Sequence[tuple[float, float]]) -> Finding:
    largest, at_s = _largest_step(readings)
    figures = {"largest_ppm_in_a_second": largest}
    if largest > MOST_PPM_A_SECOND:
        return Finding(
            "jumps", FAILED, f"the frequency jumps by {largest:.0f} ppm within a second, {at_s:.1f} s", figures
        )
    return Finding("jumps", OK, f"at most {largest:.1f} ppm within a second", figures)


def _largest_step(series: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """(largest relative change within a second in ppm, when) of (s, value)."""
    largest, at_s = 0.0, 0.0
    start = 0
    for end, (end_s, value) in enumerate(series):
        while end_s - series[start][0] > 1.0:
            start += 1
        for _, before in series[start:end]:
            step = 1e6 * abs(value - before) / before if before else 0.0
            if step > largest:
                largest, at_s = step, end_s
    return largest, at_s


def _edges(evidence: Evidence) -> Iterator[Finding]:
    intervals = [record for _, record in evidence.heard if isinstance(record, records.Interval)]
    measured = [record for record in intervals if record.shortest]
    if not measured:
        yield Finding("edges", NOT_CHECKED, "no interval holds a period")
        return
    usual = median(record.shortest + record.longest for record in measured) / 2
    double = sum(
        1 for r in measured if r.flags & records.FLAG_DOUBLE_EDGE or r.shortest < SHORT_PERIOD * usual
    )  # fmt: skip
    # Silence is told on its own; a new time base begins after one.
    steady = [record for record in measured if not record.flags & records.FLAG_NEW_TIME_BASE]
    missed = sum(1 for r in steady if r.flags & records.FLAG_LOST_EDGE or r.longest > LONG_PERIOD * usual)
    stalls = sum(1 for record in intervals if record.flags & records.FLAG_STALL)
    overruns = sum(1 for record in intervals if record.flags & records.FLAG_OVERRUN)
    figures = {"double": double, "missed": missed, "stalls": stalls, "overruns": overruns}
    told = [
        f"{words} in {number} of {len(intervals)} intervals"
        for words, number in (
            ("edges are counted twice", double),
            ("edges are missed", missed),
            ("the time base broke", stalls),
            ("edges were overwritten", overruns),
        )
        if number
    ]
    for text in told:
        yield Finding("edges", FAILED, text, figures)
    if not told:
        yield Finding("edges", OK, f"none double or missed in {len(intervals)} intervals", figures)


def _drift(readings: Sequence[tuple[float, float]], hz: float) -> Finding:
    """A straight line through the means of each second."""
    seconds: dict[int, list[float]] = {}
    for time_s, value in readings:
        seconds.setdefault(int(time_s), []).append(value)
    points = [(float(number), fmean(values)) for number, values in seconds.items()]
    if len(points) < 10:
        return Finding("drift", NOT_CHECKED, "less than ten seconds of readings")
    mean_t, mean_f = fmean(t for t, _ in points), fmean(f for _, f in points)
    slope = sum((t - mean_t) * (f - mean_f) for t, f in points) / sum((t - mean_t) ** 2 for t, _ in points)
    a_minute = 60e6 * slope / hz
    spread = 1e6 * (max(f for _, f in points) - min(f for _, f in points)) / hz
    minutes = (points[-1][0] - points[0][0]) / 60
    figures = {"drift_ppm_a_minute": a_minute, "peak_to_peak_ppm": spread, "minutes": minutes}
    text = f"{a_minute:+.2f} ppm a minute, {spread:.1f} ppm peak to peak over {minutes:.1f} min (means of one second)"
    if abs(a_minute) > MOST_DRIFT_PPM_A_MINUTE:
        return Finding("drift", FAILED, f"the coil drifts: {text}", figures)
    return Finding("drift", OK, text, figures)


def _amplitude(evidence: Evidence, asked: Asked, hz: float) -> Iterator[Finding]:
    series = [
        (host_s, record.amplitude / 1e4)
        for host_s, record in evidence.heard
        if isinstance(record, records.Interval) and not record.flags & records.FLAG_NO_AMPLITUDE
    ]
    if not series:
        yield Finding("amplitude", NOT_CHECKED, "this board has no amplitude channel")
        return
    volts = median(value for _, value in series)
    figures = {"amplitude_v": volts}
    wanted = asked.amplitude_v
    if wanted is None:
        yield Finding("amplitude", TOLD, f"{volts:.4f} V (give --amplitude-v to compare with the calibrated)", figures)
    elif LEAST_AMPLITUDE * wanted <= volts <= MOST_AMPLITUDE * wanted:
        yield Finding("amplitude", OK, f"{volts:.4f} V, {100 * volts / wanted:.0f} % of the calibrated", figures)
    else:
        text = f"the amplitude is outside 30 to 150 % of the calibrated {wanted:g} V: {volts:.4f} V"
        yield Finding("amplitude", FAILED, text, figures)
    step = _largest_step(series)[0] / 1e6
    change = abs(_end(series) / _start(series) - 1) if _start(series) else 0.0
    moved_ppm = 1e6 * abs(_end(evidence.readings) - _start(evidence.readings)) / hz if evidence.readings else 0.0
    both = {"amplitude_step": step, "amplitude_change": change, "frequency_change_ppm": moved_ppm}
    if step > AMPLITUDE_STEP and _largest_step(evidence.readings)[0] > MOST_PPM_A_SECOND:
        yield Finding("loss", FAILED, f"amplitude and frequency jumped together, the amplitude by {step:.0%}", both)
    elif change > AMPLITUDE_STEP and moved_ppm < AMPLITUDE_ALONE_PPM:
        yield Finding("loss", FAILED, f"the amplitude changed alone, by {change:.0%}", both)
    else:
        yield Finding("loss", OK, f"the amplitude changed by {change:.1%} over the run", both)


def _start(series: Sequence[tuple[float, float]]) -> float:
    return fmean(value for _, value in series[: max(1, len(series) // 10)])


def _end(series: Sequence[tuple[float, float]]) -> float:
    return fmean(value for _, value in series[-max(1, len(series) // 10) :])


def _inductance(hz: float, capacitor_nf: float, tolerance: float) -> Finding:
    """L = 1 / ((2 pi f)^2 C); its relative tolerance is that of C, the frequency's is nothing beside it."""
    microhenry = 1e6 / ((2 * pi * hz) ** 2 * capacitor_nf * 1e-9)
    margin = microhenry * tolerance / 100
    text = f"{microhenry:.2f} uH with {capacitor_nf:g} nF, +-{margin:.2f} uH for +-{tolerance:g} % of the capacitor"
    return Finding("inductance", TOLD, text, {"inductance_uh": microhenry, "tolerance_uh": margin})
