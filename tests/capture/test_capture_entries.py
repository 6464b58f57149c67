"""One line of a capture: every entry comes back, and a line that is not an entry is refused."""

import pytest
from coilcount.capture import entries as entry_lines
from coilcount.capture.entries import decode, encode
from coilcount.model import End, Gap, Header, Imported, Line, Operator
from hypothesis import given
from hypothesis import strategies as st

times = st.floats(-1e9, 1e9).map(lambda value: round(value, 6))

numbers = st.floats(-1e17, 1e17)

maybe = st.none() | numbers

OPERATIONS = ["freeze", "thaw", "false_alarms", "threshold", "mark"]

an_entry = st.one_of(
    st.builds(Line, times, st.binary().filter(lambda data: b"\n" not in data)),
    st.builds(Operator, times, st.sampled_from(OPERATIONS), maybe, st.text()),
    st.builds(Gap, times, times, st.text()),
    st.builds(Imported, times, numbers, maybe, maybe, maybe),
    st.builds(End, times, st.sampled_from(["closed", "rotated", "disk full"]), st.integers(0, 1 << 40)),
    st.builds(Header, st.text(), st.text(), notes=st.dictionaries(st.text(), st.text()), interval_s=maybe),
)


@given(an_entry)
def test_every_entry_comes_back(entry):
    line = encode(entry)
    assert decode(line[:-1]) == entry
    assert decode(line[:-1] + b"\r") == entry
    assert line.isascii()
    assert line.count(b"\n") == 1


@given(st.binary(), an_entry, st.integers(0, 200), st.binary(max_size=3))
def test_a_damaged_line_raises_value_error_alone(junk, entry, at, burst):
    line = encode(entry)[:-1]
    for hurt in (junk, line[:at] + burst + line[at + len(burst) :], line[:at] + line[at + 1 :]):
        try:
            decode(hurt)
        except ValueError as error:
            assert str(error)


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"[]",
        b"{}x",
        b'{"t":NaN,"l":"a"}',
        b'{"t":1e999,"l":"a"}',
        b'{"t":true,"l":"a"}',
        b'{"t":"1","l":"a"}',
        b'{"l":"a"}',
        b'{"t":1,"l":5}',
        b'{"t":1,"l":"\\u00e9"}',
        b'{"t":1,"x":"0g"}',
        b'{"hz":25000}',
        b'{"t":1,"op":1}',
        b'{"t":1,"gap":"why"}',
        b'{"format":"another","schema":1}',
        b'{"format":"coilcount-capture","schema":1}',
        b"[" * 100_000,
    ],
)
def test_a_line_that_is_not_an_entry_is_refused(line):
    with pytest.raises(ValueError, match=r"."):
        decode(line)


NUMBERS = st.from_regex(r"[-+]?[0-9]{1,20}(\.[0-9]{0,12})?([eE][-+]?[0-9]{1,3})?", fullmatch=True)


@given(
    time=st.one_of(NUMBERS, st.just("1_0.0")),
    text=st.one_of(st.text(st.characters(codec="latin-1"), max_size=6), st.just("\\u0041"), st.just("@I,1*00")),
    blank=st.sampled_from(["", " "]),
)
def test_the_quick_way_for_a_received_line_equals_json(time, text, blank):
    line = f'{{"t":{blank}{time},"l":"{text}"}}'.encode("latin-1")

    def result():
        try:
            return decode(line)
        except ValueError:
            return None

    quick = result()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(entry_lines, "_PLAIN_LINE", lambda line: None)
        assert result() == quick
