"""Lines formatted in place: the bytes of coilwire, under both interpreters and in the machine code of the chip."""

import json
import random
import sys
from array import array

import chip_tools
import pytest
from coilwire import frame, records
from hypothesis import given
from hypothesis import strategies as st
from micropython_tool import PROTOCOL, run_micropython
from native_code import Machine, viper_code

sys.path[:0] = [str(chip_tools.FIRMWARE)]

import in_place_plain  # noqa: E402
from line import _CRC_STEPS, _POWERS, Line  # noqa: E402

WORDS = st.integers(0, records.MASK32) | st.sampled_from([10**k + d for k in range(10) for d in (-1, 0, 1)])
LINES = st.lists(st.tuples(st.lists(WORDS, max_size=8), st.text(max_size=20)), min_size=1, max_size=8)
EDGES = [0, 9, 10, 999_999_999, 10**9, 2**30 - 1, 2**30, 2**31 - 1, 2**31, 3 * 10**9, 4 * 10**9, records.MASK32]


def formatted(words, field):
    """Return the line that firmware/line.py formats."""
    line = Line()
    line.begin(b"T")
    line.words(array("I", words), 0, len(words))
    line.text(field)
    line.end()
    return bytes(line.buffer[: line.size])


@given(LINES)
def test_a_line_formatted_in_place_has_the_bytes_of_coilwire(lines):
    for words, text in lines:
        field = frame.escape(text)
        expected = frame.encode("T", [*words, field])
        assert formatted(words, field) == expected


def test_machine_code_on_a_pc_formats_the_same_bytes():
    rng = random.Random(1)
    lines = [([rng.getrandbits(rng.randint(0, 32)) for _ in range(rng.randint(0, 8))], "a,b") for _ in range(300)]
    lines += [(EDGES[k : k + 6], "") for k in range(0, len(EDGES), 6)]
    script = """
import sys, json
from array import array
import line
assert line.in_place.__name__ == "in_place"
for words, text in json.loads(sys.stdin.read()):
    out = line.Line()
    out.begin(b"T")
    out.words(array("I", [0] + words), 1, len(words))
    out.text(text.encode())
    out.end()
    print(bytes(out.buffer[: out.size]).decode(), end="")
"""
    given_lines = [(words, frame.escape(text).decode()) for words, text in lines]
    printed = run_micropython(script, paths=(chip_tools.FIRMWARE, PROTOCOL), stdin=json.dumps(given_lines))
    assert printed == "".join(frame.encode("T", [*words, text.encode()]).decode() for words, text in given_lines)


class Chip:
    """The functions of in_place.py on an emulated Cortex-M0+."""

    def __init__(self):
        names = ("put_bytes", "put_words", "put_check", "copy_words", "set_word")
        codes = viper_code(chip_tools.FIRMWARE / "in_place.py")
        self.machines = dict(zip(names, map(Machine, codes), strict=True))

    def call(self, name, *args):
        """Call a function.  Buffers among `args` are copied into the chip's memory and back."""
        machine = self.machines[name]
        places = []
        values = []
        for k, arg in enumerate(args):
            if isinstance(arg, int):
                values.append(arg)
                continue
            size = (len(memoryview(arg).cast("B")) + 3) // 4
            view, address = machine.view(0x1000 * k, size)
            view = view.cast("B")
            view[: len(memoryview(arg).cast("B"))] = memoryview(arg).cast("B")
            places.append((arg, view))
            values.append(address)
        result = machine.call(*values)
        for arg, view in places:
            if not isinstance(arg, bytes):
                whole = memoryview(arg).cast("B")
                whole[:] = view[: len(whole)]
        return result


@pytest.fixture(scope="module")
def chip():
    return Chip()


def test_machine_code_of_the_chip_formats_the_same_bytes(chip):
    words = array("I", EDGES)
    for first in range(0, len(EDGES), 4):
        out = bytearray(320)
        size = chip.call("put_bytes", out, 1, b"IX", 1)
        out[0] = 64
        size = chip.call("put_words", 0, 0, 0, out, size, words, first, 4, _POWERS)
        size = chip.call("put_check", 0, 0, out, size, _CRC_STEPS)
        assert bytes(out[:size]) == frame.encode("I", EDGES[first : first + 4])


def test_words_are_copied_and_set_alike_everywhere(chip):
    for low, turns in ((0, 0), (5, 3), ((1 << 30) - 1, 3), (7, 4), (1 << 31, 0)):
        for functions in ("chip", in_place_plain):
            out = array("I", [9, 9, 9, 9])
            if functions == "chip":
                chip.call("set_word", out, 1, low, turns)
                chip.call("copy_words", out, 2, array("I", out), 0, 2)
            else:
                functions.set_word(out, 1, low, turns)
                functions.copy_words(out, 2, array("I", out), 0, 2)
            word = ((turns << 30) + low) % records.U32
            assert list(out) == [9, word, 9, word]


def test_a_line_that_is_too_long_is_refused():
    line = Line()
    line.begin(b"L")
    with pytest.raises(ValueError, match="too long"):
        line.text(b"x" * 158)
    line.text(b"x" * 150)
    with pytest.raises(ValueError, match="a frame of 163 bytes"):
        line.end()
