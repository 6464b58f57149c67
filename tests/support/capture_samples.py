"""A small capture for the tests, and helpers that write and read one."""

from pathlib import Path

from coilcount.capture.reader import Report, read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.model import Gap, Header, Line, Operator
from coilwire import records

HEADER = Header("virtual", "2026-05-01T09:00:00Z", board={"boot": 3}, notes={"place": "bench, é"})
HELLO = records.Hello(1, "0.1.0", "test", "AB12", 3, 100, 125_000_000, 2, 20, 0, records.LAYOUT)


def interval_line(number: int) -> bytes:
    """Return interval `number` of a coil at exactly 25 kHz: 500 edges in 20 ms, 2,500 ticks of 16 ns apart."""
    record = records.Interval(
        number % 65_536, 500 * number, 500, 1_250_000 * number % (1 << 32), 311_875_000, 2500, 2500, 0, 128
    )
    return records.write(record)[:-1]


def some_entries(count: int = 60) -> list:
    """Return a hello, `count` intervals, three actions of the operator, undecodable bytes and a gap."""
    entries = [Line(0.0, records.write(HELLO)[:-1])]
    for number in range(count):
        entries.append(Line(round(0.02 * number + 0.02, 6), interval_line(number)))
        if number == 20:
            entries += [
                Operator(0.41, "freeze"),
                Operator(0.415, "threshold", 6.5),
                Operator(0.416, "mark", text="é, 5 cm"),
            ]
        if number == 30:
            entries += [Line(0.63, b"\x00\xff>>> "), Gap(0.64, 0.63, "unplugged")]
    return entries


def write(path: Path, entries: list, **options) -> Path:
    """Write a capture.  options: those of CaptureWriter."""
    with CaptureWriter(path, HEADER, **options) as writer:
        for entry in entries:
            writer.write(entry)
    return path


def read(path: Path) -> tuple[list, Report]:
    """Return the entries of a capture and the Report on it."""
    report = Report()
    return list(read_capture(path, report)), report
