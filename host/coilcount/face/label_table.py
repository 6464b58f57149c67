"""The labels of a recording as a table; without colours if the output is no terminal."""

from collections.abc import Callable, Sequence
from typing import TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.face.times import instant
from coilcount.model import Label
from coilcount.text import printable

_WIDEST, _PLAIN_WIDTH = 160, 140
_MOST = 300  # characters of a cell
NOTHING = "nothing to find"
UNCONFIRMED = "proposed"


def print_labels(labels: Sequence[Label], time_of_day: Callable[[float], str], out: TextIO) -> None:
    """A row for each label, numbered from 1.  time_of_day: seconds from the start to words, "" if not known."""
    console = SafeConsole(out)
    console.width = min(_WIDEST, console.width) if console.is_terminal else _PLAIN_WIDTH
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    known = any(time_of_day(label.closest_s) for label in labels)
    for name in ("no.", "closest", *(("UTC",) if known else ()), "span"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("object", min_width=8)
    table.add_column("metal")
    table.add_column("response", no_wrap=True)
    table.add_column("depth", justify="right", no_wrap=True)
    table.add_column("note", no_wrap=True, overflow="ellipsis")
    for number, label in enumerate(labels, 1):
        cells = [
            str(number),
            instant(label.closest_s),
            *((time_of_day(label.closest_s),) if known else ()),
            f"{instant(label.start_s)} to {instant(label.end_s)}",
            "?" if label.is_proposed else label.object,
            label.metal,
            UNCONFIRMED if label.is_proposed else label.response or NOTHING,
            "" if label.depth_cm is None else f"{label.depth_cm:g} cm",
            label.note,
        ]
        table.add_row(*(printable(cell, _MOST) for cell in cells), style="dim" if label.is_proposed else "")
    console.print(table)
