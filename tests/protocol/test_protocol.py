"""The wire: vectors under both interpreters, properties, outside references, and damage that must be detected."""

import contextlib
import json
import random
import subprocess
import sys
from binascii import crc32

import crccheck
import pytest
from coilwire import PROTOCOL, frame, records
from hypothesis import given
from hypothesis import strategies as st
from micropython_tool import PROTOCOL as PROTOCOL_DIR
from micropython_tool import run_micropython

RUNNER = PROTOCOL_DIR / "run_vectors.py"
VECTORS = PROTOCOL_DIR / "vectors.jsonl"
SOUND = [json.loads(line) for line in VECTORS.read_text(encoding="utf-8").splitlines()]


def all_passed() -> str:
    """Return the last line that run_vectors.py prints if every vector passed."""
    return f"{len(SOUND)} of {len(SOUND)} vectors passed"


def test_vectors_pass_under_cpython():
    done = subprocess.run([sys.executable, str(RUNNER), str(VECTORS)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, all_passed(), "")


def test_vectors_pass_under_micropython():
    assert run_micropython(RUNNER, VECTORS).strip() == all_passed()


def test_the_runner_reports_wrong_vectors(tmp_path):
    wrong = [dict(vector) for vector in SOUND]
    for vector in wrong:
        for key, value in (("record", ["I", 1]), ("digits", 11), ("field", "%"), ("crc", "0"), ("damaged", 77)):
            if key in vector:
                vector[key] = value
    path = tmp_path / "wrong.jsonl"
    path.write_text("".join(json.dumps(vector) + "\n" for vector in wrong), encoding="utf-8")
    done = subprocess.run([sys.executable, str(RUNNER), str(path)], capture_output=True, text=True, check=False)
    changed = sum(old != new for old, new in zip(SOUND, wrong, strict=True))
    assert done.returncode == 1
    assert done.stdout.count("FAILED") == changed > 50


def test_crc_is_that_of_the_catalogue():
    # CRC RevEng catalogue, CRC-32/ISO-HDLC: check="123456789" gives 0xCBF43926.
    assert frame.crc_text(b"123456789") == b"CBF43926"


@given(st.binary(max_size=200))
def test_crc_agrees_with_crccheck(data):
    # crccheck (PyPI), an independent implementation of the same catalogue entry.
    assert frame.crc_text(data) == b"%08X" % crccheck.crc.Crc32IsoHdlc.calc(data)


def a_field(field):
    # Texts of one character: then even four of them and the largest numbers fit into a frame.
    return st.integers(0, field.modulus - 1) if field.modulus else st.text(st.characters(codec="utf-8"), max_size=1)


@st.composite
def a_record(draw):
    kind = draw(st.sampled_from(sorted(records.FIELDS)))
    values = [draw(a_field(field)) for field in records.FIELDS[kind]]
    record_class = type(records.read((kind, [b"0"] * len(values))))
    return record_class(*values)


@given(a_record(), st.binary(max_size=40).filter(lambda junk: b"\n" not in junk))
def test_round_trip_with_junk_in_front(record, junk):
    line = records.write(record)
    assert len(line) <= frame.MAX_FRAME_BYTES
    assert records.read(frame.parse(junk + line[:-1])) == record
    assert records.read(frame.parse(junk + line[:-1] + b"\r")) == record


@given(a_record(), st.lists(st.text("abc019%~ ", max_size=5), max_size=3))
def test_newer_trailing_fields_are_ignored(record, more):
    kind, fields = frame.parse(records.write(record)[:-1])
    line = frame.encode(kind, [*fields, *(text.encode() for text in more)])
    assert records.read(frame.parse(line[:-1])) == record


@given(st.text(st.characters(codec="utf-8")))
def test_any_text_survives_as_a_field_up_to_its_limit(text):
    back = frame.unescape(frame.escape(text))
    assert text.startswith(back)
    assert len(frame.escape(text)) <= 96
    assert back == text or len(frame.escape(text)) > 96 - 12


pieces = st.one_of(
    st.binary(max_size=30),
    st.sampled_from([b"\n", b"\r\n", b"@", b"*", b"x" * 700, b"@" * 500, b"@I,1,2*"]),
    a_record().map(records.write),
    # Any body at all, with a correct CRC.
    st.binary(max_size=30).map(lambda body: b"@" + body + b"*" + frame.crc_text(body) + b"\n"),
)


@given(st.lists(pieces, max_size=12), st.randoms(use_true_random=False))
def test_any_chunking_gives_the_same_lines_and_nothing_raises(parts, rng):
    data = b"".join(parts)
    whole = frame.LineSplitter()
    lines = whole.feed(data)
    rest = whole.rest()
    splitter = frame.LineSplitter()
    chunked = []
    start = 0
    while start < len(data):
        size = rng.choice([1, 2, 3, 50, 1000])
        chunked += splitter.feed(data[start : start + size])
        start += size
    assert chunked == lines
    assert splitter.rest() == rest
    assert len(rest) <= frame.MAX_PENDING_BYTES
    assert splitter.rest() == b""
    for line in [*lines, rest]:
        found = frame.parse(line)
        assert (found is None) == (frame.why(line) != "")
        if found is not None:
            with contextlib.suppress(ValueError):
                records.read(found)


def test_the_longest_frame_is_found_behind_any_amount_of_junk():
    line = frame.encode("Z", [b"z" * (frame.MAX_FRAME_BYTES - 13)])
    assert len(line) == frame.MAX_FRAME_BYTES
    for size in range(2 * frame.MAX_PENDING_BYTES):
        assert frame.parse(frame.LineSplitter().feed(b"x" * size + line)[-1]) is not None


def sent_records(rng):
    """Yield neighbouring records as a board sends them.  They are alike, so a splice of two is very plausible."""
    first = rng.randrange(1 << 32)
    t = rng.randrange(1 << 32)
    for sequence in range(400):
        n = rng.choice([499, 500, 501])
        sums = (311_000_000 + rng.randrange(2_000_000), 2490 + rng.randrange(9), 2501 + rng.randrange(9))
        yield records.Interval(sequence, first, n, t, *sums, 12_000 + rng.randrange(50), rng.choice([0, 0, 0, 1]))
        first, t = (first + n) % (1 << 32), (t + 2500 * n) % (1 << 32)
        if sequence % 50 == 0:
            yield records.Status(sequence * 20, 298_000 + rng.randrange(900), 4_900 + rng.randrange(99), 3, 0, 0, 0)
            yield records.Log(sequence * 20, f"calm {rng.randrange(99)} %, dry")


def damaged(rng, line, other):
    """Return `line` (with its line feed), damaged in one of the ways of a serial link.  other: the line after it."""
    way = rng.randrange(7)
    place = rng.randrange(len(line))
    if way == 0:  # one bit flipped
        return line[:place] + bytes([line[place] ^ (1 << rng.randrange(8))]) + line[place + 1 :]
    if way == 1:  # a burst of wrong bytes
        burst = bytes(rng.randrange(256) for _ in range(rng.randrange(1, 5)))
        return line[:place] + burst + line[place + len(burst) :]
    if way == 2:  # a splice at any two places
        return line[:place] + other[rng.randrange(len(other)) :]
    if way == 3:  # a splice at the same place, so that the length stays right
        return line[:place] + other[place:]
    if way == 4:  # a piece lost
        return line[:place] + line[place + rng.randrange(1, 64) :]
    if way == 5:  # a piece sent twice
        return line[: place + rng.randrange(1, 64)] + line[place:]
    digit = rng.choice(b"0123456789,*@ABCDEF")  # one plausible character for another
    return line[:place] + bytes([digit]) + line[place + 1 :]


def accepted_wrongly(parse, rounds):
    """Damage `rounds` lines and parse them.

    Returns (wrong, refused): how many lines were accepted as something that was not sent, and how many were refused.
    """
    rng = random.Random(20_240_229)
    lines = [records.write(record) for record in sent_records(rng)]
    sent = {line[1 : line.rindex(b"*")] for line in lines}
    wrong = refused = 0
    for round_number in range(rounds):
        k = round_number % (len(lines) - 1)
        for piece in damaged(rng, lines[k], lines[k + 1]).split(b"\n"):
            found = parse(piece)
            if found is None:
                refused += 1
            elif b",".join([found.kind.encode(), *found.fields]) not in sent:
                wrong += 1
    return wrong, refused


def test_no_damaged_line_is_accepted_as_another_record():
    wrong, refused = accepted_wrongly(frame.parse, 200_000)
    assert wrong == 0
    assert refused > 150_000


def test_the_same_loop_detects_a_check_that_is_too_weak(monkeypatch):
    # A check of 8 bits in place of 32 accepts some splices, and the loop must count them.
    monkeypatch.setattr(frame, "crc_text", lambda body: b"000000%02X" % (sum(body) & 0xFF))
    wrong, _ = accepted_wrongly(frame.parse, 20_000)
    assert wrong > 0


@pytest.mark.parametrize(
    ("record", "message"),
    [
        (records.Interval(65_536, 0, 0, 0, 0, 0, 0, 0, 0), "I.sequence cannot hold 65536"),
        (records.Stopped(-1, 50), "X.uptime_ms cannot hold -1"),
        (records.Hello(1, "v" * 90, "b" * 90, "u" * 90, 0, 0, 0, 0, 0, 0, ""), "a frame of .* bytes; 160 is the most"),
    ],
)
def test_a_record_that_does_not_fit_is_refused(record, message):
    with pytest.raises(ValueError, match=message):
        records.write(record)


def test_the_widest_hello_that_the_document_allows_fits():
    hello = records.Hello(
        65_535, "f" * 16, "b" * 16, "u" * 16, *[(1 << 32) - 1] * 3, 65_535, 65_535, (1 << 32) - 1, records.LAYOUT
    )
    assert len(records.write(hello)) <= frame.MAX_FRAME_BYTES


def test_the_document_names_every_kind_field_modulus_and_unit():
    text = (PROTOCOL_DIR / "PROTOCOL.md").read_text(encoding="utf-8")
    assert f"protocol number {PROTOCOL}" in text
    for kind, fields in records.FIELDS.items():
        section = text.split(f"### `{kind}` ")[1].split("\n### ")[0].split("\n## ")[0]
        for field in fields:
            size = {0: "text", records.U16: "2^16", records.U32: "2^32"}[field.modulus]
            row = f"| `{field.name}` | {size} | {field.unit or '-'} |"
            assert row in section, row
    for name in dir(records):
        if name.startswith("FLAG_"):
            assert f"| {getattr(records, name)} | `{name[5:].lower()}` |" in text


def test_the_worked_example_of_the_document_is_right():
    """Its lines are sound, and its two frequencies follow from them by the document's own formulas."""
    text = (PROTOCOL_DIR / "PROTOCOL.md").read_text(encoding="utf-8").split("## Worked example")[1]
    lines = [line.strip() for line in text.split("\n## ")[0].splitlines() if line.startswith("    @")]
    hello, a, b, command, answer = (records.read(frame.parse(line.encode())) for line in lines)
    assert hello.settings_crc == crc32(b"interval_ms=20\n")
    tick_s = hello.tick_cycles / hello.clock_hz
    edges, ticks = b.first_edge - a.first_edge, b.t_first - a.t_first
    mean_to_mean = (edges + (b.n - a.n) / 2) / (tick_s * (ticks + b.s / b.n - a.s / a.n))
    assert f"= {mean_to_mean:,.3f} Hz" in text
    assert f"= {edges / (tick_s * ticks):,.3f} Hz" in text
    assert (command.verb, command.name, command.value) == ("set", "interval_ms", 50)
    assert (answer.id, answer.ok, answer.text) == (command.id, 1, "interval_ms=50")
