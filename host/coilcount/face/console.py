"""The rich console of every table and paragraph: text is text there, never markup, and holds no controls."""

from typing import Any, TextIO

from rich.console import Console
from rich.text import Text

from coilcount.text import printable


class SafeConsole(Console):
    """Takes strings as they are.  Lines of one string stay lines, so a cell from outside is made printable first."""

    def __init__(self, out: TextIO, width: int | None = None) -> None:
        super().__init__(file=out, width=width, markup=False, emoji=False, highlight=False)

    def render_str(self, text: str, **options: Any) -> Text:
        """What rich makes of every string in a table or a paragraph."""
        options |= {"markup": False, "emoji": False}
        return super().render_str("\n".join(map(printable, text.split("\n"))), **options)
