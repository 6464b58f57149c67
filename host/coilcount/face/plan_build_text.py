"""The sentences of a plan about cable, shield, drift, an object off the axis, current and warnings."""

from collections.abc import Sequence

from coilcount.model.plan import CoilFigures, TankVoltage
from coilcount.model.plan_build import CableFigures, DriftFigures, OffsetFigures, PlanWarning, ShieldFigures


def warning_lines(warnings: Sequence[PlanWarning]) -> list[str]:
    """One paragraph for each warning."""
    return [f"{warning.what} {warning.why} {warning.change}" for warning in warnings]


def wire_words(wire: str, wire_mm: float, strands: int) -> str:
    """The wire with its diameter."""
    return f"{wire} ({wire_mm:.3f} mm bare)" if strands == 1 else f"{wire} ({strands} strands, {wire_mm:.2f} mm)"


def size_words(coil: CoilFigures) -> str:
    """The shape and the sizes of the coil."""
    length, width = coil.diameter_mm / 10, coil.width_mm / 10
    if coil.inner_diameter_mm is not None:
        return f"{length:.4g} cm mean diameter ({coil.inner_diameter_mm / 10:.4g} cm former)"
    return f"{coil.shape}, mean {length:.4g} x {width:.4g} cm"


def cable_line(cable: CableFigures) -> str:
    """What the cable does to the frequency."""
    parts = f"{cable.capacitance_pf:.0f} pF"
    if not cable.capacitor_in_head:
        parts += f", {cable.inductance_uh:.2g} uH and {cable.resistance_ohm:.2g} ohm"
    where = "at the coil" if cable.capacitor_in_head else "at the board"
    return (
        f"Cable of {cable.length_m:g} m, with the capacitor {where}: {parts}, included above. "
        f"It moves the frequency by {cable.shift_hz:+.1f} Hz."
    )


def shield_line(shield: ShieldFigures) -> str:
    """What the shield does to inductance, resistance and frequency."""
    return (
        f"Slotted shield of {shield.material}, {shield.thickness_um:g} um thick, {shield.gap_mm:g} mm from the "
        f"winding: {shield.capacitance_pf:.1f} pF, {shield.inductance_uh:+.2f} uH and {shield.resistance_ohm:+.3f} "
        f"ohm, included above. It moves the frequency by {shield.shift_hz:+.1f} Hz."
    )


def drift_lines(drift: DriftFigures, dielectric: str) -> list[str]:
    """How temperature and supply move the frequency."""
    low, middle, high = drift.temperature_ppm_per_k
    lines = [
        f"{middle:+.0f} ppm/K with {dielectric} ({low:+.0f} to {high:+.0f}), {drift.temperature_hz_per_k[1]:+.2f} "
        f"Hz/K: former {drift.former_ppm_per_k:+.1f}, copper {drift.copper_ppm_per_k:+.1f}, capacitor "
        f"{round(drift.capacitor_ppm_per_k[1]) or 0:+d}, transistors {drift.oscillator_ppm_per_k:+.1f}. Amplitude "
        f"{drift.amplitude_percent_per_k:+.2f} %/K.",
        f"1 % more supply: {drift.supply_ppm_per_percent:+.1f} ppm ({drift.supply_hz_per_percent:+.3f} Hz) for an "
        f"oscillator whose gain follows its supply and is {drift.loop_gain:g} times the least (a formula; the "
        f"simulator uses it). The default oscillator: {drift.pair_supply_ppm_per_percent:+.1f} ppm with the default "
        "coil (circuit simulation), because its current does not follow the supply. Regulate it all the same.",
    ]
    return lines


def tank_line(tank: TankVoltage) -> str:
    """The voltage across the coil, and how the default oscillator is connected to it."""
    feed = "" if tank.centre_tap else " fed by 470 ohm from each coil end to its supply"
    if tank.peak_v_from == "given":
        line = f"{tank.peak_v:.2g} V peak across the coil, as given. The default oscillator{feed}, as drawn, gives "
        line += f"{tank.pair_peak_v:.2g} V."
    else:
        line = f"{tank.peak_v:.2g} V peak across the coil, with the default oscillator{feed}."
    if not tank.centre_tap:
        line += f" It wants a coil with a centre tap (--centre-tap), which gets {tank.tapped_peak_v:.2g} V."
    return line


def short_tank_line(tank: TankVoltage) -> str:
    """The same in one line of the short answer."""
    if tank.peak_v_from != "given" and not tank.centre_tap:
        return f"{tank.peak_v:.2g} V peak, fed by 470 ohm at each end; {tank.tapped_peak_v:.2g} V with --centre-tap."
    return f"{tank.peak_v:.2g} V peak across the coil{', as given' if tank.peak_v_from == 'given' else ''}."


def offset_line(offset: OffsetFigures) -> str:
    """How the shift changes beside the axis, or under a tilted coil."""
    return (
        f"{offset.offset_cm:g} cm beside the axis, coil tilted by {offset.tilt_deg:g} degrees, object "
        f"{offset.under_coil_cm:g} cm under the coil: a flat disc shifts {offset.flat:.2g} times as much as centred "
        f"under a level coil, a ball {offset.ball:.2g} times, a lying rod that points at the axis "
        f"{offset.lying_rod:.2g} times a centred ball."
    )


def supply_line(supply_ma: float, supply_from: str, oscillator_ma: float, battery_mah: float, battery_h: float) -> str:
    """The current and the time that a battery lasts."""
    of = "given" if supply_from == "given" else f"{oscillator_ma:.1f} of them for the default oscillator"
    return f"{battery_mah:g} mAh at {supply_ma:.0f} mA ({of}): {battery_h:.0f} h."
