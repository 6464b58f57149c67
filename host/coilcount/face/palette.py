"""The colours of the live screen: a standard theme for every terminal, and one for bright light.

Hues are those of M. Okabe and K. Ito, "Color Universal Design" (2008), blue and vermillion, which every kind of colour
vision tells apart.  Their lightness is changed so that each colour has a contrast of at least 4.5:1 on black and on
white (W3C, WCAG 2.1, success criterion 1.4.3): a terminal may have either.
"""

from dataclasses import dataclass

from rich.style import Style

BLUE, VERMILLION, GREY = "#007ABE", "#BF5500", "#767676"
SIGN_COLOUR = {1: BLUE, -1: VERMILLION, 0: ""}  # of a table's rows, by the sign of the shift
# On white alone they can be darker: 7:1 and more.
DARK_BLUE, DARK_VERMILLION, DARK_GREY = "#00528A", "#8A3300", "#4A4A4A"


@dataclass(frozen=True, slots=True)
class Palette:
    """Styles by what they say.  base: of the whole screen; rise, fall: by the sign; quiet: what matters less."""

    base: Style
    rise: Style
    fall: Style
    quiet: Style
    strong: Style
    warning: Style

    def sign(self, sign: int) -> Style:
        """The style of a rise (1), a fall (-1), or of neither (0)."""
        return {1: self.rise, -1: self.fall, 0: self.strong}[sign]


THEMES = {
    "standard": Palette(
        base=Style(),
        rise=Style(color=BLUE, bold=True),
        fall=Style(color=VERMILLION, bold=True),
        quiet=Style(color=GREY),
        strong=Style(bold=True),
        warning=Style(bold=True, reverse=True),
    ),
    # In the sun a dark screen is a mirror: black on white, nothing thin or grey.
    "bright": Palette(
        base=Style(color="#000000", bgcolor="#FFFFFF", bold=True),
        rise=Style(color=DARK_BLUE, bgcolor="#FFFFFF", bold=True),
        fall=Style(color=DARK_VERMILLION, bgcolor="#FFFFFF", bold=True),
        quiet=Style(color=DARK_GREY, bgcolor="#FFFFFF"),
        strong=Style(color="#000000", bgcolor="#FFFFFF", bold=True),
        warning=Style(color="#FFFFFF", bgcolor="#000000", bold=True),
    ),
}
