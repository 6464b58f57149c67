"""Pictures of a plan as SVG and PNG, readable in grey: shift by depth, and response by frequency.

matplotlib is imported in the functions that use it: only pictures need it.
"""

from pathlib import Path
from typing import Any

from coilcount.face.picture_files import write_figures
from coilcount.model.plan import NoiseLevel, Plan, TargetFigures
from coilcount.text import printable

# Okabe and Ito's palette without its yellow.  A name beside each line says the same as its colour.
COLOURS = ("#000000", "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#666666")
SMALLEST_HZ, LARGEST_HZ = 3e-3, 3e3
NEAREST_CM, FARTHEST_CM = 2.0, 60.0
CAVEAT = "computed, not measured; centred under the coil, in air"


def draw_plan(plan: Plan, folder: Path) -> list[Path]:
    """Write depth.svg, depth.png, response.svg, response.png into `folder`, made if needed; returns the paths."""
    return write_figures({"depth": _depth(plan), "response": _response(plan)}, folder)


def _depth(plan: Plan) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12, 6.2), layout="constrained")
    figure.get_layout_engine().set(w_pad=0.1)
    coil = plan.coil
    figure.suptitle(
        f"Shift against depth, {coil.diameter_mm / 10:g} cm coil, {coil.turns} turns, "
        f"{coil.frequency_hz / 1e3:.2f} kHz ({CAVEAT}).  Solid rises, dashed falls.",
        fontsize=11,
    )
    panels = figure.subplots(1, 2, sharey=True)
    for axes, iron, title in ((panels[0], False, "no iron in it"), (panels[1], True, "iron and steel")):
        seen: dict[str, TargetFigures] = {}
        for row in plan.targets:
            if row.iron == iron:
                seen.setdefault(row.object, row)
        _depth_panel(axes, list(seen.values()), plan.noise, title)
    return figure


def _depth_panel(axes: Any, rows: list[TargetFigures], noise: dict[str, NoiseLevel], title: str) -> None:
    labels = []
    for i, row in enumerate(rows):
        x, y = row.curve["distance_cm"], row.curve["shift_hz"]
        colour = COLOURS[i % len(COLOURS)]
        for sign, style in ((1, "-"), (-1, (0, (4, 2)))):
            part = [sign * value if sign * value > 0 else float("nan") for value in y]
            axes.plot(x, part, linestyle=style, color=colour, linewidth=1.4)
        first = next(k for k, cm in enumerate(x) if cm >= NEAREST_CM)
        attitude = "" if row.attitude == "any" else f", {row.attitude}"
        labels.append((abs(y[first]), row.object + attitude, colour))
    axes.set(xscale="log", yscale="log", xlim=(NEAREST_CM, FARTHEST_CM), ylim=(SMALLEST_HZ, LARGEST_HZ))
    axes.set_title(title, fontsize=10)
    axes.set_xlabel("depth: coil's plane to the nearest surface, cm")
    ticks = (2, 3, 5, 7, 10, 15, 20, 30, 40, 60)
    axes.set_xticks(ticks, [str(tick) for tick in ticks])
    axes.set_xticks([], minor=True)
    axes.yaxis.tick_right()
    axes.tick_params(axis="y", labelright=True)
    decades = [10.0**power for power in range(-2, 4)]
    axes.set_yticks(decades, [f"{decade:g}" for decade in decades])
    axes.grid(True, which="major", color="#dddddd", linewidth=0.6)
    for level, text in _merged(noise):
        axes.axhline(level, color="#444444", linewidth=0.9, linestyle=(0, (1, 1.5)))
        axes.annotate(
            text, xy=(1, level), xytext=(1.15, level), xycoords=("axes fraction", "data"), fontsize=8, va="center",
            annotation_clip=False,
        )  # fmt: skip
    axes.text(1.0, 1.01, "shift, Hz", transform=axes.transAxes, fontsize=9, ha="left", va="bottom")
    _label_side(axes, labels, NEAREST_CM, -1)


def _merged(noise: dict[str, NoiseLevel]) -> list[tuple[float, str]]:
    """(Hz, text) of the horizontal lines; levels closer than 30 % share one line of text."""
    found: list[tuple[float, str]] = []
    for name, level in sorted(noise.items(), key=lambda item: item[1].shift_hz):
        hz = level.shift_hz
        text = "1 Hz" if name == "1 Hz" else f"{name} noise\n{hz:.2g} Hz"
        if found and hz < 1.3 * found[-1][0]:
            found[-1] = (found[-1][0], f"{found[-1][1]};\n{text}")
        else:
            found.append((hz, text))
    return found


def _response(plan: Plan) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 5.6), layout="constrained")
    axes = figure.subplots()
    response = plan.response
    labels = []
    for i, (name, curve) in enumerate(response["curves"].items()):
        colour = COLOURS[i % len(COLOURS)]
        iron = not name.endswith("coin")
        axes.plot(
            curve["frequency_hz"],
            curve["in_phase"],
            color=colour,
            linewidth=1.5,
            linestyle="-" if iron else (0, (5, 2)),
        )
        labels.append((curve["in_phase"][-1], name, colour))
    low, high = curve["frequency_hz"][0], curve["frequency_hz"][-1]
    axes.set(xscale="log", xlim=(low, high), ylim=(-1.05, 1.05))
    ticks = (1e3, 2e3, 5e3, 1e4, 2e4, 5e4, 1e5, 2e5)
    axes.set_xticks(ticks, [f"{tick / 1e3:g}" for tick in ticks])
    axes.set_xticks([], minor=True)
    axes.set_xlabel("frequency, kHz")
    axes.set_ylabel("share of the response in phase with the field")
    axes.axhline(0, color="black", linewidth=0.8)
    axes.axvline(response["working_hz"], color="#444444", linewidth=0.9, linestyle=(0, (1, 1.5)))
    axes.grid(True, color="#dddddd", linewidth=0.6)
    style = {"fontsize": 9}
    axes.text(high * 0.96, 0.06, "above 0: reads as ferrous,\nthe frequency falls", ha="right", va="bottom", **style)
    axes.text(low * 1.06, -0.55, "below 0: reads as non-ferrous,\nthe frequency rises", va="top", **style)
    axes.text(response["working_hz"] * 1.03, 0.03, f"this coil, {response['working_hz'] / 1e3:.1f} kHz", **style)
    axes.set_title("Response against frequency (computed; steel of permeability 100; dashed: no iron)", fontsize=11)
    _label_side(axes, labels, high, 1)
    return figure


def _label_side(axes: Any, labels: list[tuple[float, str, str]], x: float, side: int) -> None:
    """Write names beside the axes at the height of their lines, moved apart if they would overlap.

    labels: (value on the y axis, name, colour); side: -1 left, 1 right.
    """
    pixels = [axes.transAxes.inverted().transform(axes.transData.transform((x, value)))[1] for value, _, _ in labels]
    order = sorted(range(len(labels)), key=lambda i: pixels[i])
    gap, placed = 0.042, []
    for i in order:
        wanted = min(max(pixels[i], 0.0), 1.0)
        placed.append(max(wanted, placed[-1] + gap) if placed else wanted)
    over = placed[-1] - 1.0 if placed else 0.0
    if over > 0:  # names were pushed above the top: move the upper ones down
        for k in range(len(placed) - 1, -1, -1):
            ceiling = 1.0 if k == len(placed) - 1 else placed[k + 1] - gap
            placed[k] = min(placed[k], ceiling)
    edge, text = (0.0, -0.04) if side < 0 else (1.0, 1.04)
    for y, i in zip(placed, order, strict=True):
        _, name, colour = labels[i]
        axes.annotate(
            printable(name, 60), parse_math=False, xy=(edge, min(max(pixels[i], 0.0), 1.0)),
            xytext=(text, y), xycoords="axes fraction", fontsize=8.5,
            textcoords="axes fraction", ha="right" if side < 0 else "left", va="center", annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.7, "shrinkA": 1, "shrinkB": 0,
                "relpos": (1, 0.5) if side < 0 else (0, 0.5)},
        )  # fmt: skip
