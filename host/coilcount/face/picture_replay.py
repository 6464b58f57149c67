"""A picture of a replay as SVG and PNG: the shift against time in rows, and below it baseline and temperature.

Readable in grey: a glyph says the same as its colour.  matplotlib is imported inside the functions.
"""

import bisect
import math
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coilcount.face.picture_files import write_figures
from coilcount.face.replay_trace import SPARE_S, Trace, decimated, over_the_edge_s, row_length_s, unbroken, within
from coilcount.face.times import length
from coilcount.live.readout import clock
from coilcount.model import Alert, Label
from coilcount.text import printable

# Okabe and Ito's palette, as in the other pictures.
INK, BAND, GREY, WARM_UP = "#000000", "#BBBBBB", "#555555", "#8C8C8C"
COLOUR = {1: "#0072B2", -1: "#D55E00"}
GLYPH = {1: "^", -1: "v"}
GRID = {"color": "#DDDDDD", "linewidth": 0.6}
COLUMNS = 1400  # of a row: about the pixels of its width in the PNG
WIDTH_IN, ROW_IN, NAMES_IN, PANEL_IN, FRAME_IN = 12.0, 2.0, 0.55, 1.25, 1.1  # inches
MOST_NUMBERS = 40  # alerts of a row; more numbers would cover each other
NEAR_SHARE = 0.006  # of a row's length: nearer alerts share their number's place
LEAST_BAR = 0.002  # of a row's length: a label's bar is at least this long, so that it can be seen
NAME_LINES = 3  # of label names under a row; a name that finds no room is left out, its bar stays
NAME_CHARACTERS = 26
CHARACTER_IN = 0.062  # inches, about the width of a character at 7 points
TICK_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400, 28_800, 86_400)
MOST_TICKS = 13
# Full scale over the threshold from which the scale is logarithmic outside the threshold band.
LINEAR_UP_TO = 25.0
# All of these are chosen by hand.


def draw_replay(trace: Trace, folder: Path, name: str) -> list[Path]:
    """Write NAME.svg and NAME.png into `folder`, made if needed; returns the paths.

    Raises InputError if one of them exists, StorageError if they cannot be written.
    """
    return write_figures({name: _figure(trace)}, folder)


def _figure(trace: Trace) -> Any:
    from matplotlib.figure import Figure

    duration_s = max(trace.end_s - trace.start_s, 1.0)
    row_s = row_length_s(duration_s)
    rows = max(1, math.ceil((duration_s - SPARE_S) / row_s))
    if rows == 1:
        row_s = duration_s  # in several rows equal lengths mean equal times; one row needs no empty rest
    warm = any(not math.isnan(value) for value in trace.temperature_c)
    each = [ROW_IN, NAMES_IN] if trace.labels else [ROW_IN]
    heights = each * rows + [PANEL_IN] * (2 if warm else 1)
    figure = Figure(figsize=(WIDTH_IN, sum(heights) + FRAME_IN), layout="constrained")
    figure.get_layout_engine().set(h_pad=0.02, hspace=0.0)
    axes = list(figure.subplots(len(heights), 1, height_ratios=heights, squeeze=False)[:, 0])
    simulated = ", simulated" if trace.simulated else ""
    title = f"{Path(trace.name).name}{simulated}: {length(trace.end_s - trace.start_s)} from {trace.start_utc}"
    figure.suptitle(printable(title, 110), fontsize=11, parse_math=False)
    scale = _Scale(trace)
    for row in range(rows):
        start_s = trace.start_s + row * row_s
        _row(axes.pop(0), trace, scale, start_s, start_s + row_s)
        if trace.labels:
            _labels(axes.pop(0), within(trace.labels, start_s, start_s + row_s), start_s, start_s + row_s)
    _drift(axes.pop(0), trace)
    if warm:
        _panel(axes[0], trace, trace.temperature_c, "board, °C")
    _legend(figure, trace)
    return figure


class _Scale:
    """The vertical scale, the same in all rows: linear, or logarithmic outside the threshold if peaks are high."""

    def __init__(self, trace: Trace) -> None:
        levels = sorted(value for value in trace.rise_ppm if not math.isnan(value))
        largest = max((abs(value) for value in trace.shift_ppm or trace.warm_up_ppm), default=0.0)
        self.linear_ppm = max(levels[len(levels) // 2] if levels else 0.0, 1e-3)
        self.full_ppm = 1.25 * max(largest, 2 * self.linear_ppm)
        self.logarithmic = bool(levels) and self.full_ppm > LINEAR_UP_TO * self.linear_ppm

    def apply(self, axes: Any) -> None:
        from matplotlib.ticker import FixedLocator, FuncFormatter

        if self.logarithmic:
            axes.set_yscale("symlog", linthresh=self.linear_ppm, linscale=0.6)
            decades = range(math.floor(math.log10(self.linear_ppm)), math.floor(math.log10(self.full_ppm)) + 1)
            steps = (1, 2, 5) if len(decades) < 3 else (1, 3) if len(decades) < 4 else (1,)
            ticks = [step * 10.0**power for power in decades for step in steps]
            ticks = [tick for tick in ticks if self.linear_ppm <= tick <= self.full_ppm]
            axes.yaxis.set_major_locator(FixedLocator([*(-tick for tick in reversed(ticks)), 0.0, *ticks]))
            axes.yaxis.set_minor_locator(FixedLocator([]))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:+g}" if value else "0"))
        axes.set_ylim(-self.full_ppm, self.full_ppm)
        axes.set_ylabel("shift, ppm\n(log. scale)" if self.logarithmic else "shift, ppm", fontsize=9)


def _row(axes: Any, trace: Trace, scale: _Scale, start_s: float, end_s: float) -> None:
    scale.apply(axes)
    axes.set_xlim(start_s, end_s)
    _time_ticks(axes)
    axes.grid(True, **GRID)
    first, last = (bisect.bisect_left(trace.slow_s, time_s) for time_s in (start_s, end_s))
    # The threshold changes over half a minute, so every n-th value shows it; readings are never thinned like this.
    part = slice(max(0, first - 1), last + 1, max(1, (last - first) // COLUMNS))
    x, rise = trace.slow_s[part], trace.rise_ppm[part]
    fall = [-value for value in trace.fall_ppm[part]]
    axes.fill_between(x, fall, rise, color=BAND, alpha=0.6, linewidth=0, step="post", zorder=1)
    for silence in within(trace.silences, start_s, end_s):
        axes.axvspan(silence.start_s, silence.end_s, facecolor="#EEEEEE", edgecolor=GREY, hatch="xx", linewidth=0)
        middle_s, words = (silence.start_s + silence.end_s) / 2, f"gap: {silence.reason}"
        _note(axes, middle_s, 0.5, words, rotation=90, va="center", backgroundcolor="white")
    over_s = over_the_edge_s(trace)
    for part_s, until_s in unbroken(trace, start_s - over_s, end_s + over_s):
        share = max(1, round(COLUMNS * (until_s - part_s) / (end_s - start_s)))
        for times, values, colour in (
            (trace.time_s, trace.shift_ppm, INK),
            (trace.warm_up_s, trace.warm_up_ppm, WARM_UP),
        ):
            axes.plot(*decimated(times, values, part_s, until_s, share), color=colour, linewidth=0.7, zorder=2)
    for hold in within(trace.holds, start_s, end_s):
        _lane(axes, hold.start_s, trace.end_s if hold.end_s is None else hold.end_s, "////")
    for frozen_s, until_s in trace.frozen:
        if frozen_s < end_s and until_s > start_s:
            _lane(axes, frozen_s, until_s, "....")
    for mark in trace.marks:
        if start_s <= mark.time_s < end_s:
            axes.axvline(mark.time_s, color=GREY, linewidth=1.0, linestyle=(0, (2, 2)))
            _note(axes, mark.time_s, 0.98, f" {mark.text or 'mark'}", va="top", ha="left")
    _alerts(axes, [alert for alert in trace.alerts if alert.sign and start_s <= alert.peak_s < end_s], scale)


def _alerts(axes: Any, alerts: list[Alert], scale: _Scale) -> None:
    for sign in COLOUR:
        for uncertain in (False, True):
            found = [a for a in alerts if a.sign == sign and (a.response == "uncertain") == uncertain]
            y = [max(-scale.full_ppm, min(scale.full_ppm, alert.peak_shift_ppm)) for alert in found]
            axes.plot(
                [alert.peak_s for alert in found], y, linestyle="none", marker=GLYPH[sign], markersize=7,
                markeredgecolor=COLOUR[sign], markerfacecolor="white" if uncertain else COLOUR[sign], zorder=4,
            )  # fmt: skip
    if len(alerts) <= MOST_NUMBERS:
        for alert, number in _numbers(alerts, NEAR_SHARE * (axes.get_xlim()[1] - axes.get_xlim()[0])):
            axes.annotate(
                number, (alert.peak_s, alert.peak_shift_ppm), xytext=(6, 0), textcoords="offset points",
                fontsize=7.5, va="center", zorder=4, annotation_clip=True,
            )  # fmt: skip


def _numbers(alerts: list[Alert], near_s: float) -> Iterator[tuple[Alert, str]]:
    """Alerts with the text that stands beside them: those of one sign in one place share it."""
    for sign in COLOUR:
        group: list[Alert] = []
        for alert in sorted((alert for alert in alerts if alert.sign == sign), key=lambda alert: alert.peak_s):
            if group and alert.peak_s - group[-1].peak_s > near_s:
                yield group[-1], " ".join(str(alert.id) for alert in group)
                group = []
            group.append(alert)
        if group:
            yield group[-1], " ".join(str(alert.id) for alert in group)


def _labels(axes: Any, labels: list[Label], start_s: float, end_s: float) -> None:
    """The lane of labels under a row: a bar for each, black for an object and grey for the others, and its name."""
    axes.set_xlim(start_s, end_s)
    axes.set_ylim(0, 1)
    axes.axis("off")
    character_s = CHARACTER_IN * (end_s - start_s) / WIDTH_IN
    free_s = [-math.inf] * NAME_LINES
    for label in sorted(labels, key=lambda label: label.closest_s):
        colour = INK if label.is_object else GREY
        bar_end_s = max(label.end_s, label.start_s + LEAST_BAR * (end_s - start_s))
        axes.plot([label.start_s, bar_end_s], [0.93, 0.93], color=colour, linewidth=4, solid_capstyle="butt")
        name = printable(label.object, NAME_CHARACTERS)
        half_s = character_s * len(name) / 2
        middle_s = min(max(label.closest_s, start_s + half_s), end_s - half_s)
        line = next((i for i, free in enumerate(free_s) if middle_s - half_s >= free), None)
        if line is not None:
            free_s[line] = middle_s + half_s + character_s
            axes.text(
                middle_s, 0.8 - line * 0.8 / NAME_LINES, name, fontsize=7, color=colour, ha="center", va="top",
                parse_math=False,
            )  # fmt: skip


def _note(axes: Any, time_s: float, height: float, text: str, **options: Any) -> None:
    """A few words at a share of the row's height; left out if they would lie beside the row."""
    start_s, end_s = axes.get_xlim()
    if start_s <= time_s < end_s:
        options = {"ha": "center", **options}
        axes.text(
            time_s, height, printable(text, NAME_CHARACTERS), transform=axes.get_xaxis_transform(), fontsize=7,
            color=GREY, parse_math=False, zorder=3, **options,
        )  # fmt: skip


def _lane(axes: Any, start_s: float, end_s: float, hatch: str) -> None:
    """A time in which the baseline stood still: a hatched strip at the top of the row."""
    axes.axvspan(start_s, end_s, 0.93, 1.0, facecolor="white", edgecolor=GREY, hatch=hatch, linewidth=0.6, zorder=1)


def _drift(axes: Any, trace: Trace) -> None:
    first_hz = next((value for value in trace.baseline_hz if not math.isnan(value)), math.nan)
    drift = array("d", [1e6 * (value / first_hz - 1) for value in trace.baseline_hz])
    _panel(axes, trace, drift, "baseline, ppm")
    words = "" if math.isnan(first_hz) else f"the first baseline, {first_hz:.1f} Hz, is 0"
    axes.set_title(words, fontsize=8, loc="left", color=GREY, pad=2)


def _panel(axes: Any, trace: Trace, values: array, name: str) -> None:
    """A slow quantity over the whole recording."""
    axes.set_xlim(trace.start_s, max(trace.end_s, trace.start_s + 1.0))
    known = [place for place, value in enumerate(values) if not math.isnan(value)]
    times, values = array("d", [trace.slow_s[place] for place in known]), array("d", [values[place] for place in known])
    for start_s, end_s in unbroken(trace, trace.start_s, trace.end_s + 1.0):
        axes.plot(*decimated(times, values, start_s, end_s, COLUMNS), color=INK, linewidth=1.0)
    _time_ticks(axes)
    axes.grid(True, **GRID)
    axes.set_ylabel(name, fontsize=9)


def _time_ticks(axes: Any) -> None:
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    start_s, end_s = axes.get_xlim()
    step_s = next((step for step in TICK_STEPS_S if (end_s - start_s) / step <= MOST_TICKS), end_s - start_s)
    axes.xaxis.set_major_locator(MultipleLocator(step_s))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: clock(max(0.0, value))))
    axes.tick_params(labelsize=8)


def _legend(figure: Any, trace: Trace) -> None:
    """Words for what stands in this picture."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    def glyph(sign: int, face: str, text: str) -> Any:
        return Line2D(
            [], [], linestyle="none", marker=GLYPH[sign], markeredgecolor=COLOUR[sign], markerfacecolor=face, label=text
        )

    handles = [
        Patch(color=BAND, alpha=0.6, label="threshold"),
        glyph(1, COLOUR[1], "rose: non-ferrous, or sheet iron"),
        glyph(-1, COLOUR[-1], "fell: ferrous response"),
    ]
    if any(alert.response == "uncertain" for alert in trace.alerts):
        handles.append(glyph(1, "white", "hollow: uncertain"))
    if trace.warm_up_s:
        handles.append(Line2D([], [], color=WARM_UP, label="warm-up"))
    if trace.holds:
        handles.append(Patch(facecolor="white", edgecolor=GREY, hatch="////", label="baseline held"))
    if trace.frozen:
        handles.append(Patch(facecolor="white", edgecolor=GREY, hatch="....", label="frozen"))
    if trace.silences:
        handles.append(Patch(facecolor="#EEEEEE", edgecolor=GREY, hatch="xxx", linewidth=0, label="gap"))
    if trace.marks:
        handles.append(Line2D([], [], color=GREY, linestyle=(0, (2, 2)), label="mark"))
    if trace.labels:
        handles.append(Line2D([], [], color=INK, linewidth=4, label="label"))
    figure.legend(handles=handles, loc="outside lower center", ncols=len(handles), fontsize=8, frameon=False)
