"""Runs vectors.jsonl against coilwire, under either interpreter: `python run_vectors.py vectors.jsonl`.

Prints one line for each vector that fails and a count at the end; the exit code is 1 where one failed.
What the keys of a vector mean stands in PROTOCOL.md.
"""

import json
import sys
from binascii import unhexlify

from coilwire import frame, records


def failure(vector):
    """An empty str where coilwire does what the vector (dict) says, else what it did instead."""
    for key, check in CHECKS:
        if key in vector:
            got = check(vector)
            return "" if got is None else str(got)
    return "a vector of no known sort"


def _line(vector):
    line = _bytes(vector)
    got = frame.parse(line)
    if frame.why(line) != vector["why"]:
        return "why: " + frame.why(line)
    if (got is None) != (vector["why"] != ""):
        return got
    if got is None:
        return None
    expected = vector["record"]
    try:
        record = records.read(got)
    except ValueError as error:
        return None if expected is None else error
    if _flat(got.kind, record) != expected:
        return _flat(got.kind, record)
    if vector.get("writes") and records.write(record) != line + b"\n":
        return records.write(record)
    return None


def _stream(vector):
    splitter = frame.LineSplitter()
    got = []
    damaged = 0
    text = 0
    for chunk in vector["chunks"]:
        for line in splitter.feed(unhexlify(chunk)):
            found = frame.parse(line)
            try:
                if found is not None:
                    got.append(_flat(found.kind, records.read(found)))
                elif frame.why(line) != "text":
                    damaged += 1
                elif line.strip():
                    text += 1
            except ValueError:
                damaged += 1
    rest = splitter.rest()
    outcome = (got, damaged, text, rest)
    wanted = (vector["records"], vector["damaged"], vector["text"], unhexlify(vector["rest"]))
    return None if outcome == wanted else outcome


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


def _same(call, wanted):
    # In a vector null stands for "refused".
    try:
        got = call()
    except ValueError:
        got = None
    return None if got == wanted else repr(got)


def _bytes(vector):
    return vector["text"].encode() if "text" in vector else unhexlify(vector["hex"])


def _flat(kind, record):
    flat = [kind]
    flat.extend(record if kind in records.FIELDS else [field.decode() for field in record.fields])
    return flat


def main(path):
    """The exit code for the vectors in the file `path`."""
    count = 0
    failed = 0
    with open(path, encoding="utf-8") as file:
        for text in file:
            vector = json.loads(text)
            count += 1
            got = failure(vector)
            if got:
                failed += 1
                print("FAILED", vector["name"], got)
    print(count - failed, "of", count, "vectors passed")
    return 1 if failed or not count else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
