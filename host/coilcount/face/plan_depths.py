"""The table of a plan that says how deep objects are found in several soils."""

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.face.plan_words import CLASS_WORDS, depth_words, paragraph
from coilcount.model.plan_answer import PlanAnswer, PlanFound
from coilcount.text import printable

TOLD_APART = ("quiet soil", "garden", "mineral soil")  # soils that differ in their susceptibility


def print_depths(console: SafeConsole, answer: PlanAnswer, long: bool = False) -> None:
    """Print how deep the objects are found, and what the figures hold for.

    long: also the depths with a noise profile, and those of the benchmark.
    """
    if not answer.soils[0].condition:
        least = answer.found[0].depths[0].least_ppm
        what = (
            f"shifts by at least {least:.3g} ppm down to this depth, in cm below the surface (range by winding and Q). "
            f"The coil is {answer.height_cm:g} cm above it."
        )
        paragraph(console, "finds", [what])
        console.print(_table(answer, console.width, long))
        return
    what = (
        "half of the passes, in cm below the surface (range by winding, Q, soil, hand and oscillator). The coil is "
        f"{answer.height_cm:g} cm above it, {answer.speed_m_s:g} m/s; {answer.false_alarms_per_minute:g} false "
        "alarm a minute."
    )
    paragraph(console, "finds", [what])
    console.print(_table(answer, console.width, long))
    lowered = {soil.name: soil for soil in answer.soils}
    falls = ", ".join(f"{-lowered[name].lowering_hz:.2g} Hz ({name})" for name in TOLD_APART if name in lowered)
    lines = [
        f"{answer.oscillator.capitalize()} oscillator: {CLASS_WORDS[answer.oscillator]}.{_typical(answer)}",
        f"Your soil: lowered from half a metre to {answer.height_cm:g} cm, the frequency falls by {falls}.",
    ]
    paragraph(console, "", lines, apart=False)


def _table(answer: PlanAnswer, width: int, long: bool) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold", width=width)
    table.add_column("", no_wrap=True, ratio=1)
    for soil in answer.soils:
        table.add_column(soil.name, justify="right", no_wrap=True)
    for found in answer.found:
        table.add_row(_name(found), *(depth_words(depth) for depth in found.depths))
        if long and found.with_profile[0] is not None:
            table.add_row("  with a noise profile", *(depth_words(depth) for depth in found.with_profile))
    if long and answer.soils[0].benchmark_cm is not None:
        table.add_row(
            "24 mm copper coin, benchmark", *(f"{soil.benchmark_cm:.1f}       " for soil in answer.soils), style="dim"
        )
    return table


def _name(found: PlanFound) -> str:
    attitude = "" if found.attitude == "any" else f", {found.attitude}"
    return printable(found.object) + attitude


def _typical(answer: PlanAnswer) -> str:
    first = answer.found[0]
    if first.typical_noise[0] is None:
        return ""
    depths = sorted(round(depth.depth_cm or 0) for depth in first.typical_noise)
    listed = f"{depths[0]}" if depths[0] == depths[-1] else f"{depths[0]} to {depths[-1]}"
    return f" A typical one, {CLASS_WORDS['typical']}, finds the {printable(first.object)} {listed} cm deep."
