"""The report of `coilcount noise` as text that fits 80 columns."""

import textwrap
from typing import TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.model import NoiseReport, SlopeValue

_COLUMNS = 80


def print_noise(report: NoiseReport, out: TextIO) -> None:
    """Print the table of deviations, the drift, the noise of one reading, and the threshold."""
    console = SafeConsole(out, _COLUMNS)
    for line in _head(report):
        _say(console, line)
    console.print(_table(report))
    for line in [*_drift_and_noise(report), *_threshold(report)]:
        _say(console, line)


def _say(console: SafeConsole, text: str) -> None:
    console.print(textwrap.fill(text, _COLUMNS, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False))


def _head(report: NoiseReport) -> list[str]:
    lines = [
        f"{report.file}{' (simulated)' if report.simulated else ''}: {report.readings} readings "
        f"{1000 * report.tau0_s:.3f} ms apart ({1 / report.tau0_s:.2f} a second) over {report.duration_s / 60:.1f} "
        f"minutes, {report.frequency_hz:.2f} Hz"
    ]
    if report.segments > 1 or report.lost or report.miscounts:
        lines.append(
            f"{report.segments} segments, {report.lost} readings lost, {report.miscounts} miscounts; no figure is "
            "computed across a gap"
        )
    lines.append(
        "Overlapping Allan deviation of the frequency, averaged over the time tau (m readings), with its 95 % "
        "interval; modified Allan deviation; the noise type that dominates:"
    )
    return lines


def _table(report: NoiseReport) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    for name in ("tau s", "m", "ppm", "95 % interval", "Hz", "modified"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("noise", no_wrap=True)
    for row in report.stability:
        table.add_row(
            f"{row.tau_s:.3g}",
            str(row.m),
            _ppm(row.oadev.value),
            f"{_ppm(row.oadev.low)} to {_ppm(row.oadev.high)}",
            f"{row.oadev.value * report.frequency_hz:.2g}",
            "–" if row.mdev is None else _ppm(row.mdev.value),
            row.noise if row.noise_measured else f"({row.noise})",
        )
    return table


def _drift_and_noise(report: NoiseReport) -> list[str]:
    lines = []
    if any(not row.noise_measured for row in report.stability):
        lines.append("In brackets: fewer than 30 averages, so the noise type of a shorter tau is shown.")
    drift = report.drift
    if drift.ppm_per_minute is not None:
        lines.append(f"drift {_slope(drift.ppm_per_minute)} ppm a minute (± standard error)")
    if drift.ppm_per_kelvin is not None:
        lines.append(
            f"  {_slope(drift.ppm_per_kelvin)} ppm a kelvin, separated from the drift with time (the temperature "
            f"changed by {drift.temperature_range_k:.1f} K)"
        )
    elif drift.temperature_range_k is not None:
        lines.append(
            f"  drift a kelvin is not known: the temperature changed by only {drift.temperature_range_k:.2f} K"
        )
    if report.noise_ppm is not None:
        lines.append(f"noise of one reading {report.noise_ppm:.3g} ppm, {report.noise_hz:.2g} Hz")
    if report.noise_class is not None:
        lines.append(
            f'nearest noise class for a plan or a scene: "{report.noise_class.name}" (measured: '
            f"{report.noise_class.ratio:.2g} times its deviation, from 0.1 to 1.5 s; if the coil was swept, this "
            "includes soil and hand)"
        )
    return lines


def _threshold(report: NoiseReport) -> list[str]:
    statistic, threshold = report.statistic, report.threshold
    count, minutes = len(statistic.peaks), statistic.minutes
    if threshold is None:
        return [
            f"no threshold: {count} peaks above {statistic.peaks_from:g} in {minutes:.1f} minutes, and at least "
            f"{statistic.fewest_peaks} are needed; record longer"
        ]
    wanted = threshold.false_alarms_per_minute
    rate, low, high = threshold.alerts_here_per_minute
    bands = len(report.learned.noise_ppm_rthz)
    lines = [
        f"noise profile measured in {bands} bands of a third of an octave"
        if bands
        else "too short for a noise profile: at least one minute without a break is needed",
        f"threshold {threshold.threshold:.2f} for {_false_alarms(wanted)} (95 % interval {threshold.rate_low:.2g} to "
        f"{threshold.rate_high:.2g}), from {threshold.tail_peaks} of {count} peaks in {minutes:.1f} minutes; the tail "
        f"is exponential in {threshold.tail}",
        f"  this recording itself has {threshold.alerts_here} alerts at this threshold: {rate:.2g} a minute "
        f"({low:.2g} to {high:.2g})",
    ]
    promised = threshold.promised_per_minute
    if promised is None or promised > wanted:
        known = "no rate is known" if promised is None else f"only rates from {promised:.2g} a minute up are known"
        lines.append(
            f"  the recording is short: {known} within a factor of 3; for {wanted:g} a minute sweep "
            f"{_minutes(threshold.minutes_needed)}"
        )
    return lines


def _false_alarms(rate: float) -> str:
    return f"{rate:g} false alarm{'' if rate == 1 else 's'} a minute"


def _minutes(minutes: float) -> str:
    return f"{minutes:.0f} minutes" if minutes >= 10 else f"{minutes:.1f} minutes"


def _slope(slope: SlopeValue) -> str:
    return f"{slope.value:+.2g} ± {slope.standard_error:.2g}"


def _ppm(fraction: float) -> str:
    ppm = 1e6 * fraction
    return f"{ppm:.3f}" if ppm < 10 else f"{ppm:.3g}"
