"""Prints what the circuits of firmware/hardware do under ngspice.  Everything is circuit simulation; it checks nothing.

    python tests/bench/circuits.py [oscillators|voltage|replacements|faults|inputs|supply|noise]

Without a name all tables are printed, in some minutes.  The device models are generic (firmware/hardware/models.lib).
"""

import re
import sys
from math import pi
from pathlib import Path

import piped

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from circuit_checks import SETTLED
from circuit_faults import WIRES, worst
from circuit_noise import jitter_s, white_frequency_noise
from circuits import COMPARATOR, LIMITED, MOSFET, PAIR, SCHMITT, SUPPLY_V, at_pin, oscillate, parts, powered
from circuits import start_time_s as start
from replaced_parts import with_value
from spice import mean

KINDS = (PAIR, MOSFET, LIMITED)
HENRY, OHM = 225e-6, 1.44
Q_OHM = 2 * pi * 25e3 * HENRY  # its quotient with Q is the coil's resistance


def oscillators() -> None:
    print(f"{'':28}{PAIR:>26}{MOSFET:>26}{LIMITED:>26}")
    window = {"stop_s": 8e-3, "start_s": 6.5e-3, "step_s": 1e-7}
    base = {kind: oscillate(kind, **window) for kind in KINDS}
    row("frequency, Hz", [f"{base[kind].frequency_hz:.0f}" for kind in KINDS])
    row("tank, V peak", [f"{base[kind].peak_v:.2f}" for kind in KINDS])
    row("coil end, V highest", [f"{base[kind].end_v:.2f}" for kind in KINDS])
    row("supply current, mA", [f"{1e3 * base[kind].supply_a:.1f}" for kind in KINDS])
    row("tank peak / mean of the tap", [f"{base[kind].peak_v / base[kind].tap_v:.3f}" for kind in KINDS])
    row("start, ms", [f"{1e3 * start(kind):.2f}" for kind in KINDS])
    row("", ["f ppm,   V %,    I %"] * 3)
    for name, change in (
        ("L - 0.1 %", {"inductance": HENRY * 0.999}),
        ("R + 1 %", {"resistance": OHM * 1.01}),
        ("supply + 1 %", 1.01),
        ("supply - 10 %", 0.9),
        ("devices + 10 K", {"celsius": 37.0}),
        ("coupling 0.7", {"coupling": 0.7}),
    ):
        cells = []
        for kind in KINDS:
            options = change if isinstance(change, dict) else {"supply_v": change * SUPPLY_V[kind]}
            other = oscillate(kind, **options, **window)
            first = base[kind]
            cells.append(f"{first.ppm(other):+.1f}, {first.percent(other):+.3f}, {first.current_percent(other):+.2f}")
        row(name, cells)
    for q in (25, 10, 5, 2.5):
        row(f"start at Q {q}, ms", [f"{1e3 * start(kind, resistance=Q_OHM / q, stop_s=4e-3):.2f}" for kind in KINDS])


def row(name: str, cells: list[str]) -> None:
    print(f"{name:28}" + "".join(f"{cell:>26}" for cell in cells), flush=True)


def voltage() -> None:
    """The pair's voltage is proportional to the tank's resistance until its transistors saturate."""
    load = sum(parts.read_netlist("oscillator-pair")[name].number for name in ("R2", "R3", "R4", "R5"))
    print("tank, ohm   Q   V peak   2/pi 4.75 mA R   supply, mA   amplitude for R + 1 %")
    for q in (5, 10, 25, 40, 50, 60, 80, 120):
        ohm = Q_OHM / q
        parallel = HENRY / (ohm * 180e-9)
        window = {"stop_s": 10e-3, "start_s": 8e-3}
        found, lossy = oscillate(resistance=ohm, **window), oscillate(resistance=ohm * 1.01, **window)
        computed = 2 / pi * 4.75e-3 / (1 / parallel + 1 / load)
        print(
            f"{parallel:9.0f} {q:4} {found.peak_v:8.2f} {computed:16.2f} {1e3 * found.supply_a:12.2f} "
            f"{found.percent(lossy):14.2f} %",
            flush=True,
        )


def replacements() -> None:
    """Each resistor and capacitor for which the bill allows a range, at both ends of it."""
    print("circuit, part, value          f ppm     V %   starts at Q 5 within, ms")
    for kind in KINDS:
        name = kind.replace("_", "-")
        window = SETTLED if kind == PAIR else {}
        base = oscillate(kind, **window)
        for line in parts.read_bill():
            found = re.match(r"([\d.]+)(k|M)?(?: (\w*[FH]))? to ([\d.]+)(k|M)?(?: (\w*[FH]))?", line["replacement"])
            if line["circuit"] != name or not found or line["reference"][0] == "D":
                continue
            low, high = spice(found[1], found[2], found[3] or found[6]), spice(found[4], found[5], found[6])
            for value in (low, high):
                folder = with_value(name, line["reference"], value)
                other = oscillate(kind, folder=folder, **window)
                ms = 1e3 * start(kind, resistance=7.0, folder=folder, stop_s=5e-3)
                print(
                    f"{name:26}{line['reference']:4}{value:6}{base.ppm(other):9.1f}{base.percent(other):8.2f}{ms:8.2f}",
                    flush=True,
                )


def spice(number: str, factor: str | None, unit: str | None) -> str:
    """Return a value of the bill as SPICE reads it."""
    return number + ({"M": "Meg"}.get(factor or "", factor or "") or (unit or "")[:-1])


def faults() -> None:
    print("an opened wire: highest and lowest V at the oscillator, and the supply current")
    for kind in KINDS:
        for zeners in (True, False) if kind == MOSFET else (True,):
            note = "" if zeners else " without zeners"
            for wires in (("end_a",), ("tap",), WIRES):
                print(f"  {kind + note:40}{' '.join(wires):18}", _worst(worst(kind, wires, zeners=zeners)), flush=True)
        print(f"  {kind:40}{'coil shorted':18}", _worst(worst(kind, shorted=True, phases=1)), flush=True)


def _worst(found: dict[str, float]) -> str:
    return f"{found['highest_v']:7.1f} V {found['lowest_v']:7.1f} V {1e3 * found['supply_a']:8.1f} mA"


def inputs() -> None:
    print("stage, coil V peak, sine: edges in 2 ms, duty, node V, pin V, rail mean uA, rise ns")
    for kind in (SCHMITT, COMPARATOR):
        for half in (False, True):
            for peak in (0.2, 0.3, 0.5, 0.6, 1.2, 2.4, 12, 28, 60):
                if half and peak < 5:
                    continue
                late = {"start_s": 8e-3, "stop_s": 10e-3} if half else {}
                print(
                    f"  {kind:18}{peak:5} {'half' if half else 'full'}: ", _pin(at_pin(kind, peak, half=half, **late))
                )
        for peak in (2.4, 28, 60):
            found = at_pin(kind, peak, rail_v=0.0)
            print(f"  {kind:18}{peak:5} without power: {1e6 * found.rail_a:.1f} uA into the rail", flush=True)


def _pin(found) -> str:
    return (
        f"{found.rising} {100 * found.duty:.0f} % {found.node_v[0]:.2f} to {found.node_v[1]:.2f} "
        f"{found.pin_v[0]:.2f} to {found.pin_v[1]:.2f} {1e6 * found.rail_a:.0f} {1e9 * found.rise_s:.0f}"
    )


def supply() -> None:
    print("battery V: 5 V, VSYS, oscillator, battery mA")
    for volt in ("12", "9", "7", "6", "5.6", "5.4", "5.2", "5.0"):
        found = powered(volt)
        at = [mean(found["time"], found[name]) for name in ("five", "vsys", "leg", "battery_a")]
        print(f"  {volt:>4}: {at[0]:.3f} {at[1]:.3f} {at[2]:.3f} {-1e3 * at[3]:.1f}", flush=True)


def noise() -> None:
    for peak in (0.5, 1.2, 2.4, 28):
        print(
            f"comparator, {peak} V peak, 1 mV rms at its input: {1e9 * jitter_s(COMPARATOR, peak):.1f} ns", flush=True
        )
    print(f"default oscillator, thermal and shot noise: h0 {white_frequency_noise(30e-3, 1e3):.1g} /Hz")


TABLES = {
    "oscillators": oscillators,
    "voltage": voltage,
    "replacements": replacements,
    "faults": faults,
    "inputs": inputs,
    "supply": supply,
    "noise": noise,
}


def main(wanted: list[str]) -> int:
    unknown = [name for name in wanted if name not in TABLES]
    if unknown:
        print(f"no table {unknown[0]}; there are {', '.join(TABLES)}", file=sys.stderr)
        return 2
    for name in wanted or TABLES:
        print(f"\n{name} (circuit simulation)")
        TABLES[name]()
    return 0


if __name__ == "__main__":
    piped.run(main, sys.argv[1:])
