"""A plan as text that fits 80 columns: figures in sentences, targets in a table."""

import textwrap
from typing import TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.face.plan_build_text import (
    cable_line,
    drift_lines,
    offset_line,
    shield_line,
    size_words,
    supply_line,
    tank_line,
    warning_lines,
    wire_words,
)
from coilcount.face.plan_depths import print_depths
from coilcount.face.plan_words import CLASS_ORIGIN, CLASS_WORDS, PLAIN_WIDTH, WIDEST, paragraph, parts_words
from coilcount.model.plan import (
    CapacitorFigures,
    CoilFigures,
    GroundFigures,
    Plan,
    PowerFigures,
    SweepFigures,
    TankVoltage,
)
from coilcount.text import printable

NOISE = ("careful", "typical", "poor")
# 15 % and 5 %: the aims of tests/bench/shift_table.py.  1202 of its 1203 ratios to independent computations keep them.
MODEL_NOTE = (
    "Hz, ppm, loss and angle are those of the object centred under the coil, at the depth above the table. A depth is "
    "from the soil's surface to the object's nearest surface. Loss: ppm of the amplitude. Angle: 0 magnetised only, 90 "
    "loss only, 180 a perfect conductor. The last columns are depths in cm: down to there a pass stands out (SNR 5) "
    "from the noise of an oscillator, on soil without noise. The oscillators are {noise}. An object marked ~ is "
    "computed with a simpler model, which is up to 15 % off; the others are up to 5 % off."
)


def print_plan(plan: Plan, out: TextIO) -> None:
    """Print the whole plan, the long form."""
    console = SafeConsole(out)
    console.width = min(WIDEST, console.width) if console.is_terminal else PLAIN_WIDTH
    console.print("A plan: everything here is computed, nothing measured.", style="bold")
    for label, lines in (
        *([("warning", warning_lines(plan.warnings))] if plan.warnings else []),
        ("coil", _coil(plan.coil)),
        ("frequency", _frequency(plan)),
        ("capacitor", _capacitor(plan.capacitor)),
        ("drift", _drift(plan)),
    ):
        paragraph(console, label, lines)
    console.print(_targets(plan, console.width))
    levels = {name: level for name, level in plan.noise.items() if name != "1 Hz"}
    names = ", ".join(f"{name} ({level.shift_ppm:.2g} ppm)" for name, level in levels.items())
    console.print(textwrap.fill(MODEL_NOTE.format(noise=names), console.width), style="dim")
    classes = [f"{name}: {CLASS_WORDS[name]}." for name in NOISE if name in levels]
    paragraph(console, "noise", [*classes, CLASS_ORIGIN])
    print_depths(console, plan.answer, long=True)
    for label, lines in (
        ("iron", plan.iron.words),
        ("coil size", _size(plan)),
        ("pass", _pass(plan.sweep)),
        ("ground", _ground(plan.ground)),
        ("power", _power(plan.power, plan.tank)),
        ("cautions", plan.cautions),
    ):
        paragraph(console, label, lines)


def _coil(coil: CoilFigures) -> list[str]:
    low, high = coil.inductance_low_uh, coil.inductance_high_uh
    lines = [
        f"{size_words(coil)}, {coil.turns} turns of {wire_words(coil.wire, coil.wire_mm, coil.strands)}, "
        f"{coil.layout}, {coil.section_mm:.1f} mm thick; "
        f"{coil.wire_length_m:.2f} m of wire, {coil.wire_mass_g:.0f} g of copper.",
        f"{coil.inductance_uh:.1f} uH from {coil.inductance_from}; the real coil may have {low:.0f} to "
        f"{high:.0f} uH.",
        f"{coil.resistance_dc_ohm:.3f} ohm dc, {coil.resistance_ohm:.3f} ohm at {coil.frequency_hz / 1e3:.2f} "
        f"kHz (skin x{coil.skin_factor:.3f}, proximity x{coil.proximity_factor:.3f}); Q {coil.q_coil:.1f}, "
        f"with the loss of the capacitor {coil.q_tank:.1f}.",
        f"Own capacitance {coil.self_capacitance_low_pf:.0f} to {coil.self_capacitance_high_pf:.0f} pF, own "
        f"resonance above {coil.self_resonance_hz / 1e3:.0f} kHz; 5 pF of a hand or wet grass shift by "
        f"{coil.hand_5pf_hz:+.2f} Hz: shield the coil with an open, slotted shield.",
    ]
    if coil.cable:
        lines.append(cable_line(coil.cable))
    if coil.shield:
        lines.append(shield_line(coil.shield))
    if coil.inductance_from != "the turns":
        lines[1] += f" The turns alone give {coil.computed_uh:.1f} uH; everything else uses the measured value."
    if coil.centre_tap:
        half = coil.centre_tap
        lines.append(
            f"Centre tap: {half.half_uh:.1f} uH each half, coupling {half.coupling:.2f}, "
            "wound one half beside the other."
        )
    return lines


def _frequency(plan: Plan) -> list[str]:
    coil, capacitor = plan.coil, plan.capacitor
    low, high = capacitor.frequency_by_capacitor_hz
    least, most = capacitor.frequency_by_coil_hz
    own, whole = capacitor.frequency_by_own_capacitance_hz, capacitor.frequency_range_hz
    return [
        f"{coil.frequency_hz:.0f} Hz with {capacitor.capacitor_nf:.4g} nF. The capacitor's "
        f"{capacitor.tolerance_percent:g} % make it {low / 1e3:.2f} to {high / 1e3:.2f} kHz, the winding "
        f"{least / 1e3:.2f} to {most / 1e3:.2f} kHz, its own capacitance {own[0] / 1e3:.2f} to {own[1] / 1e3:.2f} kHz; "
        f"together {whole[0] / 1e3:.1f} to {whole[1] / 1e3:.1f} kHz: measure it."
    ]


def _capacitor(capacitor: CapacitorFigures) -> list[str]:
    lines = []
    for choice in capacitor.choices:
        lines.append(
            f"{choice.turns} turns, {parts_words(choice)}: {choice.frequency_hz:.0f} Hz "
            f"({_percent(choice.off_percent)}), {choice.reactance_ohm:.0f} ohm"
        )
    lines.append(
        f"It must stand {capacitor.peak_v:.3g} V peak and {capacitor.rms_a * 1e3:.0f} mA rms: choose one "
        f"rated for at least {capacitor.rated_v:.3g} V."
    )
    return lines


def _percent(value: float) -> str:
    return "0.00 %" if abs(value) < 0.005 else f"{value:+.2f} %"


def _drift(plan: Plan) -> list[str]:
    lines = [
        *drift_lines(plan.drift, plan.capacitor.dielectric),
        "Other capacitors: what they alone do, and the Q with them:",
    ]
    for row in plan.capacitor.dielectrics:
        low, high = row.capacitor_ppm_per_k
        hz_low, hz_high = row.capacitor_hz_per_k
        lines.append(
            f"{row.dielectric:<14}{low:+5.0f} to {high:+5.0f} ppm/K, {hz_low:+6.1f} to {hz_high:+5.1f} Hz/K, "
            f"Q {row.q_tank:.0f}"
        )
    remarks = "; ".join(f"{row.dielectric}: {row.remark}" for row in plan.capacitor.dielectrics)
    beside = [offset_line(plan.offset)] if plan.offset.offset_cm or plan.offset.tilt_deg else []
    return [*lines, remarks + ".", *beside]


def _targets(plan: Plan, width: int) -> Table:
    depth = plan.depth_cm
    names = [name for name in (*NOISE, "given") if name in plan.noise]
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold", width=width)
    table.add_column(f"\ntarget {depth:g} cm deep", no_wrap=True, ratio=1)
    for title in ("\nlies", "\nHz", "\nppm", "\nloss", "\nangle"):
        table.add_column(title, justify="left" if title == "\nlies" else "right", no_wrap=True)
    for name in names:
        short = name[:4] + "." if len(name) > 5 else name
        table.add_column("\n" + short, justify="right", no_wrap=True)
    for row in plan.targets:
        hz, ppm, loss, angle = row.at_depth
        depths = [_depth(row.depth_cm[name]) for name in names]
        name = printable(row.object) + ("" if row.model == "full field" else " ~")
        attitude = "" if row.attitude == "any" else row.attitude
        table.add_row(name, attitude, _signed(hz), _signed(ppm), f"{loss:.0f}", f"{angle:.0f}", *depths)
    return table


def _depth(cm: float | None) -> str:
    return "-" if cm is None else f"{cm:.0f}"


def _signed(value: float) -> str:
    """Three digits in at most seven columns; a value that rounds to nothing is 0."""
    if abs(value) < 5e-4:
        return "0"
    digits = max(0, 2 - int(f"{abs(value):e}"[-3:])) if abs(value) < 100 else 0
    return f"{value:+.{min(digits, 3)}f}"


def _size(plan: Plan) -> list[str]:
    sizes = plan.sweep.best_diameter
    listed = ", ".join(f"{size.best_diameter_cm:.0f} cm for {size.depth_cm:g} cm deep" for size in sizes)
    gain = plan.sweep.gain_of_best
    return [
        f"best diameter for a small object, without noise of the soil: {listed}.",
        f"For {plan.depth_cm:g} cm the best size shifts {gain:.2g} times as much as this size. Far away the shift "
        "falls with the sixth power of the depth: twice the depth needs about a hundred times the sensitivity.",
    ]


def _pass(sweep: SweepFigures) -> list[str]:
    lines = [f"at {sweep.speed_m_s:g} m/s; width and time at half maximum, first of a flat disc, then of a ball:"]
    for flat, ball in zip(sweep.passes[::2], sweep.passes[1::2], strict=True):
        lines.append(
            f"{flat.depth_cm:g} cm deep: {flat.width_cm:.1f} cm, {flat.duration_s:.2f} s; "
            f"{ball.width_cm:.1f} cm, {ball.duration_s:.2f} s"
        )
    widths = ", ".join(f"{width_s:g}" for width_s in sweep.widths_s)
    lines.append(f"This gives a counting interval of {sweep.interval_ms} ms and tracker widths of {widths} s.")
    return lines


def _ground(ground: GroundFigures) -> list[str]:
    lines = [
        f"with the coil {ground.height_cm:g} cm above it: shift, slope, and noise if the height varies by "
        f"{ground.wobble_cm:g} cm:"
    ]
    for soil in ground.soils:
        chi = soil.susceptibility
        what = f"{soil.conductivity_s_m:g} S/m" if chi is None else f"chi {chi:.0e}"
        lines.append(
            f"{soil.ground:<24}{what:<10}{soil.shift_hz:+8.3f} Hz {soil.slope_hz_per_cm:+7.3f} Hz/cm "
            f"{soil.wobble_hz:6.3f} Hz"
        )
    lines.append(
        "Magnetic soil looks ferrous; a lifted coil looks non-ferrous. The soil, not the counter, limits the depth."
    )
    return lines


def _power(power: PowerFigures, tank: TankVoltage) -> list[str]:
    near = power.limit_spacing_cm
    spacing = "below it" if near is None else f"reached {near:.0f} cm above the coil"
    emission = f"emission {round(power.emission_dbua_m_10m)} dBuA/m at 10 m"
    if power.emission_limit_dbua_m is None:
        emission += "; outside 9 to 90 kHz other limits apply"
    else:
        emission += (
            f", {power.emission_margin_db:.0f} dB under the inductive short-range limit of "
            f"{power.emission_limit_dbua_m:.0f}"
        )
    return [
        tank_line(tank),
        f"With {power.tank_peak_v:.3g} V peak {power.current_a * 1e3:.0f} mA rms circulate, "
        f"{power.tank_loss_mw:.2g} mW are lost in the copper; the tank is {power.parallel_ohm:.0f} ohm.",
        f"Field at the coil's centre {power.centre_ut:.1f} uT rms; ICNIRP 2010 public level "
        f"{power.public_limit_ut:g} uT: {spacing}. Keep the tank under {power.highest_peak_v:.2g} V peak.",
        f"{emission[0].upper()}{emission[1:]}. This is a computation, no claim of compliance.",
        supply_line(power.supply_ma, power.supply_from, power.oscillator_ma, power.battery_mah, power.battery_h),
    ]
