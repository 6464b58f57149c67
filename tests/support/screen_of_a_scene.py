"""The real live screen at a moment of a simulated scene: session, chain, readout and drawing, no terminal, no clock.

python tests/support/screen_of_a_scene.py             draws host/live-screen.svg again
python tests/support/screen_of_a_scene.py 80 24       prints the screen at that size
"""

import io
import sys
from pathlib import Path

from coilcount.chain import Chain
from coilcount.face.screen import draw
from coilcount.live.readout import Readout
from coilcount.live.session import Session
from coilcount.model import Header
from coilcount.settings import defaults
from coilcount.simulate.lines import entries
from coilcount.simulate.load import load_scene
from rich.console import Console, Group
from rich.terminal_theme import TerminalTheme

PICTURE = Path(__file__).parents[2] / "host/live-screen.svg"
COLUMNS, ROWS = 100, 30
SCENE, SECONDS = "demo", 15.0
STEP_S = 0.1
_THEME = TerminalTheme((16, 16, 16), (230, 230, 230), [(0, 0, 0)] * 8)
# rich's own template loads fonts from the network; this one takes the reader's.
_FORMAT = """\
<svg xmlns="http://www.w3.org/2000/svg" xml:space="preserve" viewBox="0 0 {width} {height}"
role="img" aria-label="The live screen">
<style>{styles}
.{unique_id}-matrix {{font-family: Menlo, Consolas, "DejaVu Sans Mono", monospace; font-size: {char_height}px;
line-height: {line_height}px; white-space: pre;}}</style>
<defs>{lines}</defs>
<rect width="{width}" height="{height}" fill="#101010"/>
<g transform="translate({terminal_x}, {terminal_y})">{backgrounds}<g class="{unique_id}-matrix">{matrix}</g></g>
</svg>
"""


class SceneLines:
    """Not a port: hands over what a scene's board has sent by now."""

    problem = ""
    reconnections = 0

    def __init__(self, scene: str, clock) -> None:
        self._entries = iter(entries(load_scene(scene), None))
        self._clock = clock
        self._next = next(self._entries)

    def read(self, wait_s: float) -> list:
        found = []
        while self._next is not None and self._next.host_s <= self._clock():
            found.append(self._next)
            self._next = next(self._entries, None)
        return found

    def close(self) -> list:
        return []


def readout_at(scene: str, seconds: float) -> Readout:
    """The content of the screen after the given number of seconds of the scene."""
    now = [0.0]
    readout = Readout()
    facts = readout.facts
    facts.title, facts.simulated, facts.file = f"scene {scene}", True, "field.ccap"
    session = Session(
        link=SceneLines(scene, lambda: now[0]), chain=Chain(defaults(), points=True), readout=readout, views=[],
        clock=lambda: now[0], header=Header("virtual", "2025-09-27T08:15:00Z", simulated=True),
    )  # fmt: skip
    while now[0] < seconds:
        now[0] = round(now[0] + STEP_S, 3)
        session.step(0.0)
    return readout


def svg() -> str:
    """The picture of the README."""
    console = Console(width=COLUMNS, height=ROWS, record=True, file=io.StringIO(), force_terminal=True,
                      color_system="truecolor")  # fmt: skip
    console.print(Group(*draw(readout_at(SCENE, SECONDS), COLUMNS, ROWS)), end="")
    return console.export_svg(title="", theme=_THEME, code_format=_FORMAT, unique_id="live")


if __name__ == "__main__":
    if len(sys.argv) > 2:
        size = int(sys.argv[1]), int(sys.argv[2])
        print(*(line.plain.rstrip() for line in draw(readout_at(SCENE, SECONDS), *size)), sep="\n")
    else:
        PICTURE.write_text(svg(), encoding="utf-8")
