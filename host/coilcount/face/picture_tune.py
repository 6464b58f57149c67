"""Pictures of the report of `coilcount tune`: detections against false alarms, both by threshold, and kinds of object.

All points are as they were measured, with 95 % intervals; no curve is smoothed or made to rise.  SVG and PNG, readable
in grey.  matplotlib is imported inside the functions, so that other commands start quickly.
"""

from math import log10
from pathlib import Path
from typing import Any

from coilcount.face.picture_files import write_figures
from coilcount.model import Interval95, Outcome, TuneReport
from coilcount.text import printable

INK, BAND, MARK, LEFT_OUT = "#000000", "#BBBBBB", "#D55E00", "#0072B2"
GRID = {"color": "#DDDDDD", "linewidth": 0.6}
MOST_KINDS = 60  # rows of the picture of objects; chosen by hand
# Thresholds are written beside the curve if they are this far apart in one direction, so that none covers another.
APART_DECADES, APART_PERCENT = 0.15, 5.0


def draw_tune(report: TuneReport, folder: Path) -> list[Path]:
    """Write detection, thresholds and objects as .svg and .png into `folder`; return the paths.

    Without labelled passes there is no curve of detections and no picture of objects; without minutes no curve.
    """
    figures = {"thresholds": _thresholds(report)}
    if report.in_force.outcome.passes:
        if report.in_force.outcome.rate is not None:
            figures["detection"] = _detection(report)
        figures["objects"] = _objects(report)
    return write_figures(figures, folder)


def _title(report: TuneReport, what: str) -> str:
    count = len(report.recordings)
    words = f"{count} recording{'' if count == 1 else 's'}"
    return f"{what}: {words}{', simulated' if report.simulated else ''}"


def _decimal(scale: Any) -> None:
    """Label a logarithmic axis 0.1, 0.2, 0.5 instead of powers of ten."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    scale.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    scale.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    scale.set_minor_formatter(NullFormatter())


def _detection(report: TuneReport) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 6), layout="constrained")
    axes = figure.subplots()
    none_x = _none_x(report)
    rows = [row for row in report.curve if row.outcome.rate is not None]
    x = [row.outcome.rate.value or none_x for row in rows]
    y = [100 * row.outcome.share.value for row in rows]
    axes.errorbar(
        x, y, xerr=_lengths(x, [row.outcome.rate for row in rows], none_x),
        yerr=_lengths(y, [row.outcome.share for row in rows], 0.0, 100), fmt="none", ecolor=BAND, elinewidth=0.9,
        label="95 % intervals",
    )  # fmt: skip
    axes.plot(x, y, color=INK, marker="o", markersize=4, linewidth=1.1, label="each threshold")
    shown: list[int] = []
    for number, row in enumerate(rows):
        if all(abs(log10(x[number] / x[i])) > APART_DECADES or abs(y[number] - y[i]) > APART_PERCENT for i in shown):
            shown.append(number)
            axes.annotate(
                f"{row.threshold:g}", (x[number], y[number]), xytext=(4, -11), textcoords="offset points", fontsize=8
            )
    chosen, in_force = report.chosen, report.in_force
    asked = in_force.asked_per_minute
    words = f"{in_force.threshold:g}" if asked is None else f"at most {asked:g} a minute asked for"
    _point(axes, in_force.outcome, none_x, "s", INK, f"in force: {words}", hollow=True)
    if chosen is not None:
        _point(axes, chosen.outcome, none_x, "D", MARK, f"chosen: {chosen.threshold:g}")
    if report.cross is not None and report.cross.outcome.rate is not None and report.cross.outcome.share is not None:
        _point(axes, report.cross.outcome, none_x, "^", LEFT_OUT, "on recordings left out of the choice", bars=True)
    wanted = report.false_alarms_per_minute
    axes.axvline(wanted, color=INK, linewidth=0.8, linestyle=(0, (1, 1.5)))
    axes.annotate(f"{wanted:g} a minute asked for", (wanted, 0), xycoords=("data", "axes fraction"), xytext=(4, 5),
                  textcoords="offset points", fontsize=8.5)  # fmt: skip
    axes.set(xscale="log", ylim=(0, 102))
    _decimal(axes.xaxis)
    if any(not row.outcome.false_alarms for row in rows):
        axes.axvspan(none_x / 1.6, 1.6 * none_x, color=BAND, alpha=0.35, linewidth=0)
        axes.annotate("none\nseen", (none_x, 0), xycoords=("data", "axes fraction"), xytext=(0, 5),
                      textcoords="offset points", fontsize=8.5, ha="center")  # fmt: skip
    axes.grid(True, **GRID)
    axes.set_xlabel("false alarms a minute")
    axes.set_ylabel("passes found, %")
    axes.set_title(_title(report, "Detections against false alarms"), fontsize=11)
    figure.legend(loc="outside lower center", ncols=3, fontsize=9)
    return figure


def _none_x(report: TuneReport) -> float:
    """Where "no false alarm" is drawn on the logarithmic axis: at a third of one in all minutes."""
    minutes = max(row.outcome.minutes for row in report.curve)
    return 1 / (3 * minutes) if minutes > 0 else 0.1


def _lengths(
    values: list[float], intervals: list[Interval95], least: float, factor: float = 1.0
) -> tuple[list[float], list[float]]:
    """The lengths of error bars below and above the values; no bar ends below `least`."""
    below = [value - max(least, factor * interval.low) for value, interval in zip(values, intervals, strict=True)]
    above = [factor * interval.high - value for value, interval in zip(values, intervals, strict=True)]
    return [max(0.0, length) for length in below], [max(0.0, length) for length in above]


def _point(
    axes: Any,
    outcome: Outcome,
    none_x: float,
    marker: str,
    colour: str,
    label: str,
    hollow: bool = False,
    bars: bool = False,
) -> None:
    if outcome.rate is None or outcome.share is None:
        return
    x, y = outcome.rate.value or none_x, 100 * outcome.share.value
    axes.plot(
        [x], [y], marker=marker, markersize=10, color=colour, markerfacecolor="none" if hollow else colour,
        linestyle="none", label=label, zorder=5,
    )  # fmt: skip
    if bars:
        axes.errorbar(
            [x], [y], xerr=_lengths([x], [outcome.rate], none_x), yerr=_lengths([y], [outcome.share], 0.0, 100),
            fmt="none", ecolor=colour, elinewidth=1.6, zorder=4,
        )  # fmt: skip


def _thresholds(report: TuneReport) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 7), layout="constrained")
    rows = [row for row in report.curve if row.outcome.rate is not None]
    passes = bool(report.in_force.outcome.passes)
    panels = figure.subplots(2 if passes else 1, 1, sharex=True, squeeze=False)[:, 0]
    z = [row.threshold for row in rows]
    rates = [row.outcome.rate for row in rows]
    axes = panels[0]
    if rows:
        least = _none_x(report)
        axes.fill_between(z, [max(rate.low, least) for rate in rates], [rate.high for rate in rates], color=BAND,
                          alpha=0.5, linewidth=0, label="95 % interval")  # fmt: skip
        seen = [(threshold, rate.value) for threshold, rate in zip(z, rates, strict=True) if rate.value > 0]
        axes.plot(*zip(*seen, strict=True), color=INK, marker="o", markersize=4) if seen else None
        axes.set(yscale="log")
        _decimal(axes.yaxis)
    axes.axhline(report.false_alarms_per_minute, color=INK, linewidth=0.8, linestyle=(0, (1, 1.5)))
    axes.annotate(f"{report.false_alarms_per_minute:g} a minute asked for", (1, report.false_alarms_per_minute),
                  xycoords=("axes fraction", "data"), xytext=(-4, 4), textcoords="offset points", fontsize=8.5,
                  ha="right")  # fmt: skip
    axes.set_ylabel("false alarms a minute")
    if passes:
        shares = [row.outcome.share for row in rows]
        panels[1].fill_between(z, [100 * share.low for share in shares], [100 * share.high for share in shares],
                               color=BAND, alpha=0.5, linewidth=0)  # fmt: skip
        panels[1].plot(z, [100 * share.value for share in shares], color=INK, marker="o", markersize=4)
        panels[1].set(ylim=(0, 102), ylabel="passes found, %")
    for axes in panels:
        axes.grid(True, **GRID)
        words = "in force" if report.in_force.asked_per_minute is None else "in force, in the median"
        axes.axvline(report.in_force.threshold, color=INK, linewidth=1.0, linestyle=(0, (5, 3)), label=words)
        if report.chosen is not None:
            axes.axvline(report.chosen.threshold, color=MARK, linewidth=1.8, label="chosen")
    panels[0].legend(loc="upper right", fontsize=9)
    panels[-1].set_xlabel("threshold, sigma")
    panels[0].set_title(_title(report, "False alarms and detections by threshold"), fontsize=11)
    return figure


def _objects(report: TuneReport) -> Any:
    from matplotlib.figure import Figure

    kinds = report.kinds[:MOST_KINDS]
    figure = Figure(figsize=(9, 1.5 + 0.24 * len(kinds)), layout="constrained")
    axes = figure.subplots()
    for row, kind in enumerate(kinds):
        low, high = 100 * kind.share.low, 100 * kind.share.high
        axes.plot([low, high], [row, row], color=BAND, linewidth=4, solid_capstyle="butt")
        axes.plot([100 * kind.share.value], [row], color=INK, marker="o", markersize=5)
    axes.set_yticks(range(len(kinds)), [_kind_words(kind) for kind in kinds], fontsize=8.5, parse_math=False)
    axes.set_ylim(len(kinds) - 0.5, -0.5)
    axes.set(xlim=(-2, 102), xlabel="passes found, %; bar: 95 % interval")
    axes.grid(True, axis="x", **GRID)
    threshold = report.in_force.threshold if report.chosen is None else report.chosen.threshold
    more = len(report.kinds) - len(kinds)
    left = f" ({more} more kinds not drawn)" if more else ""
    axes.set_title(_title(report, f"Found by object and depth at threshold {threshold:g}{left}"), fontsize=11)
    return figure


def _kind_words(kind: Any) -> str:
    depth = "" if kind.from_cm is None else f", {kind.from_cm:g} to {kind.to_cm:g} cm"
    return f"{printable(kind.object, 40)}{depth}: {kind.found} of {kind.passes}"
