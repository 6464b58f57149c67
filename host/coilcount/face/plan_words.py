"""Words and paragraphs that the short and the long form of a plan share."""

import textwrap
from collections.abc import Sequence

from coilcount.face.console import SafeConsole
from coilcount.model.plan import CapacitorChoice
from coilcount.model.plan_answer import Depth

WIDEST, PLAIN_WIDTH = 100, 80
LABEL = 11  # columns of the label in front of a paragraph
# What each noise class of an oscillator stands for, in one sentence.
CLASS_WORDS = {
    "careful": "regulated supply, C0G capacitor, shielded coil, gain just above start",
    "typical": "a first build without this care, ten times as noisy",
    "poor": "polyester or X7R capacitor, unregulated 9 V battery, in the sun, five times as noisy as typical",
}
CLASS_ORIGIN = (
    "The classes are estimates of flicker noise and of the surroundings, which the circuit simulation leaves out. "
    "Thermal and shot noise of the default oscillator alone give h0 = 2e-19/Hz (circuit simulation), careful has 2e-16."
)


def parts_words(choice: CapacitorChoice) -> str:
    """Name the capacitors of a choice: "100 + 82 nF"."""
    sign = {"parallel": " + ", "series": " in series with ", "one": ""}[choice.how]
    return sign.join(f"{part:.4g}" for part in choice.parts_nf) + " nF"


def depth_words(depth: Depth | None, with_range: bool = True) -> str:
    """Write a depth as "12 (11-14)", in cm; "no" if the object is not found at the surface either."""
    if depth is None:
        return ""
    if depth.depth_cm is None:
        return "no" if depth.high_cm is None or not with_range else f"no (0-{depth.high_cm:.0f})"
    likely = f"{'>' if depth.beyond else ''}{depth.depth_cm:.0f}"
    if not with_range:
        return likely
    return f"{likely} ({0 if depth.low_cm is None else depth.low_cm:.0f}-{depth.high_cm:.0f})"


def paragraph(console: SafeConsole, label: str, lines: Sequence[str], apart: bool = True) -> None:
    """Print a paragraph with its label in front.  apart: with an empty line before it."""
    if apart:
        console.print()
    for i, line in enumerate(lines):
        head = label if i == 0 else ""
        text = textwrap.fill(
            line,
            console.width,
            initial_indent=f"{head:<{LABEL}}",
            subsequent_indent=" " * LABEL,
            break_on_hyphens=False,
        )
        console.print(text)
