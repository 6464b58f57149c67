"""Pictures of the tables: how deep a coin is found, and the share found in each test condition.

`of_detection` and `of_depth` take the numbers to draw from the results.  They return plain objects for figures.json.
`draw` draws these objects, from the run itself or from the file.  Every colour has a shape of its own, so that the
pictures can be read in grey.
"""

import json
import textwrap
from pathlib import Path
from typing import Any

import numpy as np
from coilcount.face.picture_files import write_figures
from conditions import CONDITIONS
from depth import COIN, GROUNDS
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from rivals import RIVALS
from study import BOUND, Result
from tables_found import RATES, hits_at, mean

FILE = "figures.json"
PICTURES = ("found.svg", "found.png", "depth.svg", "depth.png")
WORDS = {
    "bench": "bench, no soil",
    "battery": "flat battery",
    "deep": "deep coins",
    "fast": "fast sweep",
    "foil": "small foil",
    "junk": "junk, overlapping",
    "mineral": "mineral soil",
    "noisy": "noisy oscillator",
    "sun": "hot sun",
}
SOILS = {**WORDS, "deep": "quiet soil"}

INK, DARK, MUTED, FAINT = "#000000", "#404040", "#666666", "#BBBBBB"
# The trackers that are drawn, by their names in the results, with the words of the key.
TRACKERS = {
    "warm": "tracker, warm",
    "fresh": "tracker, fresh",
}
# Colour and shape of each of TRACKERS.  The colours are those of Okabe and Ito.
OURS = (("#0072B2", "o"), ("#D55E00", "D"))
SHAPES = ("s", "^", "v", "<", ">", "X", "p", "h")
# Text in the SVG stays text.  The other fonts have nearly the same widths, in case the first is missing.
STYLE = {"svg.fonttype": "none", "font.sans-serif": ["DejaVu Sans", "Verdana", "sans-serif"]}


def of_detection(results: list[Result], clean_minutes: float, swept_minutes: float) -> dict[str, Any]:
    """Return for each test condition the number of passes, and the share that each method finds at each of RATES."""
    methods = list(results[0].detections)
    hits = {name: [hits_at(results, name, rate) for rate in RATES] for name in methods}
    return {
        "clean_minutes": clean_minutes,
        "swept_minutes": swept_minutes,
        "rates": list(RATES),
        "conditions": {
            result.name: {
                "passes": len(hits[methods[0]][0][i]),
                "found": {name: [mean(at_rate[i]) for at_rate in hits[name]] for name in methods},
            }
            for i, result in enumerate(results)
        },
    }


def of_depth(results: list[tuple[str, dict[str, Any]]], clean_minutes: float, swept_minutes: float) -> dict[str, Any]:
    """Return, for each condition and method, the depth at which half of the passes are found.

    A depth is a dictionary: cm, and low and high, the ends of its 95 % interval.
    """
    return {
        "clean_minutes": clean_minutes,
        "swept_minutes": swept_minutes,
        "grounds": dict(results),
    }


def draw(figures: dict[str, Any], folder: Path) -> list[Path]:
    """Write figures.json and the pictures of its parts as .svg and .png; return the paths."""
    # The numbers are written first, because they took minutes to compute.
    folder.mkdir(parents=True, exist_ok=True)
    (folder / FILE).write_text(json.dumps(figures, indent=1) + "\n")
    drawn = {}
    with rc_context(STYLE):
        if "depth" in figures:
            drawn["depth"] = _depth(figures["depth"])
        if "detection" in figures:
            drawn["found"] = _found(figures["detection"])
        return [folder / FILE, *write_figures(drawn, folder)]


def read(path: Path) -> dict[str, Any]:
    """Read the figures.json of an earlier run."""
    return json.loads(path.read_text())


def _own(methods: list[str]) -> dict[str, tuple[str, str]]:
    """Return colour and shape of each tracker that is drawn."""
    return {name: OURS[k] for k, name in enumerate(TRACKERS) if name in methods}


def _drawn(methods: list[str]) -> list[str]:
    """Return the methods that are drawn: the trackers of TRACKERS, the bound, and the rivals."""
    return [name for name in methods if name in TRACKERS or name in RIVALS or name == BOUND]


# The depth of a coin.

COIL_CM = 3.0
SOIL, BEYOND, TURF, COPPER = "#F3EDE3", "#D5CABA", "#7A6A52", "#8A5A2B"


def _depth(depth: dict[str, Any]) -> Figure:
    grounds = [ground for ground in GROUNDS if ground in depth["grounds"] and ground != "bench"]
    shown = {
        ground: {name: depth["grounds"][ground][name]["cm"] for name in _drawn(list(depth["grounds"][ground]))}
        for ground in grounds
    }
    bottom = max(cm for depths in shown.values() for cm in depths.values()) + 1.6
    figure = Figure(figsize=(9.6, 6.4))
    axes = figure.add_axes((0.055, 0.12, 0.94, 0.775))
    axes.set(xlim=(0, len(grounds)), ylim=(bottom, -6.0))
    axes.set_frame_on(False)
    axes.set_xticks([])
    ticks = range(0, int(bottom) + 1, 2)
    axes.set_yticks(ticks, [f"{cm}" for cm in ticks], fontsize=9)
    axes.tick_params(axis="y", length=0)
    for i, ground in enumerate(grounds):
        _draw_condition(axes, i, ground, shown[ground], bottom)
    figure.text(0.012, 0.42, "cm below the surface", rotation=90, va="center", fontsize=9)
    figure.text(0.055, 0.955, f"How deep a {COIN.diameter_mm:g} mm copper coin is found", fontsize=14, weight="bold")
    figure.text(
        0.055, 0.917,
        f"Simulated, {depth['swept_minutes']:g} minutes over coins in each condition. Depth down to which half of the "
        "passes are found, at 1 false alarm a minute.", fontsize=9.5, color=DARK,
    )  # fmt: skip
    shallow = ""
    if any(cm < COIN.shallow_cm for depths in shown.values() for cm in depths.values()):
        shallow = f"Hollow mark: more coins missed than found at every depth (no coin above {COIN.shallow_cm:g} cm). "
    _foot(
        figure, 0.055,
        "Bound: a matched filter that knows the shape of every pass and the spectrum of the noise. χ: magnetic "
        "susceptibility of the soil; hand: rms variation of the coil's height; warms: rise of the coil's temperature. "
        f"Every method has its own threshold in each condition, from {depth['clean_minutes']:g} minutes "
        f"without coins. {shallow}"
        "Widths are not to scale.",
    )  # fmt: skip
    return figure


def _draw_condition(axes: Any, i: int, ground: str, depths: dict[str, float], bottom: float) -> None:
    left, right, limit = i + 0.02, i + 0.98, depths[BOUND]
    _box(axes, left, right, 0, limit, SOIL)
    _box(axes, left, right, limit, bottom, BEYOND)
    lines = [(x, cm) for cm in range(2, int(bottom) + 1, 2) for x in (left, right, float("nan"))]
    axes.plot(*zip(*lines, strict=True), color="#FFFFFF", linewidth=0.8, zorder=1)
    axes.plot([left, right], [0, 0], color=TURF, linewidth=3.5, solid_capstyle="butt")
    axes.plot([left, right], [limit, limit], color=INK, linewidth=1.6, linestyle=(0, (5, 2)))
    axes.text(right - 0.015, limit + 0.2, f"bound {limit:.1f}", ha="right", va="top", fontsize=9, weight="bold")
    condition = CONDITIONS[ground]
    axes.text(i + 0.5, -4.95, SOILS.get(ground, ground), ha="center", va="bottom", fontsize=11.5, weight="bold")
    soil, warm_k = condition.ground, condition.weather.warm_up_k
    what = f"χ {_power(soil.chi)}, hand ±{soil.wobble_cm:g} cm, warms {warm_k:g} K"
    axes.text(i + 0.5, -4.8, what, ha="center", va="top", fontsize=8, color=DARK)
    _coil(axes, i + 0.5, i == 0)
    own = _own(list(depths))
    step = min(0.18, 0.36 / max(1, len(own)))  # of the width of a condition
    for k, (name, (colour, shape)) in enumerate(own.items()):
        x, cm = left + 0.03 + k * step, depths[name]
        _box(axes, x, x + step - 0.03, 0, cm, colour)
        middle = x + step / 2 - 0.015
        _mark(axes, middle, cm, shape, colour, 8)
        style = {"ha": "center", "weight": "bold", "fontsize": 50 * step, "color": "#FFFFFF", "zorder": 5}
        deep = cm > 5
        axes.text(middle, cm - 0.5 if deep else cm + 0.5, f"{cm:.1f}", va="bottom" if deep else "top",
                  **(style if deep else {**style, "color": colour}))  # fmt: skip
        if deep:
            axes.text(middle, 0.4, TRACKERS[name], rotation=90, va="top", **style)
        else:
            axes.text(middle, cm + 1.5, TRACKERS[name], rotation=90, va="top", **{**style, "color": colour})
    _rivals(axes, left + 0.06 + len(own) * step, {name: depths[name] for name in RIVALS if name in depths})


def _box(axes: Any, left: float, right: float, top: float, bottom: float, colour: str) -> None:
    axes.add_patch(Rectangle((left, top), right - left, bottom - top, color=colour, linewidth=0, zorder=1))


def _mark(axes: Any, x: float, cm: float, shape: str, colour: str, size: float) -> None:
    """Draw a filled mark, or a hollow one at a depth where no coin was."""
    fill, edge = ("#FFFFFF", colour) if cm < COIN.shallow_cm else (colour, "#FFFFFF")
    axes.plot([x], [cm], marker=shape, markersize=size, color=fill, markeredgecolor=edge, markeredgewidth=0.8, zorder=4)


def _power(value: float) -> str:
    """Format 1e-4 as 1·10⁻⁴, and 0 as 0."""
    if not value:
        return "0"
    digits, power = f"{value:.0e}".split("e")
    return f"{digits}·10" + str(int(power)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))


def _coil(axes: Any, middle: float, named: bool) -> None:
    axes.plot([middle - 0.2, middle + 0.2], [-COIL_CM, -COIL_CM], color=FAINT, linewidth=4, solid_capstyle="round")
    axes.plot([middle - 0.2, middle + 0.2], [-COIL_CM, -COIL_CM], color=COPPER, marker="o", markersize=8, linewidth=0)
    if named:
        x = middle + 0.2
        arrow = {"arrowstyle": "<->", "color": MUTED, "linewidth": 0.8, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", (x, 0), (x, -COIL_CM + 0.4), arrowprops=arrow)
        axes.text(x - 0.03, -COIL_CM / 2, f"coil {COIL_CM:g} cm above", ha="right", va="center", fontsize=8.5)


def _rivals(axes: Any, x: float, depths: dict[str, float]) -> None:
    """Draw the marks of the rivals on one vertical line, with names next to them that do not overlap."""
    if not depths:
        return
    axes.plot([x, x], [0, max(depths.values())], color=FAINT, linewidth=1)
    names = sorted(depths, key=depths.get)
    label_cm = _apart([depths[name] for name in names], 0.72)
    for name, y in zip(names, label_cm, strict=True):
        shape = SHAPES[list(RIVALS).index(name) % len(SHAPES)]
        axes.plot([x + 0.02, x + 0.06], [depths[name], y], color=FAINT, linewidth=0.7)
        _mark(axes, x, depths[name], shape, MUTED, 6)
        axes.text(x + 0.07, y, name, va="center", fontsize=8.5, color=DARK)


def _apart(wanted: list[float], gap: float) -> list[float]:
    """Return places for labels, at least `gap` apart, in the same order and with the least squared moves."""
    # Labels that touch form a group.  A group is centred on the mean of the places wanted by its labels.
    groups: list[list[float]] = []  # [sum of (wanted place - offset in the group), number of labels]
    for place in wanted:
        groups.append([place, 1])
        while len(groups) > 1 and groups[-2][0] / groups[-2][1] + gap * groups[-2][1] > groups[-1][0] / groups[-1][1]:
            total, n = groups.pop()
            groups[-1][0] += total - gap * groups[-1][1] * n
            groups[-1][1] += n
    return [total / n + gap * k for total, n in groups for k in range(int(n))]


# The share of passes found in each test condition.

TRACK = "#E8E8E8"
EDGE = {"markeredgecolor": "#FFFFFF", "markeredgewidth": 0.8}


def _found(detection: dict[str, Any]) -> Figure:
    rates = detection["rates"]
    conditions = {name: figures for name, figures in detection["conditions"].items() if figures["passes"]}
    names = sorted(conditions, key=lambda name: -conditions[name]["found"][BOUND][0])
    # For each method its shares, shape (rates, conditions + 1).  The last column is the mean over the conditions.
    methods = _drawn(list(conditions[names[0]]["found"]))
    shares = {method: np.array([conditions[name]["found"][method] for name in names]).T for method in methods}
    shares = {method: np.column_stack([values, values.mean(axis=1)]) for method, values in shares.items()}
    best = max((name for name in RIVALS if name in shares), key=lambda name: shares[name][:, -1].sum(), default=None)
    n = len(names)
    inch = 1 / (2.7 + 0.29 * (n + 1))
    figure = Figure(figsize=(9.6, 1 / inch))
    axes = figure.subplots(1, len(rates), sharey=True)
    figure.subplots_adjust(0.21, 0.78 * inch, 0.985, 1 - 1.28 * inch, 0.07)
    for k, (panel, rate) in enumerate(zip(axes, rates, strict=True)):
        _panel(panel, {method: values[k] for method, values in shares.items()}, best)
        panel.set_title(f"at {rate:g} false alarm{'' if rate == 1 else 's'} a minute", fontsize=10.5, weight="bold",
                        loc="left")  # fmt: skip
    words = [*(WORDS.get(name, name) for name in names), "mean of the conditions", "", "share of the bound"]
    axes[0].set_yticks([*range(n), n + 0.5, n + 1.3, n + 2.0], words, fontsize=9.5)
    axes[0].get_yticklabels()[n].set_weight("bold")
    figure.text(0.012, 1 - 0.32 * inch, "Share of passes found, by test condition", fontsize=14, weight="bold")
    passes = sum(figures["passes"] for figures in conditions.values())
    figure.text(
        0.012, 1 - 0.57 * inch,
        f"Simulated, {detection['swept_minutes']:g} minutes over objects in each condition. Share with an alert, of "
        f"{passes:,} passes with d' of at least 4.", fontsize=9.5, color=DARK,
    )  # fmt: skip
    _key(figure, 1 - 0.86 * inch, list(shares), best)
    _foot(
        figure, 0.012,
        "Bound: a matched filter that knows the shape of every pass and the spectrum of the noise. It takes broad dips "
        "for passes, so the tracker can do better on the beach. Thresholds from "
        f"{detection['clean_minutes']:g} minutes without objects. At 1 a minute each condition has its own threshold; "
        "at 0.1 these are multiplied by one factor for all conditions.",
    )  # fmt: skip
    return figure


def _panel(axes: Any, shares: dict[str, np.ndarray], best: str | None) -> None:
    n = len(shares[BOUND]) - 1
    rows = [*range(n), n + 0.5]
    for row, limit in zip(rows, shares[BOUND], strict=True):
        _box(axes, 0, limit, row - 0.32, row + 0.32, TRACK)
    for name, style in _marks(list(shares), best):
        axes.plot(shares[name], rows, clip_on=False, **style)
    own = _own(list(shares))
    values = sorted((shares[name][-1], own.get(name, (INK,))[0]) for name in (BOUND, best, *own) if name)
    for (value, colour), x in zip(values, _apart([value for value, _ in values], 0.085), strict=True):
        text = {"ha": "center", "va": "center", "fontsize": 9, "color": colour}
        axes.text(x, n + 1.3, f"{value:.2f}".lstrip("0"), weight="bold", **text)
        axes.text(x, n + 2.0, f"{value / shares[BOUND][-1]:.2f}".lstrip("0"), **text)
    axes.set(xlim=(0, 1.01), ylim=(n + 2.4, -0.6))
    axes.set_frame_on(False)
    axes.tick_params(length=0, labelsize=9)
    axes.set_xticks([0, 0.2, 0.4, 0.6, 0.8, 1], ["0", ".2", ".4", ".6", ".8", "1"])
    axes.grid(True, axis="x", color="#DDDDDD", linewidth=0.6)
    axes.set_axisbelow(True)


def _marks(methods: list[str], best: str | None) -> list[tuple[str, dict[str, Any]]]:
    """Return each method with the style of its marks, in drawing order: coilcount's first is on top, smallest."""
    tick = {"linestyle": "none", "marker": "|"}
    marks = [(BOUND, {**tick, "markersize": 14, "markeredgewidth": 2.4, "color": INK})]
    others = [name for name in methods if name in RIVALS and name != best]
    marks += [(name, {**tick, "markersize": 6, "markeredgewidth": 1, "color": "#888888"}) for name in others]
    if best:
        square = {"linestyle": "none", "marker": "s", "markersize": 6, "color": "#FFFFFF"}
        marks.append((best, {**square, "markeredgecolor": DARK, "markeredgewidth": 1.2}))
    for k, (name, (colour, shape)) in enumerate(_own(methods).items()):
        marks.append((name, {"linestyle": "none", "marker": shape, "markersize": 7 + 1.5 * k, "color": colour, **EDGE,
                             "zorder": 9 - k}))  # fmt: skip
    return marks


def _key(figure: Figure, y: float, methods: list[str], best: str | None) -> None:
    others = [name for name in methods if name in RIVALS and name != best]
    words = {name: TRACKERS[name] for name in _own(methods)}
    if best:
        words[best] = f"{best}, the best rival"
    if others:
        words[others[0]] = "the other rivals"
    words[BOUND] = BOUND
    looks = dict(_marks(methods, best))
    handles = [Line2D([], [], **looks[name]) for name in words]
    figure.legend(handles, list(words.values()), loc="center left", bbox_to_anchor=(0.0, y), ncols=len(words),
                  frameon=False, fontsize=9.5, handletextpad=0.1, columnspacing=1.4)  # fmt: skip


def _foot(figure: Figure, left: float, text: str) -> None:
    lines = textwrap.fill(text, 150)
    bottom = 0.08 / figure.get_figheight()
    figure.text(left, bottom, lines, fontsize=8, color=DARK, linespacing=1.4, va="bottom")
