"""A sheet of a schematic that knows what it connects.

Parts and wires are placed at absolute points of a grid.  Each part's value is read from the netlist, so a drawing
cannot carry another one.  `nets()` works out from the drawn lines which terminals are connected, so that a test can
compare a drawing with the netlist.  It needs schemdraw, which is in the extra `test`.
"""

from itertools import pairwise

import schemdraw
import schemdraw.elements as elm
from schemdraw import logic

FONT_SIZE, SMALL = 11, 10
# Mean width and height of a letter in units of the drawing, for a font of 1 point; measured on the drawings.
LETTER = (0.0155, 0.032)
TWO_ENDED = {
    "R": elm.ResistorIEC, "C": elm.Capacitor, "L": elm.Inductor2, "F": elm.FuseIEC, "D": elm.Diode, "S": elm.Switch,
}  # fmt: skip
DIODES = {"Schottky diode": elm.Schottky, "36 V zener diode": elm.Zener, "red LED": elm.LED}


class Sheet:
    """One drawing.  parts: by reference, of `parts.read_netlist`; all points are (x, y)."""

    def __init__(self, parts):
        schemdraw.use("svg")
        # Text is written as text and not as outlines.  Files are smaller, and people and a test can search them.
        schemdraw.svgconfig.text = "text"
        schemdraw.config(margin=0.6)
        # A white background keeps the figure readable on a dark page.
        self.drawing = schemdraw.Drawing(fontsize=FONT_SIZE, font="sans-serif", lw=1.4, bgcolor="white", show=False)
        self.parts = parts
        self.terminals = {}  # (reference, number of the terminal in the netlist): point
        self.names = []  # (name of a net, point)
        self.wires = []  # (point, point), horizontal or vertical
        self.texts = []  # (left, right, low, high) of each text, and its words; estimated from the size of the letters
        self.halves = []  # taps of coils: two halves end there, which are one part

    def text(self, x, y, words, align="left", size=FONT_SIZE):
        """Write words beside a point."""
        lines = words.split("\n")
        width = max(map(len, lines)) * LETTER[0] * size
        left = x - {"left": 0.0, "center": width / 2, "right": width}[align]
        half = len(lines) * LETTER[1] * size / 2
        self.texts.append(((left, left + width, y - half, y + half), words))
        # With .theta(0) the direction does not depend on what was drawn before.
        label = elm.Label().theta(0).at((x, y))
        self.drawing.add(label.label(words, halign=align, valign="center", fontsize=size))

    def part(self, reference, start, end, side="right", polar=False):
        """Draw a part with two terminals between two points, the first one being the first node of the netlist.

        side: where its name and value stand: "right", "left", "above", "below".
        """
        part = self.parts[reference]
        element = elm.Capacitor2 if polar else DIODES.get(part.value, TWO_ENDED[reference[0]])
        self.drawing.add(element().endpoints(start, end))
        self._terminal(reference, 0, start)
        self._terminal(reference, 1, end)
        self._name(part, (start[0] + end[0]) / 2, (start[1] + end[1]) / 2, side)
        if polar:
            self.text(start[0] - 0.35, start[1] - 0.35 if start[1] > end[1] else start[1] + 0.35, "+", "center")

    def transistor(self, reference, base, mirrored=False, label=(1.15, 0.0)):
        """Draw a transistor by its base (gate); returns its collector, base and emitter (drain, gate, source)."""
        part = self.parts[reference]
        kinds = {"NPN transistor": elm.BjtNpn, "PNP transistor": elm.BjtPnp, "N-channel MOSFET": elm.NFet}
        mosfet = "MOSFET" in part.value
        element = kinds[part.value]() if mosfet else kinds[part.value](circle=True)
        element = element.theta(0).at(base).anchor("gate" if mosfet else "base")
        if mirrored != mosfet:  # the library draws a MOSFET with its gate on the right
            element = element.reverse()
        drawn = self.drawing.add(element)
        names = ("drain", "gate", "source") if mosfet else ("collector", "base", "emitter")
        found = [tuple(round(float(value), 2) for value in getattr(drawn, name)) for name in names]
        for number, point in enumerate(found):
            self._terminal(reference, number, point)
        x = base[0] + (-label[0] - 0.2 if mirrored else label[0])
        self.text(x, base[1] + label[1], f"{reference} {_short(part.value)}", "right" if mirrored else "left", SMALL)
        return found

    def schmitt(self, reference, at):
        """Draw the gate of the input stage; returns its input and output.  Its supply is named in words."""
        gate = self.drawing.add(logic.SchmittNot().theta(0).at(at).anchor("in1"))
        out = tuple(round(float(value), 2) for value in gate.out)
        self._terminal(reference, 0, at)
        self._terminal(reference, 1, out)
        self.text((at[0] + out[0]) / 2, at[1] + 0.9, f"{reference} 1/6 {self.parts[reference].value}", "center")
        return out

    def comparator(self, reference, at):
        """Draw the comparator by its + input; returns its + input, - input and output."""
        gate = self.drawing.add(elm.Opamp().theta(0).at(at).anchor("in2").flip())
        minus, out = (tuple(round(float(v), 2) for v in point) for point in (gate.in1, gate.out))
        for number, point in enumerate((at, minus, out)):
            self._terminal(reference, number, point)
        self.text(at[0] + 1.9, at[1] - 2.4, f"{reference} {self.parts[reference].value}", "center", SMALL)
        return at, minus, out

    def box(self, reference, corner, size, pins, words=None, lower=0.0):
        """Draw a block with pins: (number in the netlist or None, name, point on its edge).

        lower: how far its words stand below its middle.
        """
        x, y = corner
        width, height = size
        self.drawing.add(elm.Rect((0, 0), (width, height)).theta(0).at((x, y)))
        if words is None:
            words = f"{reference}\n{_short(self.parts[reference].value)}"
        self.text(x + width / 2, y + height / 2 - 0.15 - lower, words, "center")
        for number, name, point in pins:
            if number is not None:
                self._terminal(reference, number, point)
            if name:
                left, right = abs(point[0] - x) < 0.01, abs(point[0] - x - width) < 0.01
                dx, dy = (0.12, 0) if left else (-0.12, 0) if right else (0, 0.25 if point[1] == y else -0.5)
                align = "left" if left else "right" if right else "center"
                self.text(point[0] + dx, point[1] + dy, name, align, SMALL)

    def place(self, reference, number, point):
        """Say where a terminal is that has no line of its own, such as a supply pin of a gate."""
        self._terminal(reference, number, point)

    def battery(self, reference, plus, minus):
        """Draw a battery, its plus above its minus."""
        self.drawing.add(elm.Battery().endpoints(plus, minus))
        self._terminal(reference, 0, plus)
        self._terminal(reference, 1, minus)
        x, y = plus[0] - 0.5, (plus[1] + minus[1]) / 2
        self.text(x, y, f"{reference}\nsix AA\ncells", "right")

    def outline(self, low, high, words):
        """Draw a dashed rectangle around parts that sit together."""
        self.drawing.add(elm.Rect((0, 0), (high[0] - low[0], high[1] - low[1]), ls="--").theta(0).at(low))
        self.text(low[0] + 0.2, high[1] - 0.55, words, "left")

    def coil(self, reference, end_a, tap, end_b):
        """Draw the coil with its tap, from top to bottom."""
        self.drawing.add(elm.Inductor2().endpoints(end_a, tap))
        self.drawing.add(elm.Inductor2().endpoints(tap, end_b))
        for number, point in enumerate((end_a, tap, end_b)):
            self._terminal(reference, number, point)
        self.halves.append(tap)

    def wire(self, *points):
        """Draw a line through points; each piece is horizontal or vertical."""
        for start, end in pairwise(points):
            if start[0] != end[0] and start[1] != end[1]:
                raise ValueError(f"a wire from {start} to {end} is neither horizontal nor vertical")
            self.wires.append((start, end))
            self.drawing.add(elm.Line().endpoints(start, end))

    def net(self, name, point, symbol="port", side="right", words=None):
        """Give a point the name of a net: "port" draws an open dot, "ground" and "supply" their symbols."""
        self.names.append((name, point))
        words = name if words is None else words
        if symbol == "ground":
            self.drawing.add(elm.Ground().theta(0).at(point))
        elif symbol == "supply":
            self.drawing.add(elm.Vdd().theta(0).at(point))
            self.text(point[0], point[1] + 0.55, words, "center")
        else:
            self.drawing.add(elm.Dot(open=True).at(point))
            dx, dy = {"right": (0.25, 0), "left": (-0.25, 0), "above": (0, 0.35), "below": (0, -0.35)}[side]
            self.text(point[0] + dx, point[1] + dy, words, {"right": "left", "left": "right"}.get(side, "center"))

    def finish(self) -> str:
        """Draw the dots where lines meet, and return the SVG."""
        for point, count in self._meetings().items():
            if count > 2:
                self.drawing.add(elm.Dot(radius=0.06).at(point))
        self.drawing.draw(show=False)
        # The text is as the library writes it, with exactly one line feed at the end.
        return self.drawing.get_imagedata("svg").decode("utf-8").rstrip() + "\n"

    def nets(self):
        """Return the groups of connected terminals and names, each as a set of (reference, number) and names."""
        points = [*self.terminals.items(), *(((name,), point) for name, point in self.names)]
        groups = {index: {index} for index in range(len(self.wires))}

        def touches(first, second):
            return any(_on(point, second) for point in first) or any(_on(point, first) for point in second)

        for one in range(len(self.wires)):
            for other in range(one):
                if touches(self.wires[one], self.wires[other]) and groups[one] is not groups[other]:
                    groups[one] |= groups[other]
                    for index in groups[one]:
                        groups[index] = groups[one]
        found = {}
        for key, point in points:
            wire = next((index for index, ends in enumerate(self.wires) if _on(point, ends)), None)
            place = ("point", point) if wire is None else ("wire", min(groups[wire]))
            found.setdefault(place, set()).add(key)
        # The same name at several places is one net.
        merged = []
        for group in found.values():
            for other in [o for o in merged if any(len(key) == 1 and key in o for key in group)]:
                group |= other
                merged.remove(other)
            merged.append(group)
        return merged

    def _meetings(self):
        counts = {}
        ends = [point for wire in self.wires for point in wire] + list(self.terminals.values()) + self.halves
        for point in ends:
            counts[point] = counts.get(point, 0) + 1
        for point in counts:
            counts[point] += 2 * sum(1 for wire in self.wires if _on(point, wire) and point not in wire)
        return counts

    def _terminal(self, reference, number, point):
        self.terminals[(reference, number)] = point

    def _name(self, part, x, y, side):
        value = _short(part.value)
        if side in ("right", "left"):
            dx = 0.42 if side == "right" else -0.52
            align = "left" if side == "right" else "right"
            self.text(x + dx, y + 0.2, part.reference, align)
            self.text(x + dx, y - 0.2, value, align)
        else:
            self.text(x, y + (0.5 if side == "above" else -0.8), f"{part.reference} {value}", "center")


def _short(value):
    """The value as it is drawn; long names of devices lose words that their symbol says."""
    return {
        "NPN transistor": "NPN", "PNP transistor": "PNP", "N-channel MOSFET": "N-MOSFET",
        "small-signal diode": "signal", "Schottky diode": "Schottky", "36 V zener diode": "36 V", "red LED": "red LED",
    }.get(value, value)  # fmt: skip


def _on(point, ends):
    """Whether a point lies on a horizontal or vertical line."""
    (x1, y1), (x2, y2) = ends
    near = 1e-3
    return min(x1, x2) - near <= point[0] <= max(x1, x2) + near and min(y1, y2) - near <= point[1] <= max(y1, y2) + near
