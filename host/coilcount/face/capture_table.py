"""A list of recordings as a table; without colours if the output is no terminal."""

from collections.abc import Sequence
from typing import TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.text import printable

_WIDEST, _PLAIN_WIDTH = 160, 120
_MOST = 200  # characters of a cell
_COLUMNS = ("recording", "date (UTC)", "length", "build", "soil, place", "marks", "labels", "state")
_NUMBERS = ("length", "marks", "alerts")


def print_captures(rows: Sequence[Sequence[str]], out: TextIO, alerts: bool = False) -> None:
    """Print the rows; each has a text for every column.  alerts: if True, the alerts stand before the labels."""
    console = SafeConsole(out)
    console.width = min(_WIDEST, console.width) if console.is_terminal else _PLAIN_WIDTH
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    names = list(_COLUMNS)
    if alerts:
        names.insert(names.index("labels"), "alerts")
    for name in names:
        table.add_column(
            name,
            justify="right" if name in _NUMBERS else "left",
            no_wrap=name in (*_NUMBERS, "date (UTC)"),
            overflow="fold",
        )
    for row in rows:
        table.add_row(*(printable(cell, _MOST) for cell in row))
    console.print(table)
