"""What can go wrong, as one line a person can act on: what, where, and what to do.

`face.cli` prints `coilcount: WHAT (WHERE). REMEDY` and leaves with `exit_code`; nothing else in the
project decides how the process ends.
"""

EXIT_DONE = 0
EXIT_NO = 1  # the answer is no: damage found, a check that failed, disk full
EXIT_INPUT = 2  # wrong input, or no device
EXIT_INTERRUPTED = 130  # interrupted before anything was safe


class CoilcountError(Exception):
    """An expected failure.  what: the symptom; where: file, line, port, key; remedy: what to do."""

    exit_code = EXIT_INPUT

    def __init__(self, what: str, where: str = "", remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.remedy = remedy

    def __str__(self) -> str:
        text = self.what
        if self.where:
            text += f" ({self.where})"
        if self.remedy:
            text += f". {self.remedy}"
        return text


class InputError(CoilcountError):
    """The user's words, settings, scene or file are wrong (exit 2)."""


class DeviceError(CoilcountError):
    """No board, several boards, a busy or forbidden port (exit 2)."""


class LostConnection(CoilcountError):
    """The port went away under a running link; the link reconnects, so this rarely reaches a person (exit 2)."""


class DamageError(CoilcountError):
    """A capture is not whole (exit 1)."""

    exit_code = EXIT_NO


class StorageError(CoilcountError):
    """The disk is full or cannot be written (exit 1)."""

    exit_code = EXIT_NO


def did_you_mean(word: str, known: list[str] | tuple[str, ...]) -> str:
    """`Did you mean "x"?`, or a sentence of the known words where none is near."""
    import difflib

    near = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    if near:
        return f'Did you mean "{near[0]}"?'
    return "Known: " + ", ".join(sorted(known)) + "."
