"""The picture of a comparison: scores of the paired passes, and the shares and rates with their intervals.

SVG and PNG, readable in grey: each group of passes has a shape of its own.  matplotlib is imported inside the
functions, so that other commands start quickly.
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from coilcount.face.compare_words import percent, rate_words
from coilcount.face.picture_files import write_figures
from coilcount.model.compare import ComparedPass, ComparedSide, Comparison
from coilcount.model.noise_report import Interval95

INK, GREY, COLOUR_A, COLOUR_B = "#000000", "#777777", "#0072B2", "#D55E00"
GRID = {"color": "#DDDDDD", "linewidth": 0.6}
_LOWEST = 2.5  # sigma: at or below this nothing stood out
_NOTHING_AT = 2.0  # sigma: where passes are drawn in which nothing stood out
# (found by A, found by B): name, marker, colour of the inside, colour of the edge
_GROUPS = {
    (True, True): ("found by both", "o", "#BBBBBB", INK),
    (True, False): ("by A alone", "v", COLOUR_A, INK),
    (False, True): ("by B alone", "^", COLOUR_B, INK),
    (False, False): ("by neither", "x", GREY, GREY),
}


def draw_comparison(report: Comparison, folder: Path) -> list[Path]:
    """Write compare.svg and compare.png into `folder`; return their paths."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12, 6.6), layout="constrained")
    left, right = figure.subfigures(1, 2, width_ratios=(1.25, 1), wspace=0.03)
    _scores(left.subplots(), report)
    rows = _rows(report)
    for axes, row in zip(right.subplots(max(1, len(rows)), squeeze=False)[:, 0], rows, strict=False):
        _intervals(axes, report, *row)
    simulated = ", simulated" if report.a.simulated or report.b.simulated else ""
    what = "two settings on the same recordings" if report.same_recordings else "two builds"
    figure.suptitle(f"A and B: {what}{simulated}", fontsize=11)
    return write_figures({"compare": figure}, folder)


def _scores(axes: Any, report: Comparison) -> None:
    a, b = report.a.threshold, report.b.threshold
    largest = max([_score(row, side) for row in report.passes for side in "ab"] + [2 * a, 2 * b])
    low, high = _NOTHING_AT / 1.25, 1.4 * largest
    axes.set(xscale="log", yscale="log", xlim=(low, high), ylim=(low, high))
    axes.plot([low, high], [low, high], color=GREY, linewidth=0.8)
    axes.axvline(a, color=INK, linewidth=1.0, linestyle=(0, (5, 3)))
    axes.axhline(b, color=INK, linewidth=1.0, linestyle=(0, (5, 3)))
    for found, (name, marker, inside, edge) in _GROUPS.items():
        rows = [row for row in report.passes if (row.found_a, row.found_b) == found]
        axes.scatter(
            [_score(row, "a") for row in rows], [_score(row, "b") for row in rows], s=34, marker=marker,
            **({"color": edge} if marker == "x" else {"facecolor": inside, "edgecolor": edge}),
            linewidth=0.9, label=f"{name}: {len(rows)}", clip_on=False, zorder=3,
        )  # fmt: skip
    for text, place, where in (
        ("A's threshold", (a, high), {"rotation": 90, "ha": "right", "va": "top", "xytext": (-2, -4)}),
        ("B's threshold", (high, b), {"ha": "right", "va": "bottom", "xytext": (-4, 2)}),
    ):
        axes.annotate(text, place, textcoords="offset points", fontsize=8.5, **where)
    ticks = [value for value in (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000) if value < high]
    names = [f"≤ {_LOWEST:g}", *map(str, ticks)]
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_ticks([_NOTHING_AT, *ticks], names)
        axis.set_ticks([], minor=True)
    axes.grid(True, **GRID)
    axes.set_axisbelow(True)
    axes.set_xlabel("score in A, sigma")
    axes.set_ylabel("score in B, sigma")
    axes.set_title("Each pass with A and with B", fontsize=10)
    axes.legend(loc="lower right", fontsize=8.5)


def _score(row: ComparedPass, side: str) -> float:
    score = getattr(row, f"score_{side}")
    return _NOTHING_AT if score is None or score <= _LOWEST else score


_Row = tuple[str, Callable[[ComparedSide], Interval95 | None], Callable[[float], str]]


def _rows(report: Comparison) -> list[_Row]:
    rows: list[_Row] = [
        ("passes found", lambda side: side.found_share, percent),
        ("false alarms a minute", lambda side: side.false_alarms_per_minute, rate_words),
        ("half of the passes found down to, cm", lambda side: side.half_depth_cm, lambda value: f"{value:.1f}"),
    ]
    measured: list[_Row] = [
        ("peak shift of objects that both found, ppm", lambda side: side.peak_shift_ppm, _three_digits),
        ("noise of one reading, ppm", lambda side: side.noise_ppm, _three_digits),
        (
            f"noise over {report.a.scatter_tau_s or report.b.scatter_tau_s or 0:.2f} s, ppm",
            lambda side: side.scatter_ppm, _three_digits,
        ),
    ]  # fmt: skip
    # Two settings on the same recordings have the same noise.
    rows += [] if report.same_recordings else measured
    return [row for row in rows if row[1](report.a) is not None or row[1](report.b) is not None]


def _three_digits(value: float) -> str:
    return f"{value:.3g}"


def _intervals(
    axes: Any,
    report: Comparison,
    title: str,
    interval_of: Callable[[ComparedSide], Interval95 | None],
    text: Callable[[float], str],
) -> None:
    places: Sequence[tuple[float, ComparedSide, str, str]] = (
        (1.0, report.a, COLOUR_A, "v"),
        (0.0, report.b, COLOUR_B, "^"),
    )
    for y, side, colour, marker in places:
        found = interval_of(side)
        if found is None:
            axes.text(0.5, y, "cannot be said", fontsize=8.5, va="center", transform=axes.get_yaxis_transform())
            continue
        axes.plot([found.low, found.high], [y, y], color=colour, linewidth=2.2, solid_capstyle="butt")
        axes.plot(
            [found.value], [y], marker=marker, color=colour, markeredgecolor=INK, markersize=7, clip_on=False, zorder=3
        )
        axes.annotate(
            text(found.value), (found.value, y), xytext=(0, 6), textcoords="offset points", fontsize=8.5,
            ha="center", annotation_clip=False,
        )  # fmt: skip
    axes.set_ylim(-0.5, 2.0)
    axes.set_yticks([1.0, 0.0], ["A", "B"])
    highest = max(found.high for side in (report.a, report.b) if (found := interval_of(side)) is not None)
    axes.set_xlim(0, 1.08 * highest if highest else 1.0)
    if text is percent:
        from matplotlib.ticker import FuncFormatter

        axes.set_xlim(0, 1)
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: percent(value)))
    axes.grid(True, axis="x", **GRID)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=8.5)
    for edge in ("top", "right", "left"):
        axes.spines[edge].set_visible(False)
    axes.set_title(title, fontsize=9.5, loc="left")
