"""Draws the schematics: `python firmware/hardware/draw.py` writes the SVG files into the folder `drawings`.

Values come from the netlists.  `tests/hardware/test_drawings.py` compares what is drawn, and how it is connected, with
the netlists.  It needs schemdraw (`pip install coilcount[test]`).  Nothing here is installed on a board.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

from parts import Part, read_bill, read_netlist
from sheet import Sheet

FOLDER = Path(__file__).resolve().parent / "drawings"


@dataclass(frozen=True)
class At:
    """The origin of a block on its sheet; At(x0, y0)(x, y) is a point of the block."""

    x0: float = 0.0
    y0: float = 0.0

    def __call__(self, x, y):
        return round(self.x0 + x, 3), round(self.y0 + y, 3)


END_A, TAP, END_B = 2.75, 5.5, 8.25  # x of the coil's ends; the transistors fit these


def head(s, p, y):
    """Draw the coil and its capacitor; the coil's ends and tap have the height y."""
    s.coil("L1", p(END_A, y), p(TAP, y), p(END_B, y))
    s.text(*p(END_A + 1.35, y - 0.75), "L1 search coil", "center")
    s.wire(p(END_A, y), p(END_A, y + 1.7), p(3.3, y + 1.7))
    s.part("C1", p(3.3, y + 1.7), p(4.9, y + 1.7), "above")
    s.wire(p(4.9, y + 1.7), p(END_B, y + 1.7), p(END_B, y))


def pair(s, p, ports=True):
    """Draw the default oscillator below its coil."""
    head(s, p, 10.5)
    a, b = s.transistor("Q1", p(2, 3)), s.transistor("Q2", p(9, 3), mirrored=True)
    s.wire(a[0], p(END_A, 10.5))
    s.wire(b[0], p(END_B, 10.5))
    # Each base is driven from the other end of the coil.
    s.wire(p(END_B, 5.0), p(7.6, 5.0))
    s.part("C2", p(7.6, 5.0), p(6.0, 5.0), "above")
    s.part("R2", p(6.0, 5.0), p(4.4, 5.0), "above")
    s.wire(p(4.4, 5.0), p(0.5, 5.0), p(0.5, 3), p(2, 3))
    s.wire(p(END_A, 6.6), p(3.4, 6.6))
    s.part("C3", p(3.4, 6.6), p(5.0, 6.6), "above")
    s.part("R3", p(5.0, 6.6), p(6.6, 6.6), "above")
    s.wire(p(6.6, 6.6), p(10.5, 6.6), p(10.5, 3), p(9, 3))
    s.part("R4", p(0.5, 1.0), p(0.5, 3), "left")
    s.part("R5", p(10.5, 1.0), p(10.5, 3), "right")
    s.wire(p(0.5, 1.0), p(15.8, 1.0))
    s.text(*p(7.4, 0.45), "bias", "center")
    # The tail.
    s.wire(a[2], p(END_A, 1.8), p(END_B, 1.8), b[2])
    c = s.transistor("Q3", p(6.25, -0.7), mirrored=True)
    s.wire(p(TAP, 1.8), c[0])
    s.part("R6", c[2], p(TAP, -3.4), "left")
    s.net("gnd", p(TAP, -3.4), "ground")
    s.wire(p(6.25, -0.7), p(13, -0.7))
    s.text(*p(7.4, -0.45), "tail base", "center")
    s.part("C5", p(9.2, -0.7), p(9.2, -2.6))
    s.net("gnd", p(9.2, -2.6), "ground")
    # The reference.
    s.wire(p(TAP, 8.6), p(17.6, 8.6))
    s.wire(p(TAP, 10.5), p(TAP, 8.6))
    s.part("R7", p(13, 8.6), p(13, 6.4), "left")
    s.wire(p(13, 6.4), p(15.2, 6.4), p(15.2, 5.7))
    s.box("U1", p(14.0, 4.1), (2.4, 1.6), [(0, "", p(15.2, 5.7)), (1, "", p(15.2, 4.1))], "U1 2.5 V\nshunt\nreference")
    s.wire(p(15.2, 4.1), p(15.2, 3.7))
    s.net("gnd", p(15.2, 3.7), "ground")
    s.part("R8", p(13, 6.4), p(13, 3.2), "left")
    s.wire(p(13, 3.2), p(13, 1.0))
    s.part("R9", p(13, 1.0), p(13, -0.7), "left")
    d = s.transistor("Q4", p(12.25, -1.9), label=(1.15, 0.0))
    s.wire(p(13, -0.7), d[0])
    s.wire(p(12.25, -1.9), p(11.7, -1.9), p(11.7, -0.7))
    s.part("R10", d[2], p(13, -4.6))
    s.net("gnd", p(13, -4.6), "ground")
    s.part("C4", p(15.8, 1.0), p(15.8, -0.9))
    s.net("gnd", p(15.8, -0.9), "ground")
    s.part("C6", p(17.6, 8.6), p(17.6, 6.6))
    s.net("gnd", p(17.6, 6.6), "ground")
    if ports:
        s.net("vcc", p(17.6, 8.6), "supply", words="5 V")
        s.wire(p(END_A, 8.0), p(1.2, 8.0))
        s.net("end_a", p(1.2, 8.0), side="left", words="to the\ninput stage")


def mosfet_stage(s, p, vcc):
    """Draw what both MOSFET oscillators share, and the coil at height 9."""
    head(s, p, 9)
    a, b = s.transistor("Q31", p(1.38, 2), label=(1.65, -0.35)), s.transistor(
        "Q32", p(9.62, 2), mirrored=True, label=(1.65, -0.35)
    )
    for (drain, _, source), x in ((a, END_A), (b, END_B)):
        s.wire((p(x, 0)[0], drain[1]), p(x, 9))
        s.wire((p(x, 0)[0], source[1]), p(x, 0.6))
        s.net("gnd", p(x, 0.6), "ground")
    for reference, x, gate in (("R31", -1.5, 1.38), ("R32", 12.5, 9.62)):
        s.part(reference, p(x, 7.2), p(x, 5.2), "left" if x < 0 else "right")
        s.net("vcc", p(x, 7.2), "supply", words=vcc)
        s.wire(p(x, 5.2), p(x, 2), p(gate, 2))
    s.wire(p(-1.5, 4.3), p(4.6, 4.3))
    s.part("D31", p(4.6, 4.3), p(6.2, 4.3), "above")
    s.wire(p(6.2, 4.3), p(END_B, 4.3))
    s.wire(p(12.5, 3.5), p(6.4, 3.5))
    s.part("D32", p(6.4, 3.5), p(4.8, 3.5), "below")
    s.wire(p(4.8, 3.5), p(END_A, 3.5))


def mosfet(s, p):
    """Draw the push-pull oscillator with a choke."""
    mosfet_stage(s, p, "9 V")
    for reference, x, end in (("D33", 0.9, END_A), ("D34", 10.1, END_B)):
        s.part(reference, p(x, 5.5), p(x, 7.3), "left" if x < 5 else "right")
        s.net("gnd", p(x, 5.5), "ground")
        s.wire(p(x, 7.3), p(end, 7.3))
    s.wire(p(TAP, 9), p(TAP, 12.3))
    s.wire(p(TAP, 12.3), p(6.2, 12.3))
    s.part("R33", p(8.0, 12.3), p(6.2, 12.3), "above")
    s.part("L31", p(10.2, 12.3), p(8.0, 12.3), "above")
    s.wire(p(10.2, 12.3), p(12.0, 12.3))
    s.net("vcc", p(12.0, 12.3), "supply", words="9 V")
    s.part("C31", p(12.0, 12.3), p(12.0, 10.4), polar=True)
    s.net("gnd", p(12.0, 10.4), "ground")
    s.wire(p(TAP, 12.3), p(4.2, 12.3))
    s.part("D35", p(2.4, 12.3), p(4.2, 12.3), "above")
    s.wire(p(2.4, 12.3), p(1.8, 12.3), p(1.8, 11.9))
    s.net("gnd", p(1.8, 11.9), "ground")


def mosfet_limited(s, p):
    """Draw the push-pull oscillator with a current source."""
    mosfet_stage(s, p, "9 V")
    q = s.transistor("Q33", p(4.75, 13.1))
    s.wire(p(TAP, 9), q[0])
    s.part("R35", p(TAP, 15.8), q[2])
    s.part("D36", p(3.2, 15.8), p(3.2, 14.0), "left")
    s.wire(p(3.2, 14.0), p(3.2, 13.1), p(4.75, 13.1))
    s.wire(p(3.2, 13.1), p(1.2, 13.1))
    s.part("R34", p(1.2, 13.1), p(1.2, 11.2), "left")
    s.net("gnd", p(1.2, 11.2), "ground")
    s.wire(p(3.2, 15.8), p(8.4, 15.8))
    s.net("vcc", p(8.4, 15.8), "supply", words="9 V")
    s.part("C31", p(8.4, 15.8), p(8.4, 13.9), polar=True)
    s.net("gnd", p(8.4, 13.9), "ground")


def _front(s, p, numbers, mid_right):
    """Draw what both input stages share: series resistors, coupling, bias and the middle of the supply."""
    r1, r2, c1, bias, upper, lower, hold = numbers
    s.part(r1, p(0.6, 0), p(2.4, 0), "above")
    s.part(r2, p(2.4, 0), p(4.2, 0), "above")
    s.part(c1, p(4.2, 0), p(5.8, 0), "above")
    s.part(bias, p(6.6, 0), p(6.6, -4.2))
    s.text(*p(6.6, 0.3), "node", "center")
    s.wire(p(1.8, -4.2), p(mid_right, -4.2))
    s.part(upper, p(1.8, -2.1), p(1.8, -4.2), "left")
    s.net("vdd", p(1.8, -2.1), "supply", words="3.3 V")
    s.part(lower, p(1.8, -4.2), p(1.8, -6.3), "left")
    s.net("gnd", p(1.8, -6.3), "ground")
    s.part(hold, p(4.0, -4.2), p(4.0, -6.3))
    s.net("gnd", p(4.0, -6.3), "ground")
    s.text(*p(2.1, -3.95), "mid, 1.57 V")


def _decoupling(s, p, capacitor, chip, x, pins):
    """Draw the capacitor at a chip, whose supply pins are there."""
    s.part(capacitor, p(x, -3.0), p(x, -5.0), "left")
    s.net("vdd", p(x, -3.0), "supply", words="3.3 V")
    s.net("gnd", p(x, -5.0), "ground")
    power, ground = pins
    s.place(chip, power, p(x, -3.0))
    s.place(chip, ground, p(x, -5.0))


def schmitt(s, p, ports=True):
    """Draw the default input stage."""
    _front(s, p, ("R51", "R52", "C51", "R53", "R54", "R55", "C52"), 10.2)
    s.wire(p(5.8, 0), p(11.3, 0))
    s.part("D51", p(8.3, 0), p(8.3, -2.1))
    s.part("D52", p(8.3, -2.1), p(8.3, -4.2))
    s.part("D53", p(10.2, -4.2), p(10.2, -2.1))
    s.part("D54", p(10.2, -2.1), p(10.2, 0))
    s.part("R56", p(11.3, 0), p(13.1, 0), "above")
    s.wire(p(13.1, 0), p(14.0, 0))
    out = s.schmitt("U51", p(14.0, 0))
    s.wire(out, p(15.6, 0))
    s.part("R57", p(15.6, 0), p(17.2, 0), "above")
    _decoupling(s, p, "C53", "U51", 14.4, (2, 3))
    s.text(*p(14.9, -3.6), "directly at U51:\npin 14 to 3.3 V,\npin 7 to ground")
    if ports:
        s.net("coil", p(0.6, 0), side="left", words="coil end\n0.6 to 60 V peak")
        s.net("pin", p(17.2, 0), side="right", words="GP15")


def comparator(s, p):
    """Draw the better input stage."""
    _front(s, p, ("R61", "R62", "C61", "R63", "R64", "R65", "C62"), 13.6)
    s.wire(p(5.8, 0), p(11.3, 0))
    s.part("D61", p(8.3, 0), p(8.3, -4.2))
    s.part("D62", p(10.2, -4.2), p(10.2, 0))
    s.part("R68", p(11.3, 0), p(13.1, 0), "above")
    _, minus, out = s.comparator("U61", p(14.0, 0))
    s.wire(p(13.1, 0), p(14.0, 0))
    s.wire(minus, p(13.6, -1.25), p(13.6, -4.2))
    s.wire(out, (p(17.2, 0)[0], out[1]))
    y = out[1] - p(0, 0)[1]
    s.part("R67", p(17.2, y), p(19.0, y), "above")
    s.wire(p(17.2, y), p(17.2, 2.0), p(14.8, 2.0))
    s.part("R66", p(14.8, 2.0), p(13.0, 2.0), "above")
    s.wire(p(13.0, 2.0), p(11.3, 2.0), p(11.3, 0))
    _decoupling(s, p, "C63", "U61", 18.6, (3, 4))
    s.text(*p(19.1, -4.0), "directly at U61")
    s.net("coil", p(0.6, 0), side="left", words="coil end\n0.5 to 60 V peak")
    s.net("pin", p(19.0, y), side="right", words="GP15")


def supply(s, p, ports=True):
    """Draw the supply."""
    s.part("F81", p(1.0, 0), p(2.8, 0), "above")
    s.part("D81", p(2.8, 0), p(4.8, 0), "above")
    s.wire(p(4.8, 0), p(7.4, 0))
    s.part("C81", p(5.7, 0), p(5.7, -2.0))
    s.net("gnd", p(5.7, -2.0), "ground")
    pins = [(0, "in", p(7.4, 0)), (1, "out", p(10.6, 0)), (2, "gnd", p(9.0, -1.0))]
    s.box("U81", p(7.4, -1.0), (3.2, 2.0), pins, "U81 5 V\nlow-drop")
    s.wire(p(9.0, -1.0), p(9.0, -1.4))
    s.net("gnd", p(9.0, -1.4), "ground")
    s.wire(p(10.6, 0), p(13.4, 0))
    s.part("C82", p(11.4, 0), p(11.4, -2.0))
    s.net("gnd", p(11.4, -2.0), "ground")
    s.wire(p(12.6, 0), p(12.6, 1.8), p(13.4, 1.8))
    s.part("D82", p(13.4, 1.8), p(15.4, 1.8), "above")
    s.part("R81", p(13.4, 0), p(15.4, 0), "above")
    s.wire(p(15.4, 0), p(17.2, 0))
    s.part("C83", p(16.0, 0), p(16.0, -2.0), polar=True)
    s.net("gnd", p(16.0, -2.0), "ground")
    if ports:
        s.net("battery_plus", p(1.0, 0), side="left", words="battery +\n5.5 to 12 V")
        s.net("vsys", p(15.4, 1.8), words="VSYS of the board\n(5.5 V at most)")
        s.net("oscillator", p(17.2, 0), words="5 V of the\noscillator")


def instrument(s, p):
    """Draw the whole instrument with the default circuits."""
    pair(s, At(p.x0 + 4, p.y0), ports=False)
    schmitt(s, At(p.x0 + 4, p.y0 - 9.5), ports=False)
    supply(s, At(p.x0 + 4, p.y0 + 17), ports=False)
    # The battery and its switch.
    s.part("S81", p(2.6, 17), p(4.4, 17), "above")
    s.wire(p(4.4, 17), p(5.0, 17))
    s.battery("BT81", p(1.2, 17), p(1.2, 15.0))
    s.wire(p(1.2, 17), p(2.6, 17))
    s.net("gnd", p(1.2, 15.0), "ground")
    # The supply of the oscillator, the signal, and the board.
    s.wire(p(21.2, 17), p(23.0, 17), p(23.0, 8.6), p(21.6, 8.6))
    s.wire(p(4 + END_A, 8.0), p(2.4, 8.0), p(2.4, -9.5), p(4.6, -9.5))
    pins = [
        (0, "GP15", p(24.0, -9.5)),
        (1, "VSYS", p(26.2, -7.3)),
        (2, "3V3 OUT", p(28.4, -8.4)),
        (3, "GND", p(26.2, -12.5)),
    ]
    s.box("MOD1", p(24.0, -12.5), (4.4, 5.2), pins, "MOD1\nRaspberry Pi Pico,\nUSB to the computer", 0.6)
    s.wire(p(21.2, -9.5), p(24.0, -9.5))
    s.wire(p(19.4, 18.8), p(26.2, 18.8), p(26.2, -7.3))
    s.wire(p(28.4, -8.4), p(29.2, -8.4))
    s.net("vdd", p(29.2, -8.4), "supply", words="3.3 V")
    s.wire(p(26.2, -12.5), p(26.2, -12.9))
    s.net("gnd", p(26.2, -12.9), "ground")
    # The head with its cable.
    s.outline(p(5.6, 9.3), p(13.2, 13.2), "head")
    s.text(*p(13.4, 9.7), "W1 cable: both ends, tap;\nits shield to ground", size=10)


def bill_parts(circuit):
    """Return the parts of a circuit that has no netlist, from the bill of materials."""
    rows = [row for row in read_bill() if row["circuit"] == circuit]
    return {row["reference"]: Part(circuit, row["reference"], row["value"], None, ()) for row in rows}


# name of the drawing: (function, circuits that it shows)
DRAWINGS = {
    "oscillator-pair": (pair, ("head", "oscillator-pair")),
    "oscillator-mosfet": (mosfet, ("head", "oscillator-mosfet")),
    "oscillator-mosfet-limited": (mosfet_limited, ("head", "oscillator-mosfet-limited")),
    "input-schmitt": (schmitt, ("input-schmitt",)),
    "input-comparator": (comparator, ("input-comparator",)),
    "supply": (supply, ("supply",)),
    "instrument": (instrument, ("head", "oscillator-pair", "input-schmitt", "supply", "instrument")),
}


def sheet_of(name):
    """Draw one schematic; returns its Sheet."""
    draw, circuits = DRAWINGS[name]
    found = {}
    for circuit in circuits:
        found |= bill_parts(circuit) if circuit == "instrument" else read_netlist(circuit)
    sheet = Sheet(found)
    draw(sheet, At())
    return sheet


def main(folder):
    folder.mkdir(exist_ok=True)
    for name in DRAWINGS:
        (folder / f"{name}.svg").write_text(sheet_of(name).finish(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
