"""Makes text from outside fit to be shown: notes, marks, names, log lines and paths reach a terminal through it.

Text from outside is all text that this project did not write itself: what a person typed, what a file holds, what a
board sends, the name of a file.  Its control characters could move the cursor, change colours, rename the window,
imitate a line of ours or reverse the order of the letters.
"""

import re

# C0 and C1 controls and DEL; marks, embeddings, overrides and isolates of the bidirectional algorithm (Unicode
# Standard Annex 9); line and paragraph separator; surrogates, which stand for bytes of a name that are not UTF-8.
_UNSAFE = re.compile(r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
_SHORT = {"\t": r"\t", "\n": r"\n", "\r": r"\r"}


def printable(text: str, most: int | None = None) -> str:
    """`text` on one line: letters of every language unchanged, control characters in a visible form such as `\\x1b`.

    most: the largest number of characters that is returned; a longer text is cut and ends in an ellipsis.
    """
    shown = _UNSAFE.sub(_visible, text)
    return shown if most is None or len(shown) <= most else shown[: max(0, most - 1)] + "…"


def _visible(found: re.Match[str]) -> str:
    char = found[0]
    code_point = ord(char)
    return _SHORT.get(char) or (f"\\x{code_point:02x}" if code_point < 0x100 else f"\\u{code_point:04x}")
