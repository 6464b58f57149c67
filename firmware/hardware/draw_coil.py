"""Draws the search coil: `python firmware/hardware/draw_coil.py` writes drawings/coil.svg.

It is no schematic, so it is plain SVG.  Sizes that depend on the plan are named and not drawn to scale.
"""

import sys
from math import cos, radians, sin
from pathlib import Path

FOLDER = Path(__file__).resolve().parent / "drawings"
WIDTH, HEIGHT = 980, 560
MIDDLE = (270, 270)  # of the coil seen from above, in pixels
RING, FORMER, GAP_DEGREES = 170, 190, 5
COPPER, FOIL, WOOD, TAPE, INK, NOTE = "#b5651d", "#9aa7b0", "#ead9bd", "#7aa05a", "#222", "#1f4f8f"


def polar(radius, degrees):
    """A point at an angle; 0 is to the right, 90 is down."""
    return MIDDLE[0] + radius * cos(radians(degrees)), MIDDLE[1] + radius * sin(radians(degrees))


def text(x, y, words, anchor="start", colour=INK, bold=False):
    weight = ' font-weight="bold"' if bold else ""
    lines = words.split("\n")
    spans = "".join(f'<tspan x="{x}" dy="{0 if k == 0 else 17}">{line}</tspan>' for k, line in enumerate(lines))
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="{colour}"{weight}>{spans}</text>'


def arrow(x1, y1, x2, y2):
    return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="{NOTE}" stroke-width="1.3" marker-end="url(#tip)"/>'


def from_above():
    """The coil, its shield with the slot, and the head with capacitor and cable."""
    x, y = MIDDLE
    (x1, y1), (x2, y2) = polar(RING, -90 + GAP_DEGREES), polar(RING, -90 - GAP_DEGREES)
    yield text(20, 30, "From above", bold=True)
    yield f'<circle cx="{x}" cy="{y}" r="{FORMER - 20}" fill="none" stroke="{WOOD}" stroke-width="46"/>'
    yield f'<circle cx="{x}" cy="{y}" r="{RING}" fill="none" stroke="{COPPER}" stroke-width="10"/>'
    yield (
        f'<path d="M{x1:.1f} {y1:.1f}A{RING} {RING} 0 1 1 {x2:.1f} {y2:.1f}" fill="none" stroke="{FOIL}" '
        'stroke-width="24" stroke-opacity="0.75"/>'
    )
    # The mean diameter.
    yield f'<path d="M{x - RING} {y}L{x + RING} {y}" stroke="{INK}" stroke-dasharray="5 4"/>'
    yield text(x, y - 10, "mean diameter of the plan", "middle")
    # The head.
    yield f'<rect x="{x - 62}" y="{y + RING - 12}" width="124" height="86" rx="8" fill="white" stroke="{INK}"/>'
    yield text(x, y + RING + 12, "head", "middle")
    plates = f"M{x - 34} {y + RING + 36}h26m0 -14v28m14 -28v28m0 -14h26"
    yield f'<path d="{plates}" stroke="{INK}" stroke-width="2" fill="none"/>'
    yield text(x, y + RING + 68, "C1", "middle")
    yield text(x - 46, y + RING + 41, "a", "middle")
    yield text(x + 46, y + RING + 41, "b", "middle")
    yield f'<path d="M{x} {y + RING + 74}v42" stroke="{INK}" stroke-width="9"/>'
    yield f'<path d="M{x} {y + RING + 74}v42" stroke="{FOIL}" stroke-width="4"/>'
    # Notes.
    yield arrow(x + 92, 62, x + 12, y - RING - 8)
    yield text(x + 96, 56, "slot of 5 mm in the shield:", colour=NOTE)
    yield text(x + 96, 73, "its ends must never touch", colour=NOTE)
    yield arrow(84, 112, *polar(RING + 8, -140))
    yield text(12, 90, "shield: foil on tape,", colour=NOTE)
    yield text(12, 107, "all around but the slot", colour=NOTE)
    yield arrow(x + 150, y + RING + 60, x + 8, y + RING + 98)
    words = "cable W1: end a, end b and tap;\nits shield to ground and"
    words += "\nto the coil's shield, at one point"
    yield text(x + 154, y + RING + 56, words, colour=NOTE)
    yield arrow(118, y + RING + 62, x - 14, y + RING + 50)
    yield text(10, y + RING + 48, "C1 across the\nends, here and\nnot at the board", colour=NOTE)


def cut_through():
    """A cut through winding and shield, and the order of the windings."""
    x, y = 720, 170
    yield text(600, 30, "Cut through the winding", bold=True)
    yield f'<rect x="{x - 90}" y="{y + 40}" width="180" height="60" fill="{WOOD}" stroke="{INK}"/>'
    for inset, colour in ((0, FOIL), (8, TAPE)):
        yield (
            f'<rect x="{x - 40 + inset}" y="{y - 34 + inset}" width="{80 - 2 * inset}" '
            f'height="{74 - 2 * inset}" rx="12" fill="none" stroke="{colour}" stroke-width="7"/>'
        )
    for row in range(5):
        for column in range(5):
            colour = COPPER if row < 2 or (row == 2 and column < 3) else "#d9a066"
            yield f'<circle cx="{x - 20 + 10 * column}" cy="{y - 15 + 10 * row}" r="4.6" fill="{colour}"/>'
    yield arrow(x + 112, y - 46, x + 16, y - 10)
    yield text(x + 116, y - 44, "turns, first half\nand second half", colour=NOTE)
    yield arrow(x + 112, y + 12, x + 36, y + 8)
    yield text(x + 116, y + 14, "tape, 1 mm or more", colour=NOTE)
    yield arrow(x + 112, y + 44, x + 46, y + 26)
    yield text(x + 116, y + 48, "foil", colour=NOTE)
    yield text(x, y + 75, "former: no metal", "middle")
    yield text(600, 320, "Order", bold=True)
    yield text(600, 345, "1  Wind half of the turns: end a, then on to the tap.")
    yield text(600, 367, "2  Make a loop of 15 cm in the wire: the tap.")
    yield text(600, 389, "3  Wind the other half the same way round: end b.")
    yield text(600, 411, "4  Measure. Then tape, foil with its slot, tape.")
    yield text(600, 445, "Not to scale. No hardware has been built.", colour="#666")


def svg():
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}" '
        'font-family="sans-serif" font-size="14">\n<rect width="100%" height="100%" fill="white"/>\n'
        '<defs><marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="7" markerHeight="7" orient="auto">'
        f'<path d="M0 0L10 5L0 10z" fill="{NOTE}"/></marker></defs>\n'
    )
    return head + "\n".join([*from_above(), *cut_through()]) + "\n</svg>\n"


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    (folder / "coil.svg").write_text(svg(), encoding="utf-8")
