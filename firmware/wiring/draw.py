"""Draws the figures of WIRING.md: `python firmware/wiring/draw.py` writes the SVG files into this folder.

It needs schemdraw, which is in the extra `test`.  The values are those of WIRING.md.  It is not installed on a board.
"""

import sys
from pathlib import Path

import schemdraw
import schemdraw.elements as elm
from schemdraw import logic

FONT_SIZE = 13


def new_drawing() -> schemdraw.Drawing:
    schemdraw.use("svg")
    # Text is written as text and not as outlines.  Files are smaller, and people and a test can search them.
    schemdraw.svgconfig.text = "text"
    # The library takes text for narrower than most fonts draw it, so the margin is wider.
    schemdraw.config(margin=0.9)
    # A white background keeps the figure readable on a dark page.
    return schemdraw.Drawing(unit=2.4, fontsize=FONT_SIZE, font="sans-serif", lw=1.6, bgcolor="white", show=False)


def clamp_pair(drawing, node, mid, each_way: int, at_x: float) -> None:
    """Draw the clamp: `each_way` diodes in series from the node's line to the mid line, and as many in reverse."""
    for x, reverse in ((at_x, False), (at_x + 1.3, True)):
        drawing.add(elm.Dot().at((x, node)))
        drawing.add(elm.Dot().at((x, mid)))
        length = (node - mid) / each_way
        for k in range(each_way):
            top, low = (x, node - k * length), (x, node - (k + 1) * length)
            drawing.add(elm.Diode().endpoints(*((low, top) if reverse else (top, low))))


def front(drawing, swing: str, resistor: str, coupling: str, each_way: int) -> dict[str, float]:
    """Draw coil end, two series resistors, coupling capacitor, bias and clamp.

    Returns the heights of the node's line and the mid line, and the x where the next part begins.
    """
    node, mid = 0.0, -4.2
    drawing.add(elm.Dot(open=True).at((0, node)).label(f"coil end\n{swing} V peak", "left"))
    drawing.add(elm.Resistor().at((0, node)).right().label(resistor))
    drawing.add(elm.Resistor().right().label(resistor))
    drawing.add(elm.Capacitor().right().label(coupling))
    x = drawing.here[0]
    drawing.add(elm.Dot().at((x, node)).label("node", "top"))
    drawing.add(elm.Resistor().endpoints((x, node), (x, mid)).label("470k", "top", ofst=0.15))
    drawing.add(elm.Line().endpoints((x, node), (x + 3.6, node)))
    clamp_pair(drawing, node, mid, each_way, x + 1.5)
    # The middle of the supply.  Its 100 nF hold it steady at the coil's frequency.
    left = x - 3.6
    drawing.add(elm.Line().endpoints((left, mid), (x + 2.8, mid)))
    drawing.add(elm.Dot().at((x, mid)))
    drawing.add(elm.Dot().at((left, mid)).label("mid, 1.57 V", "left"))
    drawing.add(elm.Resistor().endpoints((left, mid + 2.4), (left, mid)).label("22k", "top", ofst=0.15))
    drawing.add(elm.Vdd().at((left, mid + 2.4)).label("3.3 V"))
    drawing.add(elm.Resistor().endpoints((left, mid), (left, mid - 2.4)).label("20k", "top", ofst=0.15))
    drawing.add(elm.Ground().at((left, mid - 2.4)))
    drawing.add(elm.Dot().at((left + 1.8, mid)))
    drawing.add(
        elm.Capacitor().endpoints((left + 1.8, mid), (left + 1.8, mid - 2.4)).label("100 nF", "bottom", ofst=0.15)
    )
    drawing.add(elm.Ground().at((left + 1.8, mid - 2.4)))
    return {"node": node, "mid": mid, "x": x + 3.6}


def to_the_pin(drawing, start) -> None:
    """Draw 330 ohm and the board's pin."""
    drawing.add(elm.Resistor().at(start).right().label("330"))
    drawing.add(elm.Dot(open=True).label("GP15", "right"))


def schmitt_input() -> schemdraw.Drawing:
    """Draw the default input, with one 74HC14."""
    drawing = new_drawing()
    lines = front(drawing, "0.6 to 60", "22k", "4.7 nF", 2)
    drawing.add(elm.Resistor().at((lines["x"], lines["node"])).right().label("1k"))
    gate = drawing.add(logic.SchmittNot().right().anchor("in1"))
    drawing.add(elm.Label().at((gate.center[0], gate.center[1] - 1.0)).label("1/6 74HC14"))
    to_the_pin(drawing, gate.out)
    decoupling(drawing, gate.center[0], "74HC14: pin 14 to 3.3 V,\npin 7 to ground")
    return drawing


def comparator_input() -> schemdraw.Drawing:
    """Draw the better input, with a push-pull comparator with hysteresis."""
    drawing = new_drawing()
    lines = front(drawing, "from 0.2", "50k", "1 nF", 1)
    x, node, mid = lines["x"], lines["node"], lines["mid"]
    gate = drawing.add(elm.Opamp().theta(0).at((x + 1.8, node)).anchor("in2").flip())
    drawing.add(elm.Line().endpoints((x, node), gate.in2))
    drawing.add(elm.Line().endpoints(gate.in1, (gate.in1[0] - 0.6, gate.in1[1])))
    drawing.add(elm.Line().endpoints((gate.in1[0] - 0.6, gate.in1[1]), (gate.in1[0] - 0.6, mid)))
    drawing.add(elm.Line().endpoints((gate.in1[0] - 0.6, mid), (x - 0.8, mid)))
    drawing.add(elm.Dot().at((x - 0.8, mid)))
    out = (gate.out[0] + 0.3, gate.out[1])
    drawing.add(elm.Line().endpoints(gate.out, out))
    top = node + 1.9
    x += 0.4
    drawing.add(elm.Dot().at((x, node)))
    drawing.add(elm.Dot().at(out))
    drawing.add(elm.Line().endpoints((x, node), (x, top)))
    drawing.add(elm.Resistor().endpoints((x, top), (out[0], top)).label("2.2M"))
    drawing.add(elm.Line().endpoints((out[0], top), out))
    to_the_pin(drawing, out)
    decoupling(drawing, gate.out[0] + 1.6, "push-pull comparator\non 3.3 V")
    return drawing


def decoupling(drawing, x: float, text: str) -> None:
    """Draw 100 nF across the supply of a part, next to the part."""
    high = -2.6
    drawing.add(elm.Vdd().at((x, high)).label("3.3 V"))
    drawing.add(elm.Capacitor().endpoints((x, high), (x, high - 2.0)).label("100 nF", "top", ofst=0.15))
    drawing.add(elm.Ground().at((x, high - 2.0)))
    drawing.add(elm.Label().at((x, high - 3.4)).label(text, halign="center"))


def power() -> schemdraw.Drawing:
    """Draw the supply, from the battery to the board and to the oscillator."""
    drawing = new_drawing()
    drawing.add(elm.Battery().up().at((0, -3)).label("six AA cells", "top"))
    drawing.add(elm.Ground().at((0, -3)))
    drawing.add(elm.Fuse().right().at((0, -0.6)).label("fuse"))
    drawing.add(elm.Schottky().right().label("reverse\nprotection"))
    regulator = drawing.add(
        elm.Ic(
            pins=[
                elm.IcPin(name="in", side="left", slot="1/1", anchorname="inp"),
                elm.IcPin(name="out", side="right", slot="1/1", anchorname="out"),
                elm.IcPin(name="gnd", side="bottom", slot="1/1", anchorname="gnd"),
            ],
            size=(2.6, 1.6),
        )
        .anchor("inp")
        .label("5 V low-drop", "top")
    )
    drawing.add(elm.Ground().at(regulator.gnd))
    drawing.add(elm.Line().at(regulator.out).right().length(1.0))
    split = drawing.here
    drawing.add(elm.Dot().at(split))
    drawing.add(elm.Schottky().right().at(split).label("Schottky"))
    drawing.add(elm.Dot(open=True).label("VSYS (5.5 V at most)", "right"))
    drawing.add(elm.Line().endpoints(split, (split[0], split[1] - 2.2)))
    drawing.add(elm.Resistor().right().at((split[0], split[1] - 2.2)).label("100"))
    leg = drawing.here
    drawing.add(elm.Dot().at(leg))
    drawing.add(elm.Capacitor(polar=True).down().at(leg).length(1.8).label("10 to 100 uF", "bottom", ofst=0.15))
    drawing.add(elm.Ground())
    drawing.add(elm.Line().right().at(leg).length(2.2))
    drawing.add(elm.Dot(open=True).label("oscillator", "right"))
    return drawing


FIGURES = {"schmitt-input": schmitt_input, "comparator-input": comparator_input, "power": power}


def main(folder: Path) -> None:
    for name, draw in FIGURES.items():
        drawing = draw()
        drawing.draw(show=False)
        # The text is as the library writes it, with exactly one line feed at the end.
        text = drawing.get_imagedata("svg").decode("utf-8").rstrip() + "\n"
        (folder / f"{name}.svg").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
