"""Reads the parts out of the netlists in this folder, and the bill of materials in parts.csv.

The netlists are the only place of a value.  The bill, the drawings and the tests are compared with what is read here.
`python firmware/hardware/parts.py` prints the parts of every circuit; with the name of a circuit, only its parts.
It runs on a computer and is not installed on a board.
"""

import csv
import os
import re
import sys
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
# Kinds of part by the first letter of the name in the netlist, and the number of nodes before the value.
NODES = {"R": 2, "C": 2, "L": 2, "D": 2, "Q": 3}
UNITS = {"R": "ohm", "C": "F", "L": "H"}
# SPICE reads m as milli and Meg as mega.
POWERS = {"": 0, "p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "meg": 6}
# The generic devices of models.lib, in the words of the bill of materials.
DEVICES = {
    "npn": "NPN transistor",
    "pnp": "PNP transistor",
    "signal_diode": "small-signal diode",
    "schottky": "Schottky diode",
    "red_led": "red LED",
    "zener_36": "36 V zener diode",
    "nmosfet": "N-channel MOSFET",
    "shunt_reference": "2.5 V shunt reference",
    "schmitt_inverter": "74HC14",
    "comparator": "push-pull comparator",
    "regulator_5v": "5 V low-drop regulator",
}
COLUMNS = ("circuit", "reference", "value", "rating", "purpose", "replacement", "cost_eur")


@dataclass(frozen=True)
class Part:
    """One part of a circuit.

    reference: such as "R2"; value: as people write it, such as "2.2k", "100 nF" or "NPN transistor"; number: in ohm,
    farad or henry, None for a device; nodes: the names of the nodes in the order of the netlist.
    """

    circuit: str
    reference: str
    value: str
    number: float | None
    nodes: tuple[str, ...]


def circuits(folder: Path = FOLDER) -> list[str]:
    """Return the names of the circuits, which are the names of the netlists without .cir."""
    return sorted(path.stem for path in folder.glob("*.cir"))


def read_netlist(circuit: str, folder: Path = FOLDER) -> dict[str, Part]:
    """Return the parts of a circuit by reference, in the order of the netlist.

    A value in braces is the default of the circuit's parameter.  The two halves of a tapped coil (L1A, L1B and their
    resistances) are one part, L1, without a number.
    Raises ValueError for a line that is no part and no comment.
    """
    found = {}
    text = (folder / f"{circuit}.cir").read_text(encoding="utf-8")
    for name, default in re.findall(r"(\w+)=(\S+)", re.search(r"^\.subckt.*$", text, re.MULTILINE)[0]):
        text = text.replace(f"{{{name}}}", default)
    for line in text.splitlines():
        words = line.split()
        if not words or line.startswith("*") or words[0].lower() in (".subckt", ".ends") or words[0].startswith("K"):
            continue
        part = _part(circuit, words)
        if part is not None:
            if part.reference in found:
                raise ValueError(f"{circuit}.cir: {part.reference} occurs twice")
            found[part.reference] = part
    return found


def _part(circuit: str, words: list[str]) -> Part | None:
    name, rest = words[0], words[1:]
    if name in ("R1A", "R1B", "L1B"):  # these belong to the coil, L1
        return None
    if name == "L1A":
        return Part(circuit, "L1", "search coil with centre tap", None, ("end_a", "tap", "end_b"))
    if name[0] == "X":  # a device that is a subcircuit: XU1 is U1, XQ31 is Q31
        return Part(circuit, name[1:], DEVICES[rest[-1]], None, tuple(rest[:-1]))
    if name.startswith("RF"):  # a fuse
        return Part(circuit, name[1:], "fuse", spice_number(rest[2]), tuple(rest[:2]))
    if name[0] not in NODES or len(rest) != NODES[name[0]] + 1:
        raise ValueError(f"{circuit}.cir: not a part: {' '.join(words)}")
    nodes, value = tuple(rest[:-1]), rest[-1]
    if name[0] in UNITS:
        number = spice_number(value)
        return Part(circuit, name, written(number, UNITS[name[0]]), number, nodes)
    return Part(circuit, name, DEVICES[value], None, nodes)


def spice_number(text: str) -> float:
    """Return the number that SPICE reads in `text`, such as "2.2k" or "2.2Meg".  Raises ValueError."""
    match = re.fullmatch(r"([0-9.]+)(meg|[pnumk]?)", text.lower())
    if not match:
        raise ValueError(f"not a value: {text}")
    return float(f"{match[1]}e{POWERS[match[2]]}")


def written(number: float, unit: str) -> str:
    """Return a value as the pages and drawings write it: 330, 2.2k and 2.2M are ohm; 4.7 nF, 100 uF, 1 mH."""
    steps = ((1e6, "M"), (1e3, "k"), (1.0, "")) if unit == "ohm" else ((1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"))
    if unit == "F":  # 1000 uF is usual, and 1 mF is not
        steps = tuple(step for step in steps if step[1] != "m")
    for factor, prefix in steps:
        if number >= 0.9999 * factor:
            return f"{number / factor:.4g}{prefix}" if unit == "ohm" else f"{number / factor:.4g} {prefix}{unit}"
    prefix, factor = ("", 1.0) if unit == "ohm" else ("p", 1e-12)
    return f"{number / factor:.4g}{prefix}" if unit == "ohm" else f"{number / factor:.4g} {prefix}{unit}"


def all_parts(folder: Path = FOLDER) -> dict[tuple[str, str], Part]:
    """Return every part of every netlist by circuit and reference."""
    return {(name, part.reference): part for name in circuits(folder) for part in read_netlist(name, folder).values()}


def read_bill(path: Path = FOLDER / "parts.csv") -> list[dict[str, str]]:
    """Return the rows of the bill of materials, with the keys of COLUMNS."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    if not rows or tuple(rows[0]) != COLUMNS:
        raise ValueError(f"{path.name}: the columns must be {', '.join(COLUMNS)}")
    return rows


def main(wanted: list[str]) -> int:
    """Print the bill of the wanted circuits, or of all."""
    rows = read_bill()
    names = list(dict.fromkeys(row["circuit"] for row in rows))
    unknown = [name for name in wanted if name not in names]
    if unknown:
        print(f"no circuit {unknown[0]}; there are {', '.join(names)}", file=sys.stderr)
        return 2
    lines = []
    for name in wanted or names:
        chosen = [row for row in rows if row["circuit"] == name]
        lines.append(f"{name}: about {sum(float(row['cost_eur']) for row in chosen):.2f} EUR")
        for row in chosen:
            lines.append(f"  {row['reference']:4} {row['value']}")
            lines.append(f"       {row['purpose']}.")
            lines.append(f"       Rating: {row['rating']}. Instead: {row['replacement']}.")
    print_lines(lines)
    return 0


def print_lines(lines: list[str]) -> None:
    """Print lines on standard output.  If its reader has gone (`| head`), the rest is discarded without an error."""
    try:
        print("\n".join(lines), flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
