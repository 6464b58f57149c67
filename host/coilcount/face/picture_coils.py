"""The picture of a comparison of coils: depth against the value that differs, and beside it what the soil costs.

matplotlib is imported in the functions that use it: only pictures need it.
"""

from pathlib import Path
from typing import Any

from coilcount.face.picture_files import write_figures
from coilcount.model.plan_answer import ComparedCoil, PlanComparison
from coilcount.text import printable

# Okabe and Ito's colours with a shape of its own for each, so that the picture can be read in grey.
LOOKS = (("#0072B2", "o"), ("#009E73", "s"), ("#E69F00", "^"), ("#D55E00", "D"))


def draw_comparison(found: PlanComparison, folder: Path) -> list[Path]:
    """Write coils.svg and coils.png into `folder`, made if needed; returns the paths."""
    return write_figures({"coils": _figure(found)}, folder)


def _figure(found: PlanComparison) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 5.4), layout="constrained")
    attitude = "" if found.attitude == "any" else f", {found.attitude}"
    figure.suptitle(
        f"How deep coils of different {found.name} find a {printable(found.object, 60)}{attitude} "
        f"(computed; coil {found.height_cm:g} cm above the soil)",
        fontsize=11,
        parse_math=False,
    )
    left, right = figure.subplots(1, 2)
    _depths(left, found)
    _soil(right, found)
    return figure


def _places(found: PlanComparison, coils: tuple[ComparedCoil, ...]) -> list[float]:
    """The value of each coil on the x axis; wires are spread evenly."""
    return [float(i) for i in range(len(coils))] if found.name == "wire" else [coil.value for coil in coils]


def _depths(axes: Any, found: PlanComparison) -> None:
    line = found.curve or found.coils
    for i, (soil, (colour, shape)) in enumerate(zip(found.soils, LOOKS, strict=False)):
        x = _places(found, line)
        depth = [coil.depths[i] for coil in line]
        low, high = ([getattr(d, side) or 0.0 for d in depth] for side in ("low_cm", "high_cm"))
        axes.fill_between(x, low, high, color=colour, alpha=0.13, linewidth=0)
        axes.plot(x, [d.depth_cm or 0.0 for d in depth], color=colour, linewidth=1.6)
        values = [coil.depths[i].depth_cm or 0.0 for coil in found.coils]
        axes.plot(_places(found, found.coils), values, color=colour, marker=shape, linestyle="none", label=soil.name)
        flat = next((flat for flat in found.flat if flat.soil == soil.name and flat.depth_cm is not None), None)
        if flat is not None:
            axes.plot([flat.low, flat.high], [flat.depth_cm] * 2, color=colour, linewidth=5, alpha=0.45)
    axes.axhline(found.wanted_cm, color="#444444", linewidth=0.9, linestyle=(0, (1, 1.5)))
    axes.annotate(
        f"{found.wanted_cm:g} cm", xy=(1, found.wanted_cm), xycoords=("axes fraction", "data"), fontsize=8, ha="right",
        va="top",
    )  # fmt: skip
    axes.set_ylabel("cm below the surface, half of the passes, 1 false alarm a minute")
    axes.set_ylim(bottom=0)
    axes.invert_yaxis()
    axes.set_title("depth; shaded: its range; thick: within 0.5 cm of the best", fontsize=10)
    _x_axis(axes, found)
    axes.legend(fontsize=9, frameon=False, loc="upper left")


def _soil(axes: Any, found: PlanComparison) -> None:
    line = found.curve or found.coils
    x = _places(found, line)
    for i, (soil, (colour, shape)) in enumerate(zip(found.soils, LOOKS, strict=False)):
        axes.plot(x, [coil.least_ppm[i] for coil in line], color=colour, linewidth=1.6)
        least = [coil.least_ppm[i] for coil in found.coils]
        axes.plot(_places(found, found.coils), least, color=colour, marker=shape, linestyle="none", label=soil.name)
    axes.plot(x, [coil.shift_ppm for coil in line], color="#000000", linewidth=1.8, linestyle=(0, (5, 2)),
              label=f"shift of the object {found.wanted_cm:g} cm deep")  # fmt: skip
    axes.set_yscale("log")
    axes.set_ylabel("ppm")
    axes.set_title(f"least shift that is found, {found.wanted_cm:g} cm deep", fontsize=10)
    _x_axis(axes, found)
    axes.legend(fontsize=9, frameon=False, loc="upper left")


def _x_axis(axes: Any, found: PlanComparison) -> None:
    if found.name in ("diameter", "frequency"):
        axes.set_xscale("log")
    axes.set_xticks(_places(found, found.coils), [printable(coil.label, 20) for coil in found.coils])
    axes.set_xticks([], minor=True)
    axes.set_xlabel(found.name)
    axes.grid(True, color="#dddddd", linewidth=0.6)
