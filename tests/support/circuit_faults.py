"""What happens in an oscillator if a connection to the coil's head opens, or if the coil is shorted."""

from pathlib import Path

import numpy as np
from circuits import PAIR, STRONG_KICK, SUPPLY_V, parts
from spice import HARDWARE, run

WIRES = ("end_a", "tap", "end_b")
FAULT_S = 3e-3
# Of choke and cable, from the tap to ground; chosen by hand.  Without it an opened choke has no limit.
STRAY_F = 50e-12


def _switched(kind: str, opened: tuple[str, ...], shorted: bool, at_s: float, folder: Path, zeners: bool) -> str:
    """Return an oscillator whose wires to the head open at at_s, or whose coil is shorted then."""
    supply_v = SUPPLY_V[kind]
    lines = [".model opening SW(VT=0.5 VH=0.05 RON=0.01 ROFF=1e9)"]
    lines.append(f"VOPEN open 0 PWL(0 1 {at_s} 1 {at_s + 2e-7} 0)\nVSHORT short 0 PWL(0 0 {at_s} 0 {at_s + 2e-7} 1)")
    if kind == PAIR:
        lines.append(f"VREG five 0 {supply_v}\nRLEG five vcc {parts.read_netlist('supply', folder)['R81'].number}")
        lines.append(f"Xosc a b vcc 0 {kind}")
        outside = "vcc"
    else:
        lines.append(f"VREG vcc 0 {supply_v}")
        lines.append(f"Xosc a tap b vcc 0 {kind}" if zeners else _without_zeners(kind, folder))
        outside = "tap"
    for wire, node in zip(WIRES, ("a", outside, "b"), strict=True):
        if wire in opened:
            lines.append(f"S{wire} {node} head_{wire} open 0 opening ON")
        else:
            lines.append(f"R{wire} {node} head_{wire} 0.01")
    if shorted:
        lines.append("SSHORT head_end_a head_end_b short 0 opening OFF")
    lines.append("Xhead head_end_a head_tap head_end_b head\nRHEADA head_end_a 0 10Meg\nRHEADB head_end_b 0 10Meg")
    lines.append(f"CSTRAY {outside} 0 {STRAY_F}")
    return "\n".join([*lines, STRONG_KICK])


def _without_zeners(kind: str, folder: Path) -> str:
    """Return the oscillator's own lines without D33, D34 and D35; its devices take the names of the deck's nodes."""
    text = (folder / f"{kind.replace('_', '-')}.cir").read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if not line.startswith(("D33", "D34", "D35"))]
    body = "\n".join(kept).replace(f".subckt {kind} ", ".subckt unprotected ")
    return f"{body}\nXosc a tap b vcc 0 unprotected"


def worst(
    kind: str,
    opened: tuple[str, ...] = (),
    *,
    shorted: bool = False,
    zeners: bool = True,
    phases: int = 4,
    folder: Path = HARDWARE,
) -> dict[str, float]:
    """Return the highest and lowest volts at the oscillator and in the head, and the highest supply current in A.

    phases: the fault comes at so many instants of a period, and the worst of them counts.
    """
    tap = "v(vcc)" if kind == PAIR else "v(tap)"
    base = ("v(xosc.base_a)", "v(xosc.base_b)") if kind == PAIR else ()
    probes = ("v(a)", "v(b)", tap, "i(vreg)", "v(head_end_a)", "v(head_end_b)", *base)
    found = []
    for k in range(phases):
        at_s = FAULT_S + k * 40e-6 / phases
        waves = run(_switched(kind, opened, shorted, at_s, folder, zeners), probes, at_s + 1.5e-3, 2e-7, at_s - 1e-4)
        circuit = np.concatenate([waves[name] for name in ("v(a)", "v(b)", tap, *base)])
        head = np.concatenate([waves["v(head_end_a)"], waves["v(head_end_b)"]])
        found.append((circuit.max(), -circuit.min(), head.max(), -waves["i(vreg)"].min()))
    high, low, head_v, current = np.max(found, axis=0)
    return {"highest_v": float(high), "lowest_v": float(-low), "head_v": float(head_v), "supply_a": float(current)}
