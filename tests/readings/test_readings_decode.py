"""From lines to records: the fast decoder and coilwire agree on every line."""

from coilcount.readings.decode import Decoder
from coilwire import frame, records
from hypothesis import example, given
from hypothesis import strategies as st

U16, U32 = records.U16, records.U32
FIELDS = [U16, U32, U16, U32, U32, U16, U16, U16, U16]
intervals = st.tuples(*[st.integers(0, modulus - 1) for modulus in FIELDS]).map(lambda v: records.Interval(*v))


def by_coilwire(data: bytes):
    found = frame.parse(data)
    if found is None:
        return None
    try:
        return records.read(found)
    except ValueError:
        return None


@given(intervals)
def test_a_sound_interval_is_read_and_counted(record):
    decoder = Decoder()
    assert decoder.line(records.write(record)[:-1]) == record
    assert (decoder.kinds, decoder.damaged, decoder.text) == ({"I": 1}, 0, 0)


@given(intervals, st.integers(0, 60), st.binary(max_size=3), st.sampled_from(["insert", "replace", "cut"]))
@example(records.Interval(*[0] * 9), 0, b"\n", "insert")
def test_both_ways_agree_on_damaged_lines(record, position, junk, how):
    line = records.write(record)[:-1]
    rest = line[position:] if how == "insert" else line[position + len(junk) :]
    data = line[:position] + (b"" if how == "cut" else junk) + rest
    decoder = Decoder()
    assert decoder.line(data) == by_coilwire(data)
    assert decoder.kinds.total() + decoder.damaged + decoder.text <= 1


@given(st.lists(st.integers(0, 99_999_999_999), min_size=8, max_size=11))
def test_both_ways_agree_on_numbers_out_of_range(values):
    body = b"I," + b",".join(b"%d" % value for value in values)
    data = b"@" + body + b"*" + frame.crc_text(body)
    assert Decoder().line(data) == by_coilwire(data)


@given(st.binary(max_size=200))
def test_no_bytes_raise_an_error(data):
    assert Decoder().line(data) == by_coilwire(data)


def test_lines_are_counted_by_what_they_hold():
    decoder = Decoder()
    sound = records.write(records.Interval(1, 2, 3, 4, 5, 6, 7, 8, 9))[:-1]
    for data in (
        b"",
        b">>> import machine",
        b"@ZZ,1*" + frame.crc_text(b"ZZ,1"),
        sound[:-1] + b"?",
        sound,
        b"abc" + sound,
    ):
        decoder.line(data)
    assert decoder.text == 1  # an empty line is not counted
    assert decoder.damaged == 1
    assert decoder.kinds == {"ZZ": 1, "I": 2}  # one of the two intervals has junk before it


def test_a_newer_boards_longer_interval_is_read():
    body = b"I,1,2,3,4,5,6,7,8,9,77,more"
    assert Decoder().line(b"@" + body + b"*" + frame.crc_text(body)) == records.Interval(1, 2, 3, 4, 5, 6, 7, 8, 9)
