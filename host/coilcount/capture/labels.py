"""Reads and writes the labels of a capture: NAME.labels.csv beside it, one row for each pass."""

import csv
import math
import os
from collections.abc import Iterable
from pathlib import Path
from typing import TextIO

from coilcount.capture.failures import cannot_read, cannot_write
from coilcount.errors import InputError, did_you_mean
from coilcount.model import RESPONSES, Label
from coilcount.new_files import new_file

COLUMNS = ("start_s", "end_s", "closest_s", "object", "metal", "response", "depth_cm", "note")


def labels_path(capture: str | os.PathLike) -> Path:
    """The path of a capture's labels: NAME.labels.csv for NAME.ccap and NAME.ccap.gz."""
    path = Path(capture)
    if path.suffix == ".gz":
        path = path.with_suffix("")
    return path.with_suffix(".labels.csv")


def write_labels(path: str | os.PathLike, labels: Iterable[Label]) -> None:
    """Write a new file of labels, whole or not at all.  Raises InputError if it exists or cannot be made."""
    try:
        with new_file(path, newline="") as file:
            put_labels(file, labels)
    except OSError as error:
        raise cannot_write(error, path) from None


def put_labels(file: TextIO, labels: Iterable[Label]) -> None:
    """Write labels to an open file (newline="")."""
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(COLUMNS)
    for label in labels:
        cells = (getattr(label, name) for name in COLUMNS)
        writer.writerow("" if cell is None else cell for cell in cells)


def read_labels(path: str | os.PathLike) -> list[Label]:
    """The labels in a file.  Raises InputError, with the line, for anything that is wrong."""
    try:
        with open(path, newline="", encoding="utf-8-sig") as file:
            rows = csv.DictReader(file, strict=True)
            missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
            if missing:
                raise InputError(
                    f"no column {', '.join(missing)}", str(path), "The first line must be " + ",".join(COLUMNS)
                )
            return [_label(row, f"{path}, line {rows.line_num}") for row in rows]
    except FileNotFoundError:
        raise InputError("there are no labels", str(path), "Label the capture first") from None
    except OSError as error:
        raise cannot_read(error, path) from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"the file is not CSV text in UTF-8: {error}", str(path), "Save it as CSV, UTF-8") from None


def _label(row: dict, where: str) -> Label:
    if None in row or None in row.values():
        raise InputError("the row has too many or too few cells", where, "Put cells that contain commas in quotes")
    start_s, end_s, closest_s = (_number(row[name], name, where) for name in ("start_s", "end_s", "closest_s"))
    if not start_s <= closest_s <= end_s:
        raise InputError("closest_s does not lie between start_s and end_s", where, "Correct the times")
    if row["response"] not in RESPONSES:
        raise InputError(
            f'response is "{row["response"]}"',
            where,
            did_you_mean(row["response"], [word for word in RESPONSES if word]),
        )
    depth_cm = _number(row["depth_cm"], "depth_cm", where) if row["depth_cm"] else None
    return Label(start_s, end_s, closest_s, row["object"], row["metal"], row["response"], depth_cm, row["note"])


def _number(cell: str, name: str, where: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f'{name} is "{cell}"', where, "Give a number")
    return value
