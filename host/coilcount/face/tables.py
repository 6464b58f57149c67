"""The alerts of a replay as a table that fits 80 columns; plain where the output is no terminal."""

from collections.abc import Sequence
from typing import TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.live import readout as r
from coilcount.model import Alert, Hold, MarkMade, Output, Silence
from coilcount.text import printable

_WIDEST, _PLAIN_WIDTH = 100, 80
MOST = 300  # characters of a cell: a mark may be as long as its writer likes
LEGEND = (
    f"{r.RISE} rose: non-ferrous, or sheet iron.  {r.FALL} fell: a ferrous response.\n"
    "The sign says which way the inductance went, not what the metal is."
)
SEEN = "2×, 3×, ...: so many times in a row it went this way, within 4 s."


def print_table(outputs: Sequence[Output], out: TextIO, left_out: str = "") -> None:
    """Final alerts, holds, gaps and marks in the order of time, and what the sign means.

    left_out: a sentence on what is not among them.
    """
    console = SafeConsole(out)
    console.width = min(_WIDEST, console.width) if console.is_terminal else _PLAIN_WIDTH
    rows = sorted((row for row in map(_row, outputs) if row is not None), key=lambda row: row[0])
    if not rows:
        console.print("no alerts")
        return
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    for name in ("no.", "at"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("went", no_wrap=True)
    for name in ("Hz", "ppm"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("suggests")
    for name in ("sure", "width", "score"):
        table.add_column(name, justify="right", no_wrap=True)
    for _, sign, cells in rows:
        table.add_row(*(printable(cell, MOST) for cell in cells), style=r.COLOUR[sign])
    console.print(table)
    if left_out:
        console.print(left_out)
    alerts = [output for output in outputs if isinstance(output, Alert)]
    if alerts:
        console.print(LEGEND, style="dim")
    if any(alert.seen > 1 for alert in alerts):
        console.print(SEEN, style="dim")


def at(time_s: float) -> str:
    """m:ss.s, minutes as many as there are."""
    tenths = round(10 * time_s)
    minutes, tenths = divmod(tenths, 600)
    return f"{minutes}:{tenths // 10:02d}.{tenths % 10}"


def _row(output: Output) -> tuple[float, int, tuple[str, ...]] | None:
    """(time, sign, cells), or None for what is not shown."""
    match output:
        case Alert(stage="final"):
            sure = "–" if output.confidence is None else f"{output.confidence:.0%}"
            text = r.response_words(output) + (" (still open)" if output.open else "")
            text += f" {output.seen}×" if output.seen > 1 else ""
            cells = (
                *(str(output.id), at(output.peak_s), f"{r.GLYPH[output.sign]} {r.WENT[output.sign]}"),
                *(f"{output.peak_shift_hz:+.3f}", f"{output.peak_shift_ppm:+.2f}", text),
                *(sure, f"{output.width_s:.2f}", f"{output.score:.1f}"),
            )
            return output.peak_s, output.sign, cells
        case Hold(stage="final"):
            end = "the end" if output.end_s is None else at(output.end_s)
            return output.start_s, 0, ("", at(output.start_s), "hold", "", "", f"baseline held until {end}", "", "", "")
        case Silence():
            text = f"{output.reason}, until {'about ' if output.bridged else ''}{at(output.end_s)}"
            return output.start_s, 0, ("", at(output.start_s), "gap", "", "", text, "", "", "")
        case MarkMade():
            return output.time_s, 0, ("", at(output.time_s), "mark", "", "", output.text, "", "", "")
    return None
