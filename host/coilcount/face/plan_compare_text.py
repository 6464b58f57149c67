"""A comparison of coils as a table that fits 80 columns, and under it which of them reaches the wanted depth."""

from typing import TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.face.plan_words import CLASS_WORDS, PLAIN_WIDTH, WIDEST, depth_words, paragraph
from coilcount.model.plan_answer import PlanComparison
from coilcount.text import printable

WHICH_SOIL = "plan without --compare says how to find out which of these soils is yours."
WHY_NOT_LARGER = (
    "A larger coil feels more of the soil, and its passes last longer. On strong soil that costs more depth than the "
    "size gains."
)


def print_comparison(found: PlanComparison, out: TextIO) -> None:
    """Print the comparison."""
    console = SafeConsole(out)
    console.width = min(WIDEST, console.width) if console.is_terminal else PLAIN_WIDTH
    console.print(f"Coils of different {found.name}, {found.note}. Computed, not measured.", style="bold")
    console.print()
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold", width=console.width)
    table.add_column(f"\n{found.name}", no_wrap=True)
    for title in ("\nnF", "\nkHz", "\nQ", "wire\nm"):
        table.add_column(title, justify="right", no_wrap=True)
    for soil in found.soils:
        table.add_column(_two_lines(soil.name), justify="right", no_wrap=True, ratio=1)
    for coil in found.coils:
        table.add_row(
            coil.label, f"{coil.capacitor_nf:.4g}", f"{coil.frequency_hz / 1e3:.2f}", f"{coil.q_coil:.0f}",
            f"{coil.wire_length_m:.1f}", *(depth_words(depth) for depth in coil.depths),
        )  # fmt: skip
    console.print(table)
    paragraph(console, "depth", [_what(found)])
    paragraph(console, f"{found.wanted_cm:g} cm", _reaching(found), apart=False)
    if found.flat:
        paragraph(console, "best", _best(found), apart=False)
    if found.name == "diameter":
        paragraph(console, "", [WHY_NOT_LARGER], apart=False)
    if found.soils[0].condition:
        paragraph(console, "soil", [WHICH_SOIL], apart=False)


def _what(found: PlanComparison) -> str:
    attitude = "" if found.attitude == "any" else f", {found.attitude}"
    depth = (
        f"of {printable(found.object)}{attitude}, in cm below the surface; the coil is {found.height_cm:g} cm above it."
    )
    if not found.soils[0].condition:
        least = found.coils[0].least_ppm[0]
        return f"{depth} A pass shifts by at least {least:.3g} ppm there. In brackets: the range by winding and Q."
    return (
        f"{depth} Half of the passes are found at 1 false alarm a minute. In brackets: the range. "
        f"{found.oscillator.capitalize()} oscillator: {CLASS_WORDS[found.oscillator]}."
    )


def _two_lines(title: str) -> str:
    first, _, last = title.rpartition(" ")
    return f"{first}\n{last}"


def _reaching(found: PlanComparison) -> list[str]:
    """Say for each soil which coils find the object at the wanted depth."""
    lines = []
    for i, soil in enumerate(found.soils):
        surely, perhaps = [], []
        for coil in found.coils:
            depth = coil.depths[i]
            if round(depth.depth_cm or 0) >= found.wanted_cm:
                surely.append(coil.label)
            elif (depth.high_cm or 0) >= found.wanted_cm:
                perhaps.append(coil.label)
        words = f"reached by {', '.join(surely)}" if surely else "reached by none of them"
        words += f"; perhaps by {', '.join(perhaps)}" if perhaps else ""
        lines.append(f"{soil.name}: {words}.")
    return lines


def _best(found: PlanComparison) -> list[str]:
    parts = [
        f"{flat.low:.3g} to {flat.high:.3g} {found.unit} ({flat.soil}, {flat.depth_cm:.0f} cm deep)"
        for flat in found.flat
        if flat.depth_cm is not None
    ]
    return [f"within half a centimetre of the deepest: {'; '.join(parts)}."] if parts else ["found by none of them."]
