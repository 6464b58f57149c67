"""Keys out of what a keyboard sends: sequences give none, wherever they stand and however they are cut."""

import itertools
import os

import pytest
from coilcount.face import key_bytes, keys
from hypothesis import given
from hypothesis import strategies as st

# What xterm, the Linux console and rxvt send (from memory of their documentation).
SEQUENCES = [
    b"\x1b[A", b"\x1b[F", b"\x1bOF", b"\x1b[1;5F", b"\x1b[4~", b"\x1b[24;2~", b"\x1b[[A", b"\x1bOM",
    b"\x1bO5P", b"\x1bm", b"\x1b\x1b[A", b"\x9bF", b"\x8fF", b"\x1b]10;rgb:ff/ff/ff\x07", b"\x1b]11;?\x1b\\",
    b"\x1bP>|f(1)\x1b\\",
    b"\x1b\xc3\xa9",
]  # fmt: skip
TYPED = st.text(st.characters(codec="utf-8", exclude_characters="\x1b"), min_size=1, max_size=3)


def all_keys(pieces) -> tuple[list[str], bytes]:
    found, rest = [], b""
    for piece in pieces:
        more, rest = key_bytes.keys(rest + piece)
        found += more
    return found, rest


@pytest.mark.parametrize("sequence", SEQUENCES, ids=repr)
def test_a_sequence_anywhere_and_cut_anywhere_is_no_key(sequence):
    data = b"m" + sequence + b"g"
    for cut in range(len(data) + 1):
        assert all_keys([data[:cut], data[cut:]]) == (["m", "g"], b"")


@given(st.lists(st.one_of(TYPED, st.sampled_from(SEQUENCES)), max_size=6), st.lists(st.integers(0, 60), max_size=4))
def test_only_what_was_typed_comes_out_for_any_chunks(parts, cuts):
    data = b"".join(part if isinstance(part, bytes) else part.encode() for part in parts)
    typed = "".join(part for part in parts if isinstance(part, str))
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    assert all_keys([data[a:b] for a, b in itertools.pairwise(edges)]) == (list(typed), b"")


@given(st.lists(st.binary(max_size=12), max_size=6))
def test_any_bytes_give_the_same_keys_for_any_chunks_and_the_rest_stays_small(chunks):
    found, rest = all_keys(chunks)
    assert (found, rest) == key_bytes.keys(b"".join(chunks))
    assert len(rest) <= key_bytes.MOST_STRING_BYTES + 2
    assert all(len(key) == 1 for key in found)


def test_a_string_without_an_end_does_not_swallow_the_keyboard():
    found, rest = all_keys([b"\x1b]"] + [b"x" * 50] * 20 + [b"q"])
    assert found[-1] == "q" and rest == b""


@given(st.text(st.sampled_from("mF\x00\xe0q"), max_size=10), st.integers(0, 10))
def test_on_windows_a_prefix_swallows_one_character_across_calls(characters, cut):
    first, prefixed = key_bytes.windows_keys(characters[:cut])
    second, left = key_bytes.windows_keys(characters[cut:], prefixed)
    assert (first + second, left) == key_bytes.windows_keys(characters)
    assert key_bytes.windows_keys("m\xe0Gq\x00;f") == (["m", "q", "f"], False)


class FakeMsvcrt:
    """A fake of Windows' console module: nothing else can stand for it here."""

    def __init__(self, characters: str) -> None:
        self._waiting = list(characters)

    def kbhit(self) -> bool:
        return bool(self._waiting)

    def getwch(self) -> str:
        return self._waiting.pop(0)


def test_on_windows_the_arrow_keys_are_no_letters(monkeypatch):
    monkeypatch.setattr(keys, "_POSIX", False)
    monkeypatch.setattr(keys, "msvcrt", FakeMsvcrt("m\xe0Mf\xe0"), raising=False)
    keyboard = keys.Keyboard()
    keyboard._fd = 0
    assert keyboard.pressed() == ["m", "f"]
    keys.msvcrt._waiting += "Gq"
    assert keyboard.pressed() == ["q"]


@pytest.fixture
def terminal():
    """(keyboard, write): a real pty in place of the standard input."""
    master, slave = os.openpty()
    keyboard = keys.Keyboard()
    keyboard._fd = slave
    keys.tty.setcbreak(slave)
    yield keyboard, lambda data: os.write(master, data)
    os.close(master)
    os.close(slave)


def test_on_a_pty_end_behind_m_is_a_mark_and_no_freeze(terminal):
    keyboard, write = terminal
    write(b"m\x1b[F")
    assert keyboard.pressed() == ["m"]
    write(b"\x1b")
    assert keyboard.pressed() == []
    write(b"OFg")
    assert keyboard.pressed() == ["g"]


def test_the_esc_key_alone_does_not_swallow_the_next_key(terminal, monkeypatch):
    keyboard, write = terminal
    monkeypatch.setattr(keys, "_ESC_ALONE_S", 0.0)
    write(b"\x1b")
    assert keyboard.pressed() == [] and keyboard.pressed() == []
    write(b"m")
    assert keyboard.pressed() == ["m"]
