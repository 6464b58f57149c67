"""Reads and writes the readings of any counter as CSV: time_s,frequency_hz[,temperature_c][,amplitude_v][,supply_v].

time_s is the middle of a reading.  The columns may be in any order, and their names in upper or lower case.
"""

import csv
import itertools
import math
import os
import stat
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TextIO

from coilcount.capture.entries import LIMIT
from coilcount.capture.failures import cannot_read, cannot_write
from coilcount.errors import InputError
from coilcount.model import Imported
from coilcount.new_files import new_file

REQUIRED = ("time_s", "frequency_hz")
OPTIONAL = ("temperature_c", "amplitude_v", "supply_v")
COLUMNS = REQUIRED + OPTIONAL

# Characters.  A longer line is refused, so that a file without line feeds is not read into memory whole.  Chosen by
# hand: no row is nearly as long.
_MAX_LINE = 1 << 20
# Different spacings that are counted one by one.  If there are more, neighbouring ones are counted together.  Chosen by
# hand: about 1 MB of memory.
_MAX_SPACINGS = 1 << 14


@dataclass(frozen=True, slots=True)
class Log:
    """The result of reading a log once.  readings() reads it again, so that a long log needs no memory.

    count: number of readings; first_s, last_s: their times; interval_s: median spacing of the times.
    ignored: names of unknown columns.
    """

    path: str
    count: int
    first_s: float
    last_s: float
    interval_s: float
    ignored: tuple[str, ...]

    def readings(self) -> Iterator[Imported]:
        """The readings of the log.  Raises InputError if the file became shorter meanwhile."""
        count = 0
        for reading in itertools.islice(_rows(self.path, []), self.count):
            yield reading
            count += 1
        if count < self.count:
            raise InputError("the log became shorter while it was read", self.path, "Close the program that writes it")


def read_log(path: str | os.PathLike, watched: Callable[[Iterator[Imported]], Iterator[Imported]] = iter) -> Log:
    """Read a CSV once, to its end.

    watched: wraps the iterator of the readings, so that a caller can count or show them.
    Raises InputError, with line and column, for anything that is wrong.
    """
    ignored: list[str] = []
    count, first_s, before_s = 0, 0.0, 0.0
    spacings = _Spacings()
    for reading in watched(_rows(path, ignored)):
        if count:
            spacings.add(reading.time_s - before_s)
        else:
            first_s = reading.time_s
        before_s = reading.time_s
        count += 1
    if count < 2:
        raise InputError(f"{count} readings are too few", str(path), "Give a log of at least two readings")
    return Log(str(path), count, first_s, before_s, spacings.median_s(), tuple(ignored))


class _Spacings:
    """The median of any number of spacings in bounded memory.

    Up to 16,384 different spacings are counted to the microsecond, which is the resolution of a capture.  If there are
    more, the resolution becomes 2 us, 4 us and so on.
    """

    def __init__(self) -> None:
        self._counts: Counter[int] = Counter()
        self._step_us = 1

    def add(self, spacing_s: float) -> None:
        self._counts[round(1e6 * spacing_s) // self._step_us] += 1
        if len(self._counts) > _MAX_SPACINGS:
            self._step_us *= 2
            coarser: Counter[int] = Counter()
            for key, count in self._counts.items():
                coarser[key // 2] += count
            self._counts = coarser

    def median_s(self) -> float:
        last = self._counts.total() - 1
        places = (last // 2, (last + 1) // 2)  # for an odd number both are the same
        found = []
        seen = 0
        for key, count in sorted(self._counts.items()):
            found += [key for place in places if seen <= place < seen + count]
            seen += count
        return round((sum(found) / 2 * self._step_us + (self._step_us - 1) / 2) / 1e6, 6)


def _rows(path: str | os.PathLike, ignored: list[str]) -> Iterator[Imported]:
    """The checked readings of a CSV; the names of unknown columns are added to `ignored`."""
    try:
        # Checked before it is opened, because opening a pipe waits for its other end.
        if not stat.S_ISREG(os.stat(path).st_mode) and not stat.S_ISDIR(os.stat(path).st_mode):
            what = "the log is a pipe or a device, and it is read twice"
            raise InputError(what, str(path), "Save it to a file first")
        with open(path, newline="", encoding="utf-8-sig") as file:
            rows = csv.reader(_lines(file, path), strict=True)
            names = [name.strip().lower() for name in next(rows, [])]
            places = _places(names, str(path))
            ignored += [name for name in names if name not in COLUMNS]
            before: Imported | None = None
            for row in rows:
                if row:
                    before = _reading(row, names, places, before, f"{path}, line {rows.line_num}")
                    yield before
    except OSError as error:
        raise cannot_read(error, path) from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"the file is not CSV text in UTF-8: {error}", str(path), "Save it as CSV, UTF-8") from None


def _lines(file: TextIO, path: str | os.PathLike) -> Iterator[str]:
    for number in itertools.count(1):
        line = file.readline(_MAX_LINE)
        if len(line) == _MAX_LINE:
            raise InputError("this line is longer than any row of a log", f"{path}, line {number}", "Give a CSV log")
        if not line:
            return
        yield line


def write_log(path: str | os.PathLike, rows: Iterable[Imported]) -> int:
    """Write a new CSV, whole or not at all; returns the number of rows.  The columns are those of write_rows().

    Raises InputError if the file exists or cannot be made.
    """
    rows = iter(rows)
    first = list(itertools.islice(rows, 1))  # what cannot be read is reported before a file is made
    try:
        with new_file(path, newline="") as file:
            return write_rows(file, itertools.chain(first, rows))
    except OSError as error:
        raise cannot_write(error, path) from None


def write_rows(out: TextIO, rows: Iterable[Imported]) -> int:
    """Write a CSV to an open text file; returns the number of rows.

    An optional column is there only if the first row has a value in it.  Raises OSError.
    """
    rows = iter(rows)
    first = next(rows, None)
    columns = REQUIRED + tuple(name for name in OPTIONAL if getattr(first, name, None) is not None)
    count = 0
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in itertools.chain([] if first is None else [first], rows):
        writer.writerow([f"{row.time_s:.6f}", *(getattr(row, name) for name in columns[1:])])
        count += 1
    return count


def _places(names: list[str], path: str) -> dict[str, int]:
    missing = [name for name in REQUIRED if name not in names]
    if missing:
        remedy = "The first line must name time_s and frequency_hz, with commas between"
        raise InputError(f"no column {' and no column '.join(missing)}", f"{path}, line 1", remedy)
    twice = sorted({name for name in names if name in COLUMNS and names.count(name) > 1})
    if twice:
        raise InputError(f"there are two columns {twice[0]}", f"{path}, line 1", "Leave one of them out")
    return {name: names.index(name) for name in COLUMNS if name in names}


def _reading(row: list[str], names: list[str], places: dict[str, int], before: Imported | None, where: str) -> Imported:
    if len(row) != len(names):
        raise InputError(
            f"the row has {len(row)} cells and line 1 has {len(names)} columns",
            where,
            "Write numbers with a point, not a comma",
        )
    values = {}
    for name, place in places.items():
        cell = row[place]
        if not cell.strip() and name in OPTIONAL:
            continue
        try:
            # Rounded to the microsecond as in a capture, so that times which would be equal there are refused here.
            value = round(float(cell), 6) if name == "time_s" else float(cell)
        except (ValueError, OverflowError):
            value = math.nan
        if not abs(value) < LIMIT or "_" in cell:
            raise InputError(f'{name} is "{cell}"', where, "Give a number, or leave the whole row out")
        values[name] = value
    reading = Imported(**values)
    if reading.frequency_hz <= 0:
        raise InputError(
            f"frequency_hz is {reading.frequency_hz:g}", where, "Give a frequency above 0, or leave the whole row out"
        )
    if before is not None and reading.time_s <= before.time_s:
        word = "repeats" if reading.time_s == before.time_s else "goes back"
        raise InputError(
            f"time_s {word}: {reading.time_s} after {before.time_s}",
            where,
            "Sort the rows by time_s, and give each time only once",
        )
    return reading
