"""Seeded random input: sound records with any content, and captures with random changes.

tests/commands/test_fuzz.py uses a small number of them, and tests/bench/fuzz.py a large number.
"""

import io
import json
import random
from collections.abc import Iterator
from pathlib import Path

from board_lines import HEADER, Source, entries, hello, passes
from coilcount.capture.entries import encode
from coilcount.capture.reader import read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.errors import CoilcountError
from coilcount.face.json_out import as_line
from coilcount.face.plain import JsonLines, PlainLines
from coilcount.live.boundary import Boundary
from coilcount.live.readout import Readout
from coilcount.live.session import Session
from coilcount.model import Gap, Header, Imported, Line, Operator
from coilcount.settings import defaults
from coilwire import records

KINDS = [records.Hello, records.Interval, records.Status, records.Stopped, records.Mark, records.Answer, records.Log]
# Modulus by record class and field name; a class is known in FIELDS by the names of its fields.
MODULI = {
    kind: {field.name: field.modulus for field in fields}
    for kind in KINDS
    for fields in records.FIELDS.values()
    if tuple(field.name for field in fields) == kind._fields
}
TEXTS = ["", "a", "20", "\x1b[2J", "é\u202e", "x" * 12, "0.1.0", "virtual", "%", ",*@"]


class Lines:
    """Fake link: it returns lines that exist already, at most `at_once` in a read."""

    problem = ""
    reconnections = 0

    def __init__(self, lines, at_once=500):
        self._lines = iter(lines)
        self._at_once = at_once
        self.given: list[Line] = []

    def read(self, wait_s):
        entries = [line for _, line in zip(range(self._at_once), self._lines, strict=False)]
        self.given += entries
        return entries

    def close(self):
        return []


def sound_records(rng: random.Random, count: int) -> Iterator:
    """Yield `count` sound records.  Most continue a plausible stream except for one field; some are nonsense."""
    source = Source(lambda t: 25_000.0 + 50 * rng.random(), seed=rng.randrange(1 << 30))
    for _ in range(count):
        choice = rng.random()
        if choice < 0.5:
            record = source.interval()
            if rng.random() < 0.3:
                name = rng.choice(records.Interval._fields)
                record = record._replace(**{name: _value(rng, records.Interval, name)})
        elif choice < 0.55:
            record = hello(boot=rng.choice([1, 1, 2]), interval_ms=rng.choice([0, 1, 2, 20, 20, 20, 65_535]))
        else:
            kind = rng.choice(KINDS)
            record = kind(*(_value(rng, kind, name) for name in kind._fields))
        yield record


def _value(rng: random.Random, kind, name: str):
    modulus = MODULI[kind][name]
    if not modulus:
        return rng.choice(TEXTS)
    return rng.choice([0, 1, 2, modulus - 1, modulus // 2, rng.randrange(modulus), rng.randrange(min(modulus, 1000))])


def sound_lines(rng: random.Random, count: int) -> Iterator[Line]:
    """Yield the same records as lines, with host times that mostly increase."""
    host_s = 0.0
    for record in sound_records(rng, count):
        host_s += rng.choice([0.0, 0.02, 0.02, 0.02, 1.0, 70.0]) if rng.random() < 0.999 else rng.uniform(-5, 5000)
        yield Line(round(host_s, 6), records.write(record)[:-1])


def sound_capture(rng: random.Random) -> list[bytes]:
    """Return the lines of a small sound capture, from a board or imported."""
    if rng.random() < 0.3:
        header = Header(source="import", start_utc="2026-05-01T08:00:00Z", interval_s=rng.choice([None, 0.02, 0.1]))
        wave = passes([1.0], 200.0)
        body = [Imported(0.02 * k, wave(0.02 * k)) for k in range(150)]
    else:
        header = HEADER
        body = list(entries(Source(passes([1.0], 300.0), 0.3), 4.5))
    host_s = 1.0
    mark, freeze = Operator(host_s, "mark", text="gate"), Operator(host_s, "freeze")
    body[60:60] = [mark, freeze, Operator(host_s, "threshold", 6.0), Operator(host_s, "false_alarms", 3.0)]
    body[120:120] = [Gap(3.0, 2.9, "unplugged"), Operator(3.1, "thaw")]
    return [encode(entry).rstrip(b"\n") for entry in [header, *body]]


def mutated_capture(rng: random.Random) -> bytes:
    """Return a sound capture with some changes: of values, keys, bytes or order, or with lines of another capture."""
    lines = sound_capture(rng)
    others = sound_capture(rng)
    for _ in range(rng.choice([1, 1, 2, 5, 20])):
        row = rng.randrange(len(lines)) if rng.random() < 0.8 else 0
        change = rng.random()
        if change < 0.5:
            lines[row] = _changed_object(rng, lines[row])
        elif change < 0.65:
            raw = bytearray(lines[row])
            for _ in range(rng.choice([1, 3])):
                if raw:
                    raw[rng.randrange(len(raw))] = rng.randrange(256)
            lines[row] = bytes(raw)
        elif change < 0.75:
            lines.insert(row, rng.choice(others))
        elif change < 0.85:
            del lines[row]
            lines = lines or others[:1]
        else:
            lines[row], lines[-1] = lines[-1], lines[row]
    return b"\n".join(lines) + (b"\n" if rng.random() < 0.8 else b"")


KEYS = [
    "hz", "at", "op", "gap", "end", "t", "l", "x", "value", "interval_s", "board", "notes", "settings",
    "learned",
]
VALUES = [
    0, 1, -1, 20, 0.02, 1e-300, 5e-324, 9.9e17, -9.9e17, 1e18, True, None, "", "freeze", "threshold",
    "false_alarms", "\x1b]52;c;x\x07",
    [], {}, [[]], {"a": []}, 10**30, 1.5,
]  # fmt: skip


def _changed_object(rng: random.Random, raw: bytes) -> bytes:
    try:
        value = json.loads(raw)
    except ValueError:
        return raw
    if not isinstance(value, dict) or not value:
        return raw
    key = rng.choice(list(value))
    change = rng.random()
    if change < 0.6:
        value[key] = rng.choice(VALUES)
    elif change < 0.7:
        del value[key]
    elif change < 0.8:
        value[rng.choice(KEYS)] = rng.choice(VALUES)
    elif isinstance(value[key], dict) and value[key]:
        inner = rng.choice(list(value[key]))
        value[key][inner] = rng.choice(VALUES)
    else:
        value["board"] = {**hello()._asdict(), rng.choice(records.Hello._fields): rng.choice(VALUES)}
    return json.dumps(value).encode()


def write_mutated(rng: random.Random, path: Path) -> Path:
    """Write a mutated capture to `path` and return the path."""
    path.write_bytes(mutated_capture(rng))
    return path


def record_nonsense(path: Path, seed: int, count: int) -> tuple[list[Line], list[str]]:
    """Feed `count` random sound records to a live session with every kind of plain view.

    Returns (lines that the session read, failures that its boundary caught).
    """
    link, readout, out = Lines(sound_lines(random.Random(seed), count)), Readout(), io.StringIO()
    now = [0.0]
    writer = CaptureWriter(path, HEADER)
    boundary = Boundary(lambda: True, clock=lambda: now[0])
    session = Session(
        link=link, chain=Chain(defaults(), points=True), readout=readout, header=HEADER, writer=writer,
        views=[JsonLines(out, "f"), PlainLines(readout, out)], clock=lambda: now[0], boundary=boundary,
    )  # fmt: skip
    before = -1
    while len(link.given) > before:
        before = len(link.given)
        now[0] += 0.1
        session.step(0.0)
        readout.answer()
        out.seek(0)
        out.truncate()
    session.close()
    return link.given, boundary.failures


def replay_all(path: Path) -> None:
    """Run a capture through reader, chain and JSON.  A CoilcountError is an acceptable result."""
    try:
        entries = read_capture(path)
        chain = Chain(defaults(), points=True)
        for entry in entries:
            for output in chain.feed(entry):
                as_line(output, "f")
        for output in chain.finish():
            line = as_line(output, "f")
            assert line is None or json.loads(line)
    except CoilcountError:
        pass
