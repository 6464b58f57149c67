"""The rich console for tables and paragraphs.  It takes text as it is, never as markup, and shows no controls."""

from typing import Any, TextIO

from rich.console import Console
from rich.text import Text

from coilcount.text import printable


class SafeConsole(Console):
    """Takes strings as they are.  A line feed in a string starts a line: make text from outside printable first."""

    def __init__(self, out: TextIO, width: int | None = None) -> None:
        super().__init__(file=out, width=width, markup=False, emoji=False, highlight=False)

    def render_str(self, text: str, **options: Any) -> Text:
        """Called by rich for every string in a table or a paragraph."""
        options |= {"markup": False, "emoji": False}
        return super().render_str("\n".join(map(printable, text.split("\n"))), **options)
