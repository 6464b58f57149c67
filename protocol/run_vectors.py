"""Runs vectors.jsonl against coilwire, under CPython or MicroPython: `python run_vectors.py vectors.jsonl`.

It prints one line for each vector that fails, and a count at the end.  The exit code is 1 if a vector failed.
PROTOCOL.md explains the keys of a vector.
"""

import json
import sys
from binascii import unhexlify

from coilwire import frame, records


def failure(vector):
    """Return "" if coilwire does what the vector (dict) says, else what it did instead (str)."""
    for key, check in CHECKS:
        if key in vector:
            wrong = check(vector)
            return "" if wrong is None else str(wrong)
    return "this vector has no known key"


# Each check returns None if the vector holds, else what coilwire did instead.


def _line(vector):
    line = _bytes(vector)
    parsed = frame.parse(line)
    if frame.why(line) != vector["why"]:
        return "why: " + frame.why(line)
    if (parsed is None) != (vector["why"] != ""):
        return parsed
    if parsed is None:
        return None
    expected = vector["record"]
    try:
        record = records.read(parsed)
    except ValueError as error:
        return None if expected is None else error
    if _flat(parsed.kind, record) != expected:
        return _flat(parsed.kind, record)
    if vector.get("writes") and records.write(record) != line + b"\n":
        return records.write(record)
    return None


def _stream(vector):
    splitter = frame.LineSplitter()
    found = []
    damaged = 0
    text = 0
    for chunk in vector["chunks"]:
        for line in splitter.feed(unhexlify(chunk)):
            parsed = frame.parse(line)
            try:
                if parsed is not None:
                    found.append(_flat(parsed.kind, records.read(parsed)))
                elif frame.why(line) != "text":
                    damaged += 1
                elif line.strip():
                    text += 1
            except ValueError:
                damaged += 1
    rest = splitter.rest()
    outcome = (found, damaged, text, rest)
    expected = (vector["records"], vector["damaged"], vector["text"], unhexlify(vector["rest"]))
    return None if outcome == expected else outcome


def _digits(vector):
    return _same(lambda: frame.digits(_bytes(vector)), vector["digits"])


def _escape(vector):
    return _same(lambda: frame.escape(vector["escape"]).decode(), vector["field"])


def _unescape(vector):
    return _same(lambda: frame.unescape(_bytes(vector)), vector["unescape"])


def _crc(vector):
    return _same(lambda: frame.crc_text(_bytes(vector)).decode(), vector["crc"])


CHECKS = (
    ("why", _line), ("chunks", _stream), ("digits", _digits), ("escape", _escape), ("unescape", _unescape),
    ("crc", _crc),
)  # fmt: skip


def _same(call, expected):
    # In a vector null means "refused".
    try:
        result = call()
    except ValueError:
        result = None
    return None if result == expected else repr(result)


def _bytes(vector):
    return vector["text"].encode() if "text" in vector else unhexlify(vector["hex"])


def _flat(kind, record):
    flat = [kind]
    flat.extend(record if kind in records.FIELDS else [field.decode() for field in record.fields])
    return flat


def main(path):
    """Run the vectors in the file `path`.  Return the exit code (int)."""
    count = 0
    failed = 0
    with open(path, encoding="utf-8") as file:
        for text in file:
            vector = json.loads(text)
            count += 1
            wrong = failure(vector)
            if wrong:
                failed += 1
                print("FAILED", vector["name"], wrong)
    print(count - failed, "of", count, "vectors passed")
    return 1 if failed or not count else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
