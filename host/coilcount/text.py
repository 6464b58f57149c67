"""Text from outside, made fit to be shown: the one way from notes, marks, names, log lines and paths to a terminal.

Text from outside is whatever this project did not write itself: what a person typed, what a file holds, what a board
sends, how a file is called.  Its control characters could move the cursor, recolour or rename the window, forge a line
of ours or turn the order of the letters around.
"""

import re

# C0 and C1 controls and DEL; marks, embeddings, overrides and isolates of the bidirectional algorithm (Unicode
# Standard Annex 9); line and paragraph separator; surrogates, which stand for bytes of a name that are not UTF-8.
_UNSAFE = re.compile(r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
_SHORT = {"\t": r"\t", "\n": r"\n", "\r": r"\r"}


def printable(text: str, most: int | None = None) -> str:
    """`text` on one line: letters of every language as they are, controls in a visible form such as `\\x1b`.

    most: characters that come out at most; a longer text ends in an ellipsis.
    """
    shown = _UNSAFE.sub(_visible, text)
    return shown if most is None or len(shown) <= most else shown[: max(0, most - 1)] + "…"


def _visible(found: re.Match[str]) -> str:
    char = found[0]
    number = ord(char)
    return _SHORT.get(char) or (f"\\x{number:02x}" if number < 0x100 else f"\\u{number:04x}")
