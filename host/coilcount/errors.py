"""The expected failures.  Each is one line that a person can act on: what went wrong, where, and what to do.

`commands/cli.py` prints `coilcount: WHAT (WHERE). REMEDY` and ends the process with `exit_code`.  Nothing else in the
project decides how the process ends.
"""

EXIT_DONE = 0
EXIT_NO = 1  # the answer is no: damage found, a check that failed, disk full
EXIT_INPUT = 2  # wrong input, or no device
EXIT_INTERRUPTED = 130  # interrupted before anything was recorded safely

# Similarity of two words, 0 to 1, from which the one is taken for a misspelling of the other: the default of difflib.
_NEAR_WORD = 0.6


class CoilcountError(Exception):
    """An expected failure.

    what: the symptom; where: file, line, port or key, "" if there is none; remedy: what to do, "" if there is nothing.
    """

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
    """The command line, the settings, a scene or a file is wrong (exit 2)."""


class DeviceError(CoilcountError):
    """No board, several boards, or a port that is busy, forbidden or silent (exit 2)."""


class NoSuchPortError(DeviceError):
    """There is no port of this name, as while a board is unplugged (exit 2)."""


class DamageError(CoilcountError):
    """A capture is not whole (exit 1)."""

    exit_code = EXIT_NO


class StorageError(CoilcountError):
    """The disk is full or cannot be written (exit 1)."""

    exit_code = EXIT_NO


def did_you_mean(word: str, known: list[str] | tuple[str, ...]) -> str:
    """`Did you mean "x"?` if a known word is near `word`, else a sentence that lists the known words."""
    import difflib

    near = difflib.get_close_matches(word, known, n=1, cutoff=_NEAR_WORD)
    if near:
        return f'Did you mean "{near[0]}"?'
    return "Known: " + ", ".join(sorted(known)) + "."
