"""What a builder should change before winding: each warning says what is wrong, why it matters and what to do."""

from math import pi

from coilcount.physics.eddy import skin_depth_m
from coilcount.physics.tank import Tank
from coilcount.physics.wire import COPPER
from coilcount.plan.capacitor import HIGHEST_OHM, LOWEST_OHM, capacitance_f
from coilcount.plan.pair import LINEAR_V, oscillator_ma, tank_peak_v
from coilcount.schema.plan import PlanFile

LEAST_MISS = 0.005  # relative; a wanted frequency that is missed by less is no warning, as in the list of capacitors
LOW_Q = 8.0  # of the tank.  Chosen by hand: the simulated default oscillator starts at 2.5, others need 5
LARGE_STRAY = 0.02  # share of the whole capacitance; it then moves the frequency by 1 %.  Chosen by hand
THICK = 3.0  # strand diameter in skin depths above which the ac resistance is only an estimate
HIGH_MA = 40.0  # tail and other current of the oscillator; a small transistor gets warm.  Chosen by hand


def warnings_section(plan: PlanFile, tank: Tank) -> list[dict[str, str]]:
    """List the warnings, the gravest first; each has the keys "what", "why" and "change"."""
    found = [
        _missed(plan, tank),
        _reactance(tank),
        _low_q(plan, tank),
        _stray(tank),
        _voltage(plan, tank),
        _thick(tank),
    ]
    return [warning for warning in found if warning]


def _warning(what: str, why: str, change: str) -> dict[str, str]:
    return {"what": what, "why": why, "change": change}


def _missed(plan: PlanFile, tank: Tank) -> dict[str, str] | None:
    """Warn if the wanted frequency is missed by more than the capacitor's tolerance moves it.

    The frequency goes with the capacitance to the power of -1/2, so that is half of the tolerance.
    """
    if plan.frequency_hz is None:
        return None
    off = tank.frequency_hz / plan.frequency_hz - 1
    allowed = max(plan.tolerance_percent / 200, LEAST_MISS)
    if abs(off) <= allowed:
        return None
    needed = capacitance_f(plan.coil, plan.frequency_hz)
    return _warning(
        f"The frequency is {tank.frequency_hz / 1e3:.4g} kHz, {off * 100:+.1f} % off the wanted "
        f"{plan.frequency_hz / 1e3:g} kHz.",
        f"The capacitor's tolerance explains only {allowed * 100:.2g} %.",
        f"For this coil it takes {needed * 1e9:.3g} nF: use a finer drawer, parallel capacitors or other turns.",
    )


def _reactance(tank: Tank) -> dict[str, str] | None:
    ohm = 2 * pi * tank.frequency_hz * tank.inductance_h
    if LOWEST_OHM <= ohm <= HIGHEST_OHM:
        return None
    low = ohm < LOWEST_OHM
    why = (
        "A low one needs much current for the same voltage, and the oscillator may not start."
        if low
        else "A high one makes the tank sensitive to stray capacitance, and its voltage rises."
    )
    return _warning(
        f"The coil's reactance is {ohm:.3g} ohm, outside {LOWEST_OHM:g} to {HIGHEST_OHM:g} ohm, which suit the "
        "default oscillator.",
        why,
        f"Take {'more' if low else 'fewer'} turns with a {'smaller' if low else 'larger'} capacitor.",
    )


def _low_q(plan: PlanFile, tank: Tank) -> dict[str, str] | None:
    if tank.q_tank >= LOW_Q:
        return None
    lossy = tank.coil_share < 0.7
    change = f"Take a capacitor with less loss than {plan.coil.dielectric}." if lossy else "Take thicker wire."
    return _warning(
        f"The tank's Q is only {tank.q_tank:.2g}.",
        "Temperature, supply and the loss in poor conductors then move the frequency more, and it may not start.",
        change,
    )


def _stray(tank: Tank) -> dict[str, str] | None:
    stray = tank.own_f[2] + tank.cable_f + tank.shield_f
    share = stray / (tank.capacitor_f + stray)
    if share <= LARGE_STRAY:
        return None
    return _warning(
        f"Own capacitance of the coil, cable and shield may be {stray * 1e12:.0f} pF, {share * 100:.2g} % of all.",
        "It is not stable: a hand, wet grass or a bent cable then moves the frequency.",
        "Take fewer turns or a lower frequency, so that the capacitor is larger, and a short cable.",
    )


def _voltage(plan: PlanFile, tank: Tank) -> dict[str, str] | None:
    current, peak_v = oscillator_ma(plan, tank), tank_peak_v(plan, tank)
    if plan.supply_ma is None and peak_v > LINEAR_V:
        return _warning(
            f"The default oscillator begins to saturate above {LINEAR_V:g} V peak, and the tank has {peak_v:.3g} V.",
            "The amplitude then shows the loss less and less; it does not pass about 5.5 V.",
            "Give its tail a larger R6, or lower --tank-voltage, or give --supply for the oscillator that you use.",
        )
    if plan.supply_ma is None and current > HIGH_MA:
        return _warning(
            f"The default oscillator would need {current:.0f} mA for {peak_v:.3g} V peak.",
            "The tank's loss is that large.",
            "Lower the voltage, or raise Q or the inductance of the coil.",
        )
    return None


def _thick(tank: Tank) -> dict[str, str] | None:
    depth = skin_depth_m(tank.frequency_hz, COPPER)
    strand = tank.winding.strands.strand_m
    if strand <= THICK * depth:
        return None
    return _warning(
        f"The wire is {strand / depth:.1f} skin depths thick, so its resistance, inductance and Q are only estimates.",
        "Close thick turns drive eddy currents in each other.",
        "Thinner wire or stranded wire has a higher Q here.",
    )
