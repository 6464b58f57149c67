"""Places the default circuits on stripboard.  `python firmware/hardware/stripboard.py` prints the list and draws it.

Each strip is a row and carries one net.  Each part stands across the strips, in a column of its own.  The order of the
strips was chosen by hand, so that the legs of transistors are on neighbouring strips.  The columns are packed here.
`connections()` works out from holes, strips, cuts and links what is connected; a test compares that with the netlists.
"""

import sys
from itertools import pairwise
from pathlib import Path

from parts import print_lines, read_netlist

FOLDER = Path(__file__).resolve().parent / "drawings"
CIRCUITS = ("oscillator-pair", "input-schmitt", "supply")
# Net of each strip, from top to bottom; "" is left empty, to give the neighbouring parts room.
STRIPS = (
    "couple_b", "", "end_a", "base_a", "emitters", "base_b", "end_b", "", "couple_a", "bias", "tail_base",
    "q4_emitter", "gnd", "tail_emitter", "tail_base", "emitters", "reference", "", "gnd", "vcc", "", "five", "gnd",
    "input", "", "fused", "", "battery_plus", "", "vsys", "end_a", "", "series", "", "coupled", "", "node", "",
    "clamp_up", "", "mid", "", "clamp_down", "", "vdd", "gate", "out", "gnd", "pin 4", "gnd", "pin 6", "gnd", "pin",
    "gnd",
)  # fmt: skip
# Nodes of the netlists that are one net on the board.
SAME = {("supply", "oscillator"): "vcc", ("supply", "battery_minus"): "gnd", ("input-schmitt", "coil"): "end_a"}
# Nets of the strips on the right of the chip, from its pin 14 down to pin 8.
CHIP = "U51"
CHIP_LEFT = ("gate", "out", "gnd", "pin 4", "gnd", "pin 6", "gnd")
CHIP_RIGHT = ("vdd", "gnd", "pin 12", "gnd", "pin 10", "gnd", "pin 8")
# Wires that leave the board: words, net, and which of its strips (0 is the first).
WIRES = (
    ("coil end a", "end_a", 0), ("coil end b", "end_b", 0), ("tap", "vcc", 0), ("cable shield", "gnd", 0),
    ("switch, battery +", "battery_plus", 0), ("battery -", "gnd", 2), ("VSYS", "vsys", 0), ("3V3 OUT", "vdd", 0),
    ("GP15", "pin", 0), ("GND of the board", "gnd", -1),
)  # fmt: skip
LEGS = {"NPN transistor": "CBE", "2.5 V shunt reference": "KA", "5 V low-drop regulator": ("in", "out", "gnd")}
FIRST_COLUMN, STEP = 4, 2  # columns before the first are for wires; parts need the room of two columns


class Board:
    """The placement.

    holes: by (reference, terminal of the netlist) or ("wire", words): (row, column), both from 1; links: pairs of
    holes; cuts: holes whose strip is cut there.
    """

    def __init__(self):
        self.parts = {name: part for circuit in CIRCUITS for name, part in read_netlist(circuit).items()}
        self.holes, self.links, self.cuts = {}, [], []
        self._taken = {}  # column: rows that are covered
        strips = [(row, net) for row, net in enumerate(STRIPS, 1) if net]
        self._rows = {}
        for row, net in strips:
            self._rows.setdefault(net, []).append(row)
        self.chip_row = STRIPS.index("gate") + 1
        self._place_all()

    def net_of(self, part, number):
        """The net of a part's terminal on this board."""
        node = part.nodes[number]
        return SAME.get((part.circuit, node), node)

    def _place_all(self):
        for words, net, which in WIRES:
            row = self._rows[net][which]
            self.holes[("wire", words)] = (row, 1 if (row, 1) not in self.holes.values() else 2)
        placed = {}
        for name, part in self.parts.items():
            if name not in (CHIP, "C53"):
                placed[name] = self._nearest_rows([self.net_of(part, k) for k in range(len(part.nodes))])
        for net, rows in self._rows.items():  # strips of the same net are joined by links
            for upper, lower in pairwise(rows):
                placed[("link", net, upper)] = [upper, lower]
        # The transistors come first, so that the pairs of equal temperature stand beside each other.
        for key, rows in sorted(placed.items(), key=lambda item: (item[0][0] != "Q", min(item[1]), str(item[0]))):
            columns = self._free_columns(rows, key)
            if isinstance(key, tuple):
                self.links.append(((rows[0], columns[0]), (rows[1], columns[1])))
            else:
                for number, (row, column) in enumerate(zip(rows, columns, strict=True)):
                    self.holes[(key, number)] = (row, column)
        self._place_chip(max(self._taken) + 2)

    def _place_chip(self, column):
        left, right = column, column + 3
        self.columns = right + 7  # the last part stands at right + 6
        for pin in range(7):
            self.cuts.append((self.chip_row + pin, left + 1))
        self.chip = (left, right)
        # Terminals of the netlist: input, output, supply, ground.
        for number, hole in enumerate(((0, left), (1, left), (0, right), (6, left))):
            self.holes[(CHIP, number)] = (self.chip_row + hole[0], hole[1])
        top, gnd = self.chip_row, [self.chip_row + k for k in range(7) if CHIP_RIGHT[k] == "gnd"]
        self.links.append(((top - 1, right + 1), (top, right + 1)))
        for k, (upper, lower) in enumerate(zip(gnd, [*gnd[1:], self._rows["gnd"][-1]], strict=True)):
            self.links.append(((upper, right + 2 + k), (lower, right + 2 + k)))
        for number, row in ((0, top), (1, top + 1)):
            self.holes[("C53", number)] = (row, right + 6)

    def _nearest_rows(self, nets):
        """The strips of the nets that are nearest to each other; two parts of a pair need different strips."""
        choices = [[]]
        for net in nets:
            choices = [[*rows, row] for rows in choices for row in self._rows[net]]

        def cost(rows):
            span = max(rows) - min(rows)
            return (abs(span - 3) if len(rows) == 2 else span, rows)

        return min((rows for rows in choices if len(set(rows)) > 1), key=cost)

    def _free_columns(self, rows, key):
        """A column for a part that covers its rows; two legs on one strip get neighbouring columns."""
        double = len(set(rows)) < len(rows)
        covered = set(range(min(rows), max(rows) + 1))
        column = FIRST_COLUMN
        while any(covered & self._taken.get(c, set()) for c in (column, column + (STEP if double else 0))):
            column += STEP
        for c in (column, column + STEP) if double else (column,):
            self._taken.setdefault(c, set()).update(covered)
        columns, used = [], set()
        for row in rows:
            columns.append(column + 1 if row in used else column)
            used.add(row)
        return columns

    def connections(self):
        """Return the groups of terminals and wires that strips, cuts and links connect."""
        segments = {}
        for row in range(1, len(STRIPS) + 1):
            start = 1
            for cut in [*sorted(c for r, c in self.cuts if r == row), self.columns + 1]:
                for column in range(start, cut):
                    segments[(row, column)] = (row, start)
                start = cut + 1
        parent = {segment: segment for segment in segments.values()}

        def root(segment):
            while parent[segment] != segment:
                segment = parent[segment]
            return segment

        for first, second in self.links:
            parent[root(segments[first])] = root(segments[second])
        groups = {}
        for key, hole in self.holes.items():
            groups.setdefault(root(segments[hole]), set()).add(key)
        return list(groups.values())

    def lines(self):
        """Return the placement as text: one line for each part, wire, link and cut."""
        yield f"stripboard of {len(STRIPS)} strips and {self.columns} columns, seen from the side of the parts"
        yield "row 1 is at the top, column 1 at the left; 2.54 mm from hole to hole"
        for name, part in self.parts.items():
            if name == CHIP:
                yield f"{name:5} {part.value:24} pin 1 at row {self.chip_row} column {self.chip[0]}, pin 14 opposite"
                continue
            legs = LEGS.get(part.value, "AK" if "diode" in part.value else "12")
            holes = [self.holes[(name, number)] for number in range(len(part.nodes))]
            text = ", ".join(f"{leg}: {row}/{column}" for leg, (row, column) in zip(legs, holes, strict=True))
            yield f"{name:5} {part.value:24} {text}"
        for words, net, _ in WIRES:
            row, column = self.holes[("wire", words)]
            yield f"wire  {words:24} {row}/{column} ({net})"
        for first, second in self.links:
            yield f"link  {first[0]}/{first[1]} to {second[0]}/{second[1]}"
        yield "cut   " + ", ".join(f"{row}/{column}" for row, column in self.cuts)


PITCH, LEFT, TOP = 20, 110, 40  # of the drawing, in pixels
COLOURS = {"R": "#e8d5a9", "C": "#f2c078", "D": "#d9d9d9", "Q": "#cfd8dc", "U": "#cfd8dc", "F": "#d5e8d4"}


def svg(board):
    """Draw the board from the side of the parts; the strips are seen through it."""
    width, height = LEFT + (board.columns + 1) * PITCH + 90, TOP + (len(STRIPS) + 1) * PITCH + 20
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
        'font-family="sans-serif" font-size="10">',
        '<rect width="100%" height="100%" fill="white"/>',
    ]

    def at(hole):
        return LEFT + hole[1] * PITCH, TOP + hole[0] * PITCH

    for row, net in enumerate(STRIPS, 1):
        x, y = at((row, 1))
        out.append(f'<rect x="{x - 8}" y="{y - 6}" width="{board.columns * PITCH - 4}" height="12" fill="#f6ece2"/>')
        x, _ = at((row, board.columns))
        out.append(f'<text x="{x + 12}" y="{y + 4}" fill="#666">{row} {net}</text>')
    for column in range(1, board.columns + 1):
        x, y = at((0, column))
        if column % 2 == 0:
            out.append(f'<text x="{x}" y="{y + 2}" text-anchor="middle" fill="#666">{column}</text>')
    for first, second in board.links:
        (x1, y1), (x2, y2) = at(first), at(second)
        out.append(f'<path d="M{x1} {y1}L{x2} {y2}" stroke="#1f6fb4" stroke-width="3"/>')
    left, right = board.chip
    (x, y), (x2, y2) = at((board.chip_row, left)), at((board.chip_row + 6, right))
    out.append(
        f'<rect x="{x - 5}" y="{y - 9}" width="{x2 - x + 10}" height="{y2 - y + 18}" fill="#cfd8dc" stroke="black"/>'
        f'<text x="{(x + x2) / 2 + 10}" y="{(y + y2) / 2}" text-anchor="middle">{CHIP}</text>'
        f'<text x="{(x + x2) / 2 + 10}" y="{(y + y2) / 2 + 13}" text-anchor="middle" font-size="8">'
        f"{board.parts[CHIP].value}</text>"
        f'<text x="{x + 5}" y="{y + 4}">1</text><text x="{x2 - 5}" y="{y + 4}" text-anchor="end">14</text>'
    )
    for cut in board.cuts:
        x, y = at(cut)
        out.append(f'<rect x="{x - 4}" y="{y - 6}" width="8" height="12" fill="white" stroke="#c00"/>')
    for name, part in board.parts.items():
        holes = [board.holes[(name, number)] for number in range(len(part.nodes))]
        if name == CHIP:
            continue
        rows, columns = [hole[0] for hole in holes], [hole[1] for hole in holes]
        x1, y1 = at((min(rows), min(columns)))
        x2, y2 = at((max(rows), max(columns)))
        middle = (x1 + x2) / 2, (y1 + y2) / 2
        for hole in holes:
            x, y = at(hole)
            out.append(f'<path d="M{x} {y}L{middle[0]} {middle[1]}" stroke="#555" stroke-width="1.5"/>')
        out.append(
            f'<rect x="{x1 - 7}" y="{y1 - 4}" width="{x2 - x1 + 14}" height="{y2 - y1 + 8}" rx="5" '
            f'fill="{COLOURS[name[0]]}" stroke="black"/>'
        )
        value = part.value if part.number is not None and name != "F81" else ""
        words = f"{name} {value}".strip() if y2 - y1 >= 3 * PITCH else name
        x, y = middle
        if len(holes) == 2 and y2 - y1 >= 2 * PITCH:
            out.append(f'<text transform="translate({x + 3.5} {y}) rotate(-90)" text-anchor="middle">{words}</text>')
        else:  # no room between the legs
            y += -14 if name == "Q4" else 4
            out.append(f'<text x="{x1 - 9}" y="{y}" text-anchor="end">{name}</text>')
        legs = LEGS.get(part.value, "AK" if "diode" in part.value else "")
        if not legs and (name in ("C83",)):
            legs = ("+", "")
        for leg, hole in zip(legs, holes, strict=False):
            x, y = at(hole)
            inside = name == "Q4" and leg != "B"
            x += -22 if inside else 9
            out.append(f'<text x="{x}" y="{y + 4}" font-size="9" fill="#a00">{leg}</text>')
    for hole in {*board.holes.values(), *(hole for link in board.links for hole in link)}:
        x, y = at(hole)
        out.append(f'<circle cx="{x}" cy="{y}" r="2.5"/>')
    for words, _, _ in WIRES:
        x, y = at(board.holes[("wire", words)])
        out.append(f'<path d="M{x} {y}L40 {y}" stroke="#2a7f2a" stroke-width="2"/>')
        out.append(f'<text x="4" y="{y - 4}" fill="#2a7f2a">{words}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


def main(folder):
    board = Board()
    print_lines(board.lines())
    (folder / "board.svg").write_text(svg(board), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
