"""Pictures of the result of `coilcount noise`: deviation by averaging time, noise by frequency, alarms by threshold.

SVG and PNG, readable in grey; the functions take the object that --json prints.  matplotlib is imported in the
functions that use it.
"""

from pathlib import Path
from typing import Any

from coilcount.face.picture_files import write_figures
from coilcount.text import printable

INK, BAND, SECOND, MARK = "#000000", "#BBBBBB", "#0072B2", "#D55E00"
# Hz.  The band in which the passes of the tracker's widths have nine tenths of their energy, by computation: 1.15 to
# 4.6 Hz for a pass 0.13 s wide, 0.47 to 2.5 Hz for one 0.5 s wide.  The pass is (1 + (t / w)^2)^-3 (full width at half
# height 1.02 w), with its mean and slope over the filter's boxes subtracted.
PASS_HZ = (0.47, 4.6)
GRID = {"color": "#DDDDDD", "linewidth": 0.6}


def draw_noise(noise: dict[str, Any], folder: Path) -> list[Path]:
    """Write stability, and noise and threshold if there are any, as SVG and PNG into `folder`; returns the paths."""
    figures = {"stability": _stability(noise)}
    if noise["learned"]["noise_ppm_rthz"]:
        figures["noise"] = _noise(noise)
    if noise["threshold"] is not None:
        figures["threshold"] = _exceedance(noise)
    return write_figures(figures, folder)


def _decimal(*scales: Any) -> None:
    """Logarithmic axes with labels 0.05, 0.1, 0.2 instead of powers of ten, also over less than a decade."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    for scale in scales:
        scale.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        scale.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        scale.set_minor_formatter(NullFormatter())


def _title(noise: dict[str, Any], what: str) -> str:
    simulated = ", simulated" if noise["simulated"] else ""
    return f"{what}: {printable(Path(noise['file']).name, 60)}{simulated}"


def _stability(noise: dict[str, Any]) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 6), layout="constrained")
    axes = figure.subplots()
    rows = noise["stability"]
    tau = [row["tau_s"] for row in rows]
    low, value, high = ([1e6 * row["oadev"][key] for row in rows] for key in ("low", "value", "high"))
    axes.fill_between(tau, low, high, color=BAND, alpha=0.5, linewidth=0, label="its 95 % interval")
    axes.plot(tau, value, color=INK, marker="o", markersize=5, label="overlapping Allan")
    modified = [(row["tau_s"], 1e6 * row["mdev"]["value"]) for row in rows if row["mdev"]]
    if modified:
        axes.plot(
            *zip(*modified, strict=True), color=SECOND, marker="s", markersize=4, linestyle="--", label="modified Allan"
        )
    axes.set(xscale="log", yscale="log")
    for row, top in zip(rows, high, strict=True):
        text = row["noise"].replace("random walk", "walk") if row["noise_measured"] else ""
        axes.annotate(
            text, (row["tau_s"], top), xytext=(0, 4), textcoords="offset points", rotation=90, fontsize=7.5,
            ha="center", va="bottom",
        )  # fmt: skip
    bottom, top = axes.get_ylim()
    axes.set_ylim(bottom, 2 * top)
    axes.grid(True, which="both", **GRID)
    axes.set_xlabel("averaging time tau, s")
    axes.set_ylabel("deviation of the mean frequency, ppm")
    hertz = axes.secondary_yaxis(
        "right",
        functions=(lambda ppm: ppm * 1e-6 * noise["frequency_hz"], lambda hz: hz / (1e-6 * noise["frequency_hz"])),
    )
    _decimal(axes.xaxis, axes.yaxis, hertz.yaxis)
    hertz.set_ylabel(f"Hz, at {noise['frequency_hz']:.0f} Hz")
    axes.set_title(_title(noise, "Stability"), fontsize=11, parse_math=False)
    figure.legend(loc="outside lower center", ncols=3, fontsize=9)
    return figure


def _noise(noise: dict[str, Any]) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 6), layout="constrained")
    axes = figure.subplots()
    bands = noise["learned"]["noise_ppm_rthz"]
    hz = [band["hz"] for band in bands]
    axes.step(hz, [band["ppm_rthz"] for band in bands], where="mid", color=INK)
    axes.set(xscale="log", yscale="log")
    axes.axvspan(*PASS_HZ, color=BAND, alpha=0.4, linewidth=0)
    axes.annotate(
        "band of a pass", (PASS_HZ[0], 1), xycoords=("data", "axes fraction"), xytext=(6, -14),
        textcoords="offset points", fontsize=9,
    )  # fmt: skip
    _decimal(axes.xaxis, axes.yaxis)
    axes.grid(True, which="both", **GRID)
    axes.set_xlabel("frequency of the noise, Hz")
    axes.set_ylabel("density, ppm per root hertz")
    axes.set_title(_title(noise, "Noise of coil, soil and hand"), fontsize=11, parse_math=False)
    return figure


def _exceedance(noise: dict[str, Any]) -> Any:
    from matplotlib.figure import Figure

    found, minutes = noise["threshold"], noise["statistic"]["minutes"]
    figure = Figure(figsize=(9, 6), layout="constrained")
    axes = figure.subplots()
    sizes = sorted((abs(peak["score"]) for peak in noise["statistic"]["peaks"]), reverse=True)
    rates = [(i + 1) / minutes for i in range(len(sizes))]
    axes.plot(sizes, rates, color=INK, marker="o", markersize=4, linestyle="none", label="peaks of this recording")
    axes.plot(
        *zip(*found["curve"], strict=True), color=SECOND, linewidth=1.6,
        label=f"fit to the highest {found['tail_peaks']}, exponential in {found['tail']}",
    )  # fmt: skip
    wanted, z = found["false_alarms_per_minute"], found["threshold"]
    axes.plot([z, z], [found["rate_low"], found["rate_high"]], color=MARK, linewidth=2.5, label="95 % interval")
    axes.plot([z], [wanted], color=MARK, marker="D", markersize=8, linestyle="none")
    axes.annotate(
        f"threshold {z:.2f} sigma for {wanted:g} a minute",
        (z, wanted),
        xytext=(14, 8),
        textcoords="offset points",
        fontsize=10,
    )
    axes.set(yscale="log")
    _decimal(axes.yaxis)
    axes.set_ylim(min(min(rates), wanted, found["rate_low"]) / 2, 2 * max(rates))
    axes.grid(True, which="both", **GRID)
    axes.set_xlabel("threshold, sigma")
    axes.set_ylabel("false alarms a minute at this threshold")
    axes.set_title(_title(noise, "False alarms by threshold"), fontsize=11, parse_math=False)
    axes.legend(loc="upper right", fontsize=9)
    return figure
