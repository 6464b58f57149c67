"""Reads and writes the labels of a capture: NAME.labels.csv beside it, one row for each pass."""

import codecs
import contextlib
import csv
import io
import math
import os
import secrets
from collections.abc import Iterable
from pathlib import Path
from typing import TextIO

from coilcount.capture.failures import cannot_read, cannot_write
from coilcount.errors import InputError, did_you_mean
from coilcount.model import RESPONSES, Label
from coilcount.new_files import new_file

COLUMNS = ("start_s", "end_s", "closest_s", "object", "metal", "response", "depth_cm", "note")
# Signs between the cells.  Spreadsheets write semicolons if their decimal sign is a comma, and tabs with UTF-16.
_DELIMITERS = ",;\t"


def labels_path(capture: str | os.PathLike) -> Path:
    """The path of a capture's labels: NAME.labels.csv for NAME.ccap and NAME.ccap.gz."""
    path = Path(capture)
    if path.suffix == ".gz":
        path = path.with_suffix("")
    return path.with_suffix(".labels.csv")


def read_labels(path: str | os.PathLike) -> list[Label]:
    """The labels in a file that say what was there.  Proposals are left out.

    Raises InputError, with the line, for anything that is wrong, and if there is no such file.
    """
    return [label for label in read_all_labels(path) if not label.is_proposed]


def read_all_labels(path: str | os.PathLike) -> list[Label]:
    """All labels in a file, proposals too.  Raises what read_labels() raises."""
    data = _bytes(path)
    if data is None:
        raise InputError("there are no labels", str(path), "Check the name, or label the capture: coilcount label")
    return _parsed(data, path)


def write_labels(path: str | os.PathLike, labels: Iterable[Label]) -> None:
    """Write a new file of labels, whole or not at all.  Raises InputError if it exists or cannot be made."""
    text = _text(labels, path)
    try:
        with new_file(path, newline="") as file:
            file.write(text)
    except OSError as error:
        raise cannot_write(error, path) from None


def put_labels(file: TextIO, labels: Iterable[Label]) -> None:
    """Write labels to an open file (newline="")."""
    file.write(_row(COLUMNS))
    for label in labels:
        cells = (getattr(label, name) for name in COLUMNS)
        file.write(_row("" if cell is None else cell for cell in cells))


def _row(cells: Iterable[object]) -> str:
    """One row of CSV with a line feed.

    The writer puts a cell in quotes if it holds a character of the line's end, so that end must have a carriage return.
    """
    row = io.StringIO(newline="")
    csv.writer(row, lineterminator="\r\n").writerow(cells)
    return row.getvalue().removesuffix("\r\n") + "\n"


class LabelFile:
    """The labels of one recording and the proposals for it, to be changed.

    path: the label file, which need not exist.  Proposals are in a file of their own beside it, so that a recording
    with nothing but proposals counts as one without labels.
    labels: all labels, proposals too, in the order of their times.

    Raises what read_labels() raises, except that a missing file holds no labels.
    """

    def __init__(self, path: str | os.PathLike) -> None:
        self.path = Path(path)
        self.proposed_path = proposed_path(path)
        self._before = {file: _bytes(file) for file in (self.path, self.proposed_path)}
        self._read = {
            file: [] if data is None else sorted(_parsed(data, file), key=_order) for file, data in self._before.items()
        }
        self.labels = sorted([label for found in self._read.values() for label in found], key=_order)

    @property
    def exists(self) -> bool:
        """True if there is a label file or a file of proposals."""
        return any(data is not None for data in self._before.values())

    def save(self, labels: Iterable[Label]) -> None:
        """Put these labels in place of the earlier ones; each earlier file stays with the ending .bak.

        If no label is left the file is removed: an empty file would say that nothing lay in the whole recording.
        The old or the new labels are on the disk at any moment.  Raises InputError if a file has changed since it was
        read, or cannot be written.
        """
        labels = sorted(labels, key=_order)
        confirmed = [label for label in labels if not label.is_proposed]
        # The labels come first.  After a crash in between, a label may stand beside its own proposal.
        new = {self.path: confirmed, self.proposed_path: [label for label in labels if label.is_proposed]}
        # A file whose labels stay as they are is not written again: it may have columns of a spreadsheet's user.
        changed = {path: rows for path, rows in new.items() if rows != self._read[path]}
        texts = {path: _text(rows, path) if rows else None for path, rows in changed.items()}
        for path, before in self._before.items():
            if _bytes(path) != before:
                raise InputError("the labels were changed by another program meanwhile", str(path), "Run it again")
        for path, text in texts.items():
            self._put(path, None if text is None else text.encode("utf-8"))
        self._read = new
        self.labels = labels

    def _put(self, path: Path, data: bytes | None) -> None:
        """Replace one of the two files; data: None to remove it."""
        before = self._before[path]
        try:
            if before is not None:
                _replace(backup_path(path), before)
            if data is None:
                path.unlink(missing_ok=True)
            else:
                _replace(path, data, new=before is None)
        except OSError as error:
            raise cannot_write(error, path) from None
        self._before[path] = data


def proposed_path(labels: str | os.PathLike) -> Path:
    """The path of the proposals beside a label file: NAME.proposed.csv for NAME.labels.csv."""
    path = Path(labels)
    return path.with_name(path.name.removesuffix(".csv").removesuffix(".labels") + ".proposed.csv")


def backup_path(path: Path) -> Path:
    """The path of a label file before its last change."""
    return path.with_name(path.name + ".bak")


def _replace(path: Path, data: bytes, new: bool = False) -> None:
    """Write a file that appears whole.  new: it must not exist.  Raises OSError."""
    if new:
        with new_file(path, "wb") as file:
            file.write(data)
        return
    path = Path(os.path.realpath(path))  # a link stays a link
    temporary = path.with_name(f"{path.name[:50]}.unfinished-{secrets.token_hex(4)}")
    try:
        with open(temporary, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(OSError):
            os.chmod(temporary, path.stat().st_mode & 0o777)
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


def _order(label: Label) -> tuple[float, float, float]:
    return label.closest_s, label.start_s, label.end_s


def _text(labels: Iterable[Label], path: str | os.PathLike) -> str:
    """The content of a label file.  Raises InputError for text that UTF-8 cannot hold."""
    file = io.StringIO(newline="")
    put_labels(file, labels)
    text = file.getvalue()
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise InputError("the text of a label is not UTF-8", str(path), "Write it with other characters") from None
    return text


def _bytes(path: str | os.PathLike) -> bytes | None:
    """The bytes of a file, None if there is none.  Raises InputError if it cannot be read."""
    try:
        return Path(path).read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise cannot_read(error, path) from None


def _parsed(data: bytes, path: str | os.PathLike) -> list[Label]:
    """The labels in a file, as this program or a spreadsheet writes it."""
    try:
        wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        text = data.decode("utf-16" if wide else "utf-8-sig")
        skipped = 0
        if text.lower().startswith("sep="):  # some spreadsheets name the delimiter in a line of its own
            text = text.partition("\n")[2]
            skipped = 1
        head = text.partition("\n")[0]
        delimiter = max(_DELIMITERS, key=head.count)
        rows = csv.DictReader(io.StringIO(text, newline=""), strict=True, delimiter=delimiter)
        names = [name.strip().lower() for name in rows.fieldnames or ()]
        rows.fieldnames = names
        missing = [name for name in COLUMNS if name not in names]
        if missing:
            what = f"no column {', '.join(missing)}" if text.strip() else "the file is empty"
            raise InputError(what, str(path), "The first line must be " + ",".join(COLUMNS))
        twice = [name for name in COLUMNS if names.count(name) > 1]
        if twice:
            raise InputError(f"two columns {twice[0]}", str(path), "Remove one of them")
        labels = []
        for row in rows:
            where = f"{path}, line {rows.line_num + skipped}"
            if any(cell for value in row.values() for cell in (value or ())):  # a spreadsheet may leave empty rows
                labels.append(_label(row, where, delimiter))
        return labels
    except (UnicodeError, csv.Error) as error:
        raise InputError(f"the file is not CSV text in UTF-8: {error}", str(path), "Save it as CSV, UTF-8") from None


def _label(row: dict, where: str, delimiter: str) -> Label:
    if None in row or None in row.values():
        raise InputError("the row has too many or too few cells", where, "Put cells that contain commas in quotes")
    start_s, end_s, closest_s = (_number(row[name], name, where, delimiter) for name in COLUMNS[:3])
    if not start_s <= closest_s <= end_s:
        raise InputError("closest_s does not lie between start_s and end_s", where, "Correct the times")
    check_response(row["response"], where)
    depth_cm = _number(row["depth_cm"], "depth_cm", where, delimiter) if row["depth_cm"] else None
    return Label(start_s, end_s, closest_s, row["object"], row["metal"], row["response"], depth_cm, row["note"])


def check_response(word: str, where: str) -> None:
    """Raises InputError if this is none of RESPONSES, with the one that was probably meant."""
    if word not in RESPONSES:
        raise InputError(f'response is "{word}"', where, did_you_mean(word, [word for word in RESPONSES if word]))


def _number(cell: str, name: str, where: str, delimiter: str) -> float:
    try:
        value = float(cell if delimiter == "," else cell.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f'{name} is "{cell}"', where, "Give a number")
    return value
