"""The CSV of `replay --series`: a row for each interval, to a new file or to standard output."""

import sys
from collections.abc import Sequence
from typing import Any, NoReturn, TextIO

STDOUT = "-"
COLUMNS = ("time_s", "frequency_hz", "shift_ppm", "baseline_hz", "statistic")


class Series:
    """Use as a context manager.

    path: a new file, which appears when it is whole; "-" for standard output; None for nothing at all.
    """

    def __init__(self, path: str | None) -> None:
        self._path = path
        self._file: TextIO | None = None

    def __enter__(self) -> "Series":
        from coilcount.new_files import new_file

        if self._path == STDOUT:
            self._file = sys.stdout
        elif self._path is not None:
            self._opened = new_file(self._path, encoding="ascii", newline="\n")
            try:
                self._file = self._opened.__enter__()
            except OSError as error:
                self._give_up(error)
        if self._file is not None:
            self._line(COLUMNS)
        return self

    def __exit__(self, *raised: Any) -> None:
        if self._path == STDOUT:
            self._file.flush()
        elif self._file is not None:
            try:
                self._opened.__exit__(*raised)
            except OSError as error:
                self._give_up(error)

    def write(self, point: Any) -> None:
        """The row of one model.Point."""
        self._line([f"{getattr(point, name):.6f}" for name in COLUMNS])

    def _line(self, cells: Sequence[str]) -> None:
        try:
            self._file.write(",".join(cells) + "\n")
        except OSError as error:
            if self._path == STDOUT:
                raise  # the entry point reports what happens to standard output
            self._give_up(error)

    def _give_up(self, error: OSError) -> NoReturn:
        from coilcount.capture.failures import cannot_write

        raise cannot_write(error, self._path) from None
