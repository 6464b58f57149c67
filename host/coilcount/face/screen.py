"""The live screen: the readout laid out for a terminal, drawn with rich a few times a second.

draw() is pure: a Readout and a size in, lines out.  One Text a row: tables and layouts cost ten times as much.
"""

from typing import Self

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from coilcount.face import status_rows as rows
from coilcount.face.answer_rows import answer_rows
from coilcount.face.palette import THEMES, Palette
from coilcount.face.screen_help import help_lines
from coilcount.face.strip import strip_rows
from coilcount.live import readout as r
from coilcount.model import Alert, Output
from coilcount.text import printable

_AXIS = 11  # columns of the strip's scale
_LEAST_S = 0.1  # never more than ten redraws a second
_MOST_ALERTS = 20  # as many as the readout keeps
_MOST_STRIP = 14  # rows on each side of the strip's zero line


class Screen:
    """A view of the session on a terminal; use as a context manager."""

    part = "the screen"

    def __init__(self, readout: r.Readout, console: Console, redraw_hz: float) -> None:
        self._readout = readout
        self._console = console
        self._every_s = 1 / redraw_hz
        self._next_s = self._drawn_s = 0.0
        self._live = Live(
            console=console, screen=True, auto_refresh=False, redirect_stdout=False, redirect_stderr=False
        )

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    def show(self, output: Output) -> None:
        """An alert is drawn with the next step, not with the next turn."""
        if isinstance(output, Alert) and output.stage in ("raised", "settled"):
            self._next_s = min(self._next_s, self._drawn_s + _LEAST_S)

    def tick(self, host_s: float) -> None:
        """Redraw where it is time."""
        if host_s < self._next_s:
            return
        self._drawn_s = host_s
        self._next_s = host_s + self._every_s
        width, height = self._console.size
        lines = draw(self._readout, width, height, unicode=self._console.encoding.startswith("utf"))
        self._live.update(Group(*lines), refresh=True)


def draw(readout: r.Readout, width: int, height: int, unicode: bool = True) -> list[Text]:
    """At most `height` lines of at most `width` columns, the most important ones where there is little room.

    Which rows there are depends on the size alone, so that no row changes its place.
    """
    palette = THEMES[readout.facts.theme]
    top = [rows.title(readout, palette, width), *answer_rows(readout, palette, width, height)]
    quiet = [rows.now(readout, palette, width), rows.coil(readout), rows.baseline(readout, palette)]
    bottom = [
        rows.link(readout, palette, width), rows.board(readout), rows.soil(readout, palette, width),
        rows.alarms(readout, palette),
        rows.file(readout, palette), rows.note(readout, palette), rows.keys(palette, width),
    ]  # fmt: skip
    if height >= 30:
        top = [top[0], Text(), *top[1:], Text()]
    if readout.facts.help_shown:
        lines = [*top, *(Text(line) for line in help_lines())][:height]
    else:
        lines = _arranged(readout, palette, top, quiet, bottom, width, height)
    for line in lines:
        line.plain = printable(line.plain)  # what a board or a file name says must not move the cursor
        line.no_wrap = True
        line.overflow = "crop"
        line.truncate(width, pad=bool(palette.base.bgcolor))
        line.style = line.style or palette.base
        if not unicode:
            line.plain = _ascii(line.plain)
    return lines


def _arranged(
    readout: r.Readout,
    palette: Palette,
    top: list[Text],
    quiet: list[Text],
    bottom: list[Text],
    width: int,
    height: int,
) -> list[Text]:
    """Top and bottom in their places, strip and alerts in the room between; where there is none, the least goes."""
    link, _, _, _, file, note, keys = bottom
    if height < 24:
        bottom = [link, file, note, keys] if height >= 14 else [note, keys] if height >= 8 else []
        quiet = [quiet[0], quiet[2]] if height >= 10 else quiet[:1] if height >= 6 else []
    room = height - len(top) - len(quiet) - len(bottom)
    strip, alerts = _share(room)
    middle = strip_rows(readout, palette, width, strip, _AXIS) if strip else []
    if alerts:
        middle += rows.alerts(readout, palette, alerts, width)
    padding = max(0, room - len(middle))
    return [*top, *quiet, *middle, *[Text()] * padding, *bottom][:height]


def _share(room: int) -> tuple[int, int]:
    """Rows on each side of the strip's zero line (0: no strip), and lines for alerts, out of `room` lines."""
    # The strip takes 2 n + 1 rows and a time axis; it gets two thirds of a large room.
    if room < 4:
        return 0, room if room >= 2 else 0
    strip = min(_MOST_STRIP, max(1, (room * 2 // 3 - 2) // 2))
    alerts = min(_MOST_ALERTS + 1, room - 2 * strip - 2)
    return strip, alerts if alerts >= 2 else 0


_PLAIN = str.maketrans({
    "▲": "^", "▼": "v", "–": "-", "±": "~", "×": "x",
    "…": ".", "σ": "s", "°": " ", "─": "-", "┈": ".", "░": "x", "│": "|",
    "┤": "|", "▁": ".", "▄": ":", "█": "#", "▔": ".", "▀": ":", "·": ".",
})  # fmt: skip


def _ascii(text: str) -> str:
    """For a terminal that has no Unicode: one plain character for each of ours."""
    return text.translate(_PLAIN).encode("ascii", "replace").decode()
