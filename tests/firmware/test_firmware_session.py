"""The firmware's session: commands among any other bytes, in both interpreters."""

import json
import sys

from coilwire import records
from firmware_scenes import FIRMWARE
from hypothesis import given
from hypothesis import strategies as st
from micropython_tool import PROTOCOL, run_micropython

sys.path[:0] = [str(FIRMWARE)]

from session import MAX_LINE, Request, Session  # noqa: E402

NAMES = ("interval_ms",)


def command(number, verb, name="", value=0):
    return records.write(records.Command(number, verb, name, value))


WORDS = [
    command(1, "get", "interval_ms"), command(4_000_000_000, "set", "interval_ms", 20), command(2, "hello"),
    command(3, "jump"), command(6, "selftest"), b"selftest\r",
    b"?\r", b"get\r\n", b"set interval_ms 20\n", b"set interval_ms 1_0\n", b"set nothing 4\n",
    command(5, "set", "interval_ms", 50)[:-3] + b"00\n", b"\x03\x03\x01", b"\x04raise SystemExit\r", b"\xff\xfe?\n",
    b">>> ", b"x" * 400, b"@I,1,2,3*00000000\n", b"\n", records.write(records.Answer(1, 1, "echo")),
]  # fmt: skip


def take(session, data):
    """Return the requests that the bytes complete."""
    return [request for request in map(session.take, data) if request is not None]


def requests_in(data):
    """Return (requests, number of bad commands) of a new session."""
    session = Session(NAMES)
    return take(session, data), session.bad


def test_frames_and_typed_words_give_the_same_requests():
    requests, bad = requests_in(command(9, "set", "interval_ms", 25) + b"set interval_ms 25\r")
    assert requests == [Request(9, "set", "interval_ms", 25), Request(0, "set", "interval_ms", 25)]
    requests, bad = requests_in(command(8, "selftest") + b"selftest\n")
    assert (requests, bad) == ([Request(8, "selftest", "", 0), Request(0, "selftest", "", 0)], 0)
    assert requests_in(b"\x03\x03\x01? \n") == ([Request(0, "help", "", 0)], 0)
    assert bad == 0


def test_a_wrong_command_is_counted():
    damaged = command(5, "set", "interval_ms", 50).replace(b"50*", b"51*")
    assert requests_in(damaged) == ([], 1)
    for wrong in (b"set interval_ms +20\n", b"set speed 3\n", b"get speed\n", command(7, "jump"), b"set\n"):
        requests, bad = requests_in(wrong)
        assert [request.verb for request in requests] == ["refuse"] and bad == 1
    assert requests_in(command(7, "jump"))[0][0].id == 7


def test_a_command_behind_long_junk_is_found_and_nothing_grows():
    session = Session(NAMES)
    assert take(session, b"y" * 100_000) == []
    assert len(session._line) == 2 * MAX_LINE
    assert take(session, command(1, "hello")) == [Request(1, "hello", "", 0)]
    # The end of a long line is never taken for a typed command.
    assert requests_in(b" " * 5000 + b"set interval_ms 5\n") == ([], 0)


@given(st.lists(st.sampled_from(WORDS), min_size=20, max_size=60))
def test_noise_before_a_sound_command_never_changes_it(parts):
    # The line feed ends a line that the noise may have left unfinished.
    requests, _ = requests_in(b"".join(parts) + b"\n" + command(77, "get", "interval_ms"))
    assert requests[-1] == Request(77, "get", "interval_ms", 0)


def test_micropython_gives_the_same_requests_as_cpython():
    streams = [b"".join(WORDS[i:] + WORDS[:i]) for i in range(len(WORDS))]
    script = """
import sys, json
from session import Session
for line in sys.stdin:
    session = Session(("interval_ms",))
    requests = [session.take(byte) for byte in json.loads(line)]
    requests = [request for request in requests if request is not None]
    print(json.dumps([[list(request) for request in requests], session.bad]))
"""
    stdin = "".join(json.dumps(list(s)) + "\n" for s in streams)
    printed = run_micropython(script, paths=(FIRMWARE, PROTOCOL), stdin=stdin)
    expected = [[[list(request) for request in requests], bad] for requests, bad in map(requests_in, streams)]
    assert [json.loads(line) for line in printed.splitlines()] == expected
