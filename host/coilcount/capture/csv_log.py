"""Readings of any counter as CSV: time_s,frequency_hz[,temperature_c][,amplitude_v][,supply_v].

time_s is the middle of a reading.  The columns may stand in any order, their names in any case.
"""

import csv
import itertools
import math
import os
import statistics
from collections.abc import Iterable
from dataclasses import dataclass

from coilcount.capture.entries import LIMIT
from coilcount.capture.failures import cannot_read, cannot_write
from coilcount.errors import InputError
from coilcount.model import Imported
from coilcount.new_files import new_file

REQUIRED = ("time_s", "frequency_hz")
OPTIONAL = ("temperature_c", "amplitude_v", "supply_v")
COLUMNS = REQUIRED + OPTIONAL


@dataclass(frozen=True, slots=True)
class Log:
    """A log as read.  interval_s: median spacing of the times; ignored: names of columns not known here."""

    readings: list[Imported]
    interval_s: float
    ignored: tuple[str, ...]


def read_log(path: str | os.PathLike) -> Log:
    """All readings of a CSV.  Raises InputError with line and column for whatever is not right."""
    try:
        with open(path, newline="", encoding="utf-8-sig") as file:
            rows = csv.reader(file, strict=True)
            names = [name.strip().lower() for name in next(rows, [])]
            places = _places(names, str(path))
            readings = []
            for row in rows:
                if row:
                    readings.append(_reading(row, names, places, readings, f"{path}, line {rows.line_num}"))
    except OSError as error:
        raise cannot_read(error, path) from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"this is no CSV text in UTF-8: {error}", str(path), "Save it as CSV, UTF-8") from None
    if len(readings) < 2:
        raise InputError(f"{len(readings)} readings are too few", str(path), "Give a log of two readings or more")
    times = [reading.time_s for reading in readings]
    spacing_s = statistics.median(later - earlier for earlier, later in itertools.pairwise(times))
    return Log(readings, round(spacing_s, 6), tuple(name for name in names if name not in COLUMNS))


def write_log(path: str | os.PathLike, rows: Iterable[Imported]) -> int:
    """Write a new CSV, whole or not at all, optional columns only where the first row has them; returns how many rows.

    Raises InputError where the file exists or cannot be made.
    """
    rows = iter(rows)
    first = next(rows, None)
    columns = REQUIRED + tuple(name for name in OPTIONAL if getattr(first, name, None) is not None)
    count = 0
    try:
        with new_file(path, newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(columns)
            for row in itertools.chain([] if first is None else [first], rows):
                writer.writerow([f"{row.time_s:.6f}", *(getattr(row, name) for name in columns[1:])])
                count += 1
    except OSError as error:
        raise cannot_write(error, path) from None
    return count


def _places(names: list[str], path: str) -> dict[str, int]:
    missing = [name for name in REQUIRED if name not in names]
    if missing:
        remedy = "The first line must name time_s and frequency_hz, with commas between"
        raise InputError(f"no column {' and no column '.join(missing)}", f"{path}, line 1", remedy)
    twice = sorted({name for name in names if name in COLUMNS and names.count(name) > 1})
    if twice:
        raise InputError(f"column {twice[0]} is there twice", f"{path}, line 1", "Leave one of them out")
    return {name: names.index(name) for name in COLUMNS if name in names}


def _reading(row: list[str], names: list[str], places: dict[str, int], before: list[Imported], where: str) -> Imported:
    if len(row) != len(names):
        raise InputError(
            f"{len(row)} cells where line 1 names {len(names)} columns",
            where,
            "Numbers are written with a point, not a comma",
        )
    values = {}
    for name, place in places.items():
        cell = row[place]
        if not cell.strip() and name in OPTIONAL:
            continue
        try:
            # To the microsecond, like everything in a capture: so that times which repeat there are told here.
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
    if before and reading.time_s <= before[-1].time_s:
        word = "repeats" if reading.time_s == before[-1].time_s else "goes back"
        raise InputError(
            f"time_s {word}: {reading.time_s} after {before[-1].time_s}",
            where,
            "Sort the rows by time_s, one reading a time",
        )
    return reading
