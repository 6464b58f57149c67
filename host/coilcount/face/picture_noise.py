"""Pictures of the report of `coilcount noise`: deviation against tau, noise profile, false-alarm rate by threshold.

SVG and PNG, readable in grey.  matplotlib is imported inside the functions, so that other commands start quickly.
"""

from pathlib import Path
from typing import Any

from coilcount.face.picture_files import write_figures
from coilcount.model import NoiseReport
from coilcount.text import printable

INK, BAND, SECOND, MARK = "#000000", "#BBBBBB", "#0072B2", "#D55E00"
# Hz: where the signal of a pass lies, shaded in the picture.  Computed for the pass shape (1 + (t / w)^2)^-3 without
# its level and slope, as the tracker removes them.  90 % of the energy lies from 1.15 to 4.6 Hz for a pass of 0.13 s
# (full width at half height, 1.02 w), and from 0.47 to 2.5 Hz for one of 0.5 s.
PASS_HZ = (0.47, 4.6)
GRID = {"color": "#DDDDDD", "linewidth": 0.6}


def draw_noise(report: NoiseReport, folder: Path) -> list[Path]:
    """Write stability.svg and .png into `folder`, and noise and threshold if the report has them; return the paths."""
    figures = {"stability": _stability(report)}
    if report.learned.noise_ppm_rthz:
        figures["noise"] = _noise(report)
    if report.threshold is not None:
        figures["threshold"] = _exceedance(report)
    return write_figures(figures, folder)


def _decimal(*scales: Any) -> None:
    """Label logarithmic axes 0.05, 0.1, 0.2 instead of powers of ten, which fail over less than a decade."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    for scale in scales:
        scale.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        scale.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        scale.set_minor_formatter(NullFormatter())


def _title(report: NoiseReport, what: str) -> str:
    simulated = ", simulated" if report.simulated else ""
    return f"{what}: {printable(Path(report.file).name, 60)}{simulated}"


def _stability(report: NoiseReport) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 6), layout="constrained")
    axes = figure.subplots()
    rows = report.stability
    tau = [row.tau_s for row in rows]
    low, value, high = ([1e6 * getattr(row.oadev, end) for row in rows] for end in ("low", "value", "high"))
    axes.fill_between(tau, low, high, color=BAND, alpha=0.5, linewidth=0, label="95 % interval")
    axes.plot(tau, value, color=INK, marker="o", markersize=5, label="overlapping Allan")
    modified = [(row.tau_s, 1e6 * row.mdev.value) for row in rows if row.mdev]
    if modified:
        axes.plot(
            *zip(*modified, strict=True), color=SECOND, marker="s", markersize=4, linestyle="--", label="modified Allan"
        )
    axes.set(xscale="log", yscale="log")
    for row, top in zip(rows, high, strict=True):
        text = row.noise.replace("random walk", "walk") if row.noise_measured else ""
        axes.annotate(
            text, (row.tau_s, top), xytext=(0, 4), textcoords="offset points", rotation=90, fontsize=7.5,
            ha="center", va="bottom",
        )  # fmt: skip
    bottom, top = axes.get_ylim()
    axes.set_ylim(bottom, 2 * top)
    axes.grid(True, which="both", **GRID)
    axes.set_xlabel("averaging time tau, s")
    axes.set_ylabel("deviation of the mean frequency, ppm")
    hertz = axes.secondary_yaxis(
        "right",
        functions=(lambda ppm: ppm * 1e-6 * report.frequency_hz, lambda hz: hz / (1e-6 * report.frequency_hz)),
    )
    _decimal(axes.xaxis, axes.yaxis, hertz.yaxis)
    hertz.set_ylabel(f"Hz, at {report.frequency_hz:.0f} Hz")
    axes.set_title(_title(report, "Stability"), fontsize=11, parse_math=False)
    figure.legend(loc="outside lower center", ncols=3, fontsize=9)
    return figure


def _noise(report: NoiseReport) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 6), layout="constrained")
    axes = figure.subplots()
    bands = report.learned.noise_ppm_rthz
    axes.step([band.hz for band in bands], [band.ppm_rthz for band in bands], where="mid", color=INK)
    axes.set(xscale="log", yscale="log")
    axes.axvspan(*PASS_HZ, color=BAND, alpha=0.4, linewidth=0)
    axes.annotate(
        "signal of a pass", (PASS_HZ[0], 1), xycoords=("data", "axes fraction"), xytext=(6, -14),
        textcoords="offset points", fontsize=9,
    )  # fmt: skip
    _decimal(axes.xaxis, axes.yaxis)
    axes.grid(True, which="both", **GRID)
    axes.set_xlabel("frequency of the noise, Hz")
    axes.set_ylabel("density, ppm per root hertz")
    axes.set_title(_title(report, "Noise of coil, soil and hand"), fontsize=11, parse_math=False)
    return figure


def _exceedance(report: NoiseReport) -> Any:
    from matplotlib.figure import Figure

    threshold, minutes = report.threshold, report.statistic.minutes
    figure = Figure(figsize=(9, 6), layout="constrained")
    axes = figure.subplots()
    sizes = sorted((abs(peak.score) for peak in report.statistic.peaks), reverse=True)
    rates = [(i + 1) / minutes for i in range(len(sizes))]
    axes.plot(sizes, rates, color=INK, marker="o", markersize=4, linestyle="none", label="peaks of this recording")
    axes.plot(
        *zip(*threshold.curve, strict=True), color=SECOND, linewidth=1.6,
        label=f"fit to the highest {threshold.tail_peaks} peaks, exponential in {threshold.tail}",
    )  # fmt: skip
    wanted, z = threshold.false_alarms_per_minute, threshold.threshold
    axes.plot([z, z], [threshold.rate_low, threshold.rate_high], color=MARK, linewidth=2.5, label="95 % interval")
    axes.plot([z], [wanted], color=MARK, marker="D", markersize=8, linestyle="none")
    axes.annotate(
        f"threshold {z:.2f} for {wanted:g} a minute",
        (z, wanted),
        xytext=(14, 8),
        textcoords="offset points",
        fontsize=10,
    )
    axes.set(yscale="log")
    _decimal(axes.yaxis)
    axes.set_ylim(min(min(rates), wanted, threshold.rate_low) / 2, 2 * max(rates))
    axes.grid(True, which="both", **GRID)
    axes.set_xlabel("threshold, sigma")
    axes.set_ylabel("false alarms a minute at this threshold")
    axes.set_title(_title(report, "False alarms against threshold"), fontsize=11, parse_math=False)
    axes.legend(loc="upper right", fontsize=9)
    return figure
