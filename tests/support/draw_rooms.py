"""Draws the rooms of the host and who imports whom, as an SVG: `python tests/support/draw_rooms.py host/rooms.svg`.

The arrows come from the import statements of today's code, not from a list that somebody keeps.
A room is a package or a module directly under host/coilcount, and protocol/coilwire.
"""

import ast
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HOST = ROOT / "host" / "coilcount"
WIRE = ROOT / "protocol" / "coilwire"

# Nearly every room imports these: their arrows would hide the others.
COMMON = ("model", "errors", "text", "new_files", "schema", "settings")
# Imports every room, so its arrows would say nothing.
WIRING = "commands"

# Pixels of the drawing, chosen by hand.
BOX_WIDTH, BOX_HEIGHT, BEND_WIDTH, GAP, FLOOR, MARGIN = 104, 34, 8, 26, 92, 24
BEND = "bend "  # begins the name of a bend, which no room has
FONT = "font-family='sans-serif' font-size='14'"


def rooms_of(root: Path = HOST, wire: Path = WIRE) -> dict[str, list[Path]]:
    """Room: its files.  `__init__.py` and `__main__.py` of the whole package are no room."""
    rooms: dict[str, list[Path]] = {}
    for path in sorted(root.rglob("*.py")):
        first = path.relative_to(root).parts[0]
        if not first.startswith("__"):
            rooms.setdefault(first.removesuffix(".py"), []).append(path)
    rooms["coilwire"] = sorted(wire.glob("*.py"))
    return rooms


def rooms_imported(path: Path, known: set[str]) -> set[str]:
    """The rooms that one file imports; imports inside functions count."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and not node.level:  # a relative import stays in its room
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        for name in names:
            first, _, rest = name.partition(".")
            found.add(rest.partition(".")[0] if first == "coilcount" else first)
    return found & known


def edges() -> dict[str, set[str]]:
    """Room: the other rooms that it imports."""
    rooms = rooms_of()
    known = set(rooms)
    return {
        room: set().union(*(rooms_imported(path, known) for path in files)) - {room} for room, files in rooms.items()
    }


def floors(drawn: dict[str, set[str]]) -> dict[str, int]:
    """Room: its floor; each room lies above all the rooms that it imports."""
    found: dict[str, int] = {}

    def floor(room: str) -> int:
        if room not in found:
            found[room] = 1 + max((floor(other) for other in drawn[room]), default=-1)
        return found[room]

    for room in drawn:
        floor(room)
    return found


def without_detours(drawn: dict[str, set[str]]) -> dict[str, set[str]]:
    """Only the arrows that no chain of other arrows already implies."""

    def reached(room: str) -> set[str]:
        return drawn[room].union(*(reached(other) for other in drawn[room]))

    return {
        room: {other for other in others if not any(other in reached(third) for third in others)}
        for room, others in drawn.items()
    }


def with_bends(drawn: dict[str, set[str]], height_of: dict[str, int]) -> dict[str, list[str]]:
    """The same arrows, each over one floor at a time: a longer one gets a named bend on every floor between.

    So that no arrow runs behind a room.  Fills `height_of` with the floors of the bends.
    """
    steps: dict[str, list[str]] = {room: [] for room in drawn}
    for room, others in sorted(drawn.items()):
        for other in sorted(others):
            here = room
            for floor in range(height_of[room] - 1, height_of[other], -1):
                bend = f"{BEND}{room}>{other}>{floor}"
                height_of[bend] = floor
                steps[here].append(bend)
                steps[bend] = []
                here = bend
            steps[here].append(other)
    return steps


def svg() -> str:
    """The picture: the wiring on top, then the rooms by floor, and the common rooms at the bottom."""
    everything = edges()
    inner = {room: others for room, others in everything.items() if room not in COMMON and room != WIRING}
    inner = {room: others & set(inner) for room, others in inner.items()}
    height_of = floors(inner)
    steps = with_bends(without_detours(inner), height_of)
    top = max(height_of.values())
    rows = [sorted(name for name in steps if height_of[name] == floor) for floor in range(top + 1)]
    width = 2 * MARGIN + max(sum(_width(name) + GAP for name in row) for row in rows) - GAP
    height = 2 * MARGIN + (top + 2) * FLOOR + BOX_HEIGHT

    middles: dict[str, float] = {}  # x of the middle of each room and bend
    for row in rows:
        left = (width - sum(_width(name) + GAP for name in row) + GAP) / 2
        for name in by_neighbours(row, steps, middles):
            middles[name] = left + _width(name) / 2
            left += _width(name) + GAP

    def y_of(name: str) -> float:
        return MARGIN + (top + 1 - height_of[name]) * FLOOR

    out = [
        f"<svg xmlns='http://www.w3.org/2000/svg' width='{width:g}' height='{height:g}' "
        f"viewBox='0 0 {width:g} {height:g}'>",
        "<title>The rooms of the host, and who imports whom</title>",
        "<defs><marker id='tip' viewBox='0 0 8 8' refX='8' refY='4' markerWidth='7' markerHeight='7' orient='auto'>"
        "<path d='M0,0 L8,4 L0,8 z' fill='#555555'/></marker></defs>",
        "<rect width='100%' height='100%' fill='#ffffff'/>",
        _wide(MARGIN, width, "commands: imports every room, inside its functions", "#E8F1F8"),
        _wide(height - MARGIN - BOX_HEIGHT, width, ", ".join(COMMON) + ": nearly every room imports these", "#F0F0F0"),
    ]
    for name, others in sorted(steps.items()):
        for other in others:
            tip = "" if other.startswith(BEND) else " marker-end='url(#tip)'"
            below = y_of(name) + BOX_HEIGHT
            if name.startswith(BEND):
                out.append(_line(middles[name], y_of(name), middles[name], below))
            out.append(_line(middles[name], below, middles[other], y_of(other), tip))
    out += [_box(middles[room] - BOX_WIDTH / 2, y_of(room), room) for room in sorted(inner)]
    return "\n".join([*out, "</svg>"]) + "\n"


def by_neighbours(row: list[str], steps: dict[str, list[str]], middles: dict[str, float]) -> list[str]:
    """A floor from left to right, ordered by the mean place of what each imports, so that fewer arrows cross."""

    def mean(name: str) -> float:
        return sum(middles[other] for other in steps[name]) / len(steps[name]) if steps[name] else 0.0

    return sorted(row, key=lambda name: (mean(name), name))


def _width(name: str) -> int:
    return BEND_WIDTH if name.startswith(BEND) else BOX_WIDTH


def _line(x1: float, y1: float, x2: float, y2: float, tip: str = "") -> str:
    return f"<line x1='{x1:g}' y1='{y1:g}' x2='{x2:g}' y2='{y2:g}' stroke='#555555'{tip}/>"


def _box(x: float, y: float, text: str) -> str:
    return (
        f"<rect x='{x:g}' y='{y:g}' width='{BOX_WIDTH}' height='{BOX_HEIGHT}' rx='4' fill='#ffffff' stroke='#0072B2'/>"
        f"<text x='{x + BOX_WIDTH / 2:g}' y='{y + 22:g}' text-anchor='middle' {FONT}>{text}</text>"
    )


def _wide(y: float, width: float, text: str, fill: str) -> str:
    return (
        f"<rect x='{MARGIN}' y='{y:g}' width='{width - 2 * MARGIN:g}' height='{BOX_HEIGHT}' rx='4' fill='{fill}'/>"
        f"<text x='{width / 2:g}' y='{y + 22:g}' text-anchor='middle' {FONT}>{text}</text>"
    )


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(svg(), encoding="utf-8")
