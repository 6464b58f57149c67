"""Text that can be read from two metres: letters of block characters, five dots high.

Drawn for this project on a grid of dots.  Two dots share a character cell in the small size (three rows of text); in
the large size a dot is two cells wide and one high (five rows of text).
"""

# Only what the readout says: capitals, digits and signs.  Rows from the top, "#" is a dot.
_GLYPHS = {
    " ": (" ",) * 5,
    "A": (" ## ", "#  #", "####", "#  #", "#  #"),
    "B": ("### ", "#  #", "### ", "#  #", "### "),
    "C": (" ###", "#   ", "#   ", "#   ", " ###"),
    "D": ("### ", "#  #", "#  #", "#  #", "### "),
    "E": ("####", "#   ", "### ", "#   ", "####"),
    "F": ("####", "#   ", "### ", "#   ", "#   "),
    "G": (" ###", "#   ", "# ##", "#  #", " ###"),
    "H": ("#  #", "#  #", "####", "#  #", "#  #"),
    "I": ("#", "#", "#", "#", "#"),
    "K": ("#  #", "# # ", "##  ", "# # ", "#  #"),
    "L": ("#  ", "#  ", "#  ", "#  ", "###"),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "N": ("#  #", "## #", "# ##", "#  #", "#  #"),
    "O": (" ## ", "#  #", "#  #", "#  #", " ## "),
    "P": ("### ", "#  #", "### ", "#   ", "#   "),
    "R": ("### ", "#  #", "### ", "# # ", "#  #"),
    "S": (" ###", "#   ", " ## ", "   #", "### "),
    "T": ("###", " # ", " # ", " # ", " # "),
    "U": ("#  #", "#  #", "#  #", "#  #", " ## "),
    "V": ("# #", "# #", "# #", "# #", " # "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", "###", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    "+": ("   ", " # ", "###", " # ", "   "),
    "-": ("  ", "  ", "##", "  ", "  "),
    ".": (" ", " ", " ", " ", "#"),
    "▲": ("     ", "  #  ", " ### ", "#####", "     "),
    "▼": ("     ", "#####", " ### ", "  #  ", "     "),
    "?": ("###", "  #", " ##", "   ", " # "),
}
SMALL_ROWS, LARGE_ROWS = 3, 5
_HALVES = {(" ", " "): " ", ("#", " "): "▀", (" ", "#"): "▄", ("#", "#"): "█"}


def width(text: str, large: bool = False) -> int:
    """How many columns big(text) takes."""
    dots = sum(len(_glyph(letter)[0]) for letter in text) + max(0, len(text) - 1)
    return 2 * dots if large else dots


def big(text: str, large: bool = False) -> list[str]:
    """The rows of `text`, all of the same width: SMALL_ROWS of them, or LARGE_ROWS."""
    dots = [" ".join(_glyph(letter)[row] for letter in text) for row in range(5)]
    if large:
        return ["".join(2 * ("█" if dot == "#" else " ") for dot in row) for row in dots]
    dots.append(" " * len(dots[0]))
    pairs = [zip(dots[row], dots[row + 1], strict=True) for row in range(0, 2 * SMALL_ROWS, 2)]
    return ["".join(_HALVES[pair] for pair in row) for row in pairs]


def _glyph(letter: str) -> tuple[str, ...]:
    return _GLYPHS.get(letter, _GLYPHS["?"])
