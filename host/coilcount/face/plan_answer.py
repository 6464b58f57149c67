"""The short answer of a plan, as text that fits 80 columns."""

from typing import TextIO

from coilcount.face.console import SafeConsole
from coilcount.face.plan_build_text import short_tank_line, size_words, warning_lines
from coilcount.face.plan_depths import print_depths
from coilcount.face.plan_words import PLAIN_WIDTH, WIDEST, paragraph, parts_words
from coilcount.model.plan import CapacitorFigures, CoilFigures, ShortPlan

CAUTION = (
    "not a safety device: it misses cables and pipes. Never for munitions. Ask the landowner. Keep it away from "
    "implants."
)


def print_answer(plan: ShortPlan, out: TextIO) -> None:
    """Print the short answer."""
    console = SafeConsole(out)
    console.width = min(WIDEST, console.width) if console.is_terminal else PLAIN_WIDTH
    console.print("A plan: everything here is computed, nothing measured. The long form: plan --all", style="bold")
    coil, answer = plan.coil, plan.answer
    taken = "" if coil.inductance_from == "the turns" else f" Inductance from {coil.inductance_from}."
    paragraph(
        console,
        "wind",
        [
            f"{coil.turns} turns, {coil.wire_length_m:.1f} m of {coil.wire} ({coil.wire_mm:.2f} mm), {coil.layout}, "
            f"{_size(coil)}.{taken}"
        ],
    )
    if coil.centre_tap:
        half = coil.centre_tap
        tap = f"centre tap: {half.half_uh:.1f} uH each half, coupling {half.coupling:.2f}, one half beside the other."
        paragraph(console, "", [tap], apart=False)
    paragraph(console, "capacitor", [_capacitor(plan.capacitor)], apart=False)
    paragraph(
        console,
        "frequency",
        [
            f"{answer.frequency_hz / 1e3:.2f} kHz ({answer.frequency_low_hz / 1e3:.1f} to "
            f"{answer.frequency_high_hz / 1e3:.1f} kHz by tolerances of coil and capacitor)."
        ],
        apart=False,
    )
    paragraph(console, "oscillator", [short_tank_line(plan.tank)], apart=False)
    if plan.warnings:
        paragraph(console, "warning", warning_lines(plan.warnings), apart=False)
    print_depths(console, answer)
    if answer.iron_reads_non_ferrous:
        names = "; ".join(answer.iron_reads_non_ferrous)
        paragraph(console, "iron", [f"as they usually lie, these read as non-ferrous: {names}."], apart=False)
    paragraph(console, "caution", [CAUTION], apart=False)


def _size(coil: CoilFigures) -> str:
    return size_words(coil) if coil.inner_diameter_mm is None else f"{coil.diameter_mm / 10:.4g} cm mean diameter"


def _capacitor(capacitor: CapacitorFigures) -> str:
    best = capacitor.choices[0]
    rated = f"rated for at least {capacitor.rated_v:.2g} V"
    if abs(best.capacitor_nf / capacitor.capacitor_nf - 1) < 1e-6:
        return f"{parts_words(best)}, {capacitor.dielectric}, {rated}."
    return f"{capacitor.capacitor_nf:.4g} nF, {capacitor.dielectric}, {rated}."
