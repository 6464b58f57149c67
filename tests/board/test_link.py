"""The serial link: real pyserial on a real pty, with a played board at its other end (tests/support/ptyboard.py)."""

import contextlib
import os
import select
import socket
import threading
import time
import tty

import pytest
import serial.rfc2217
from coilcount.board import opening, ports
from coilcount.board.link import SerialLink
from coilcount.errors import DeviceError
from coilcount.model import Gap, Line
from coilwire import records
from ptyboard import HELLO, PtyBoard, interval


def hurried(times: float):
    """A clock that runs faster than real time, so that a wait of 3 s takes a fraction of a second."""
    begin = time.monotonic()
    return lambda: times * (time.monotonic() - begin)


def read_until(link: SerialLink, wanted, turns: int = 200) -> list:
    """Read entries until `wanted` is true for one of them."""
    entries = []
    for _ in range(turns):
        entries += link.read(0.02)
        if any(wanted(entry) for entry in entries):
            return entries
    raise AssertionError(f"never came; had {entries}")


def test_the_board_is_greeted_and_nothing_received_is_lost(tmp_path):
    with PtyBoard(tmp_path / "port") as board:
        link = SerialLink(str(board.path), hurried(1))
        assert link.connect() == HELLO
        board.send(interval(0) + interval(1)[:10])
        entries = read_until(link, lambda entry: b"@I,0," in entry.data)
        assert entries[0].data.startswith(b"@H,1,")  # what came during the greeting is passed on
        board.send(interval(1)[10:])
        assert read_until(link, lambda entry: b"@I" in entry.data) == [Line(link.last_bytes_s, interval(1)[:-1])]
        board.send(b"@I,2,10")
        time.sleep(0.05)
        link.read(0.02)
        assert [entry.data for entry in link.close()] == [b"@I,2,10"]


def test_a_silence_is_neither_an_end_nor_a_disconnect(tmp_path):
    with PtyBoard(tmp_path / "port") as board:
        link = SerialLink(str(board.path), hurried(1))
        link.connect()
        link.read(0.01)
        assert [link.read(0.01) for _ in range(5)] == [[]] * 5
        assert link.connected and link.problem == ""
        board.send(interval(5))
        assert read_until(link, lambda entry: isinstance(entry, Line))[0].data == interval(5)[:-1]
        assert link.close() == []


def test_unplugged_in_a_line_and_plugged_in_again(tmp_path):
    with PtyBoard(tmp_path / "port") as board:
        link = SerialLink(str(board.path), hurried(10))
        link.connect()
        board.send(interval(0) + interval(1)[:20])
        read_until(link, lambda entry: b"@I,0," in entry.data)
        board.unplug()
        (cut,) = read_until(link, lambda entry: isinstance(entry, Line))
        assert cut.data == interval(1)[:20]
        assert not link.connected and link.problem == "unplugged"
        link.read(0.1)
        board.plug()
        gap, hello = read_until(link, lambda entry: isinstance(entry, Line))
        assert isinstance(gap, Gap) and gap.reason == "unplugged"
        assert cut.host_s <= gap.start_host_s < gap.host_s == hello.host_s
        assert hello.data.startswith(b"@H,1,")
        assert link.connected and link.problem == "" and link.reconnections == 1
        link.close()


def test_another_board_on_the_same_port_is_not_recorded(tmp_path):
    with PtyBoard(tmp_path / "port") as board:
        link = SerialLink(str(board.path), hurried(10))
        link.connect()
        board.unplug()
        board.hello = HELLO._replace(uid="OTHER")
        board.plug()
        entries = [entry for _ in range(20) for entry in link.read(0.02)]
        assert [entry for entry in entries if isinstance(entry, Gap)] == []
        assert "another board" in link.problem
        board.unplug()
        board.hello = HELLO
        board.plug()
        read_until(link, lambda entry: isinstance(entry, Gap))
        assert not any(b"OTHER" in entry.data for entry in link.close() if isinstance(entry, Line))


def test_the_board_is_found_again_under_another_name(tmp_path):
    names = {"at": tmp_path / "ttyACM0"}

    def listing():
        return [ports.Port(str(names["at"]), "2E8A:0005", HELLO.uid)] if names["at"].is_symlink() else []

    with PtyBoard(names["at"]) as board:
        link = SerialLink(str(board.path), hurried(10), listing=listing)
        link.connect()
        board.unplug()
        board.path = names["at"] = tmp_path / "ttyACM1"
        board.plug()
        read_until(link, lambda entry: isinstance(entry, Gap))
        assert link.device == str(tmp_path / "ttyACM1")
        link.close()


def test_the_waits_between_tries_grow_and_no_try_follows_at_once(tmp_path):
    now = [0.0]
    slept = []

    def sleep(seconds):
        slept.append(seconds)
        now[0] += seconds

    looked = []
    with PtyBoard(tmp_path / "port") as board:
        link = SerialLink(str(board.path), lambda: now[0], sleep, listing=lambda: looked.append(now[0]) or [])
        link.connect()
        link._serial_number = "E6605838"  # so that each try asks for the list of ports
        looked.clear()
    link.read(1.0)  # finds it gone
    while now[0] < 12:
        assert link.read(1.0) == []
    # Each try found no port; the problem is still the loss.
    assert link.problem == "unplugged"
    assert all(seconds > 0 for seconds in slept)
    assert looked == pytest.approx([0.2, 0.6, 1.4, 3.0, 6.0, 9.0, 12.0])
    (gap,) = link.close()
    assert (gap.start_host_s, gap.reason) == (0.0, "unplugged")


def test_another_programs_text_is_shown_with_a_printable_sample(tmp_path):
    with PtyBoard(tmp_path / "port", hello=None) as board:
        clock = hurried(20)
        link = SerialLink(str(board.path), clock)
        board.send(b"flushed on opening\r\n")
        later = threading.Timer(0.03, board.send, [b"\x1b[1mTraceback: no module named sensors\r\n" * 3])
        later.start()
        with pytest.raises(DeviceError, match="another program") as caught:
            link.connect()
        later.join()
    assert "no module named sensors" in str(caught.value) and "\x1b" not in str(caught.value)


def test_a_silent_port_and_a_busy_port_are_clear_errors(tmp_path):
    with PtyBoard(tmp_path / "port", hello=None) as board:
        with pytest.raises(DeviceError, match="silent"):
            SerialLink(str(board.path), hurried(20)).connect()
        assert board.asked > 1
        board.hello = HELLO
        link = SerialLink(str(board.path), hurried(1))
        link.connect()
        with pytest.raises(DeviceError, match="busy"):
            SerialLink(str(board.path), hurried(1)).connect()
        link.close()


def test_records_without_a_hello_are_accepted_and_a_newer_protocol_is_known(tmp_path):
    with PtyBoard(tmp_path / "port", hello=HELLO._replace(protocol=99)) as board:
        link = SerialLink(str(board.path), hurried(1))
        link.connect()
        assert link.newer_protocol
        link.close()
    with PtyBoard(tmp_path / "mute", hello=None) as board:
        link = SerialLink(str(board.path), hurried(20))
        later = threading.Timer(0.03, board.send, [interval(7)])
        later.start()
        assert link.connect() is None
        later.join()
        assert [entry.data for entry in link.close()] == [interval(7)[:-1]]


def test_a_board_that_does_not_read_is_not_unplugged_and_the_torn_line_is_ended(tmp_path):
    master, slave = os.openpty()
    tty.setraw(slave)
    link = SerialLink(os.ttyname(slave), hurried(1))
    try:
        os.write(master, records.write(HELLO))
        later = threading.Timer(0.05, os.write, [master, records.write(HELLO)])  # opening flushes what was there
        later.start()
        link.connect()
        later.join()
        link._port.write_timeout = 0.05
        flood = b"@C,1" + b"x" * 300_000  # more than the pty holds
        link.send(flood)
        assert link.connected and link.problem == ""
        os.write(master, interval(3))
        assert read_until(link, lambda entry: b"@I,3," in entry.data)
        # Once the board reads again, a repeated command stands on a line of its own.
        got = b""
        while select.select([master], [], [], 0.1)[0]:
            got += os.read(master, 65_536)
        link.send(b"@again\n")
        link.send(b"@more\n")
        time.sleep(0.05)
        assert 0 < len(got) < len(flood) and os.read(master, 100) == b"\n@again\n@more\n"
        assert link.close() == [] and link.reconnections == 0
    finally:
        os.close(master)
        os.close(slave)


def test_a_port_on_which_select_cannot_wait_is_read_too():
    """pyserial's loop:// returns the bytes that are sent: the question, then the lines of the test."""
    link = SerialLink("loop://", hurried(1))
    threading.Timer(0.05, lambda: link._port.write(records.write(HELLO))).start()
    assert link.connect() == HELLO
    link.send(interval(1) + interval(2))
    lines = read_until(link, lambda entry: b"@I,2," in entry.data)
    assert [entry.data for entry in lines[-2:]] == [interval(1)[:-1], interval(2)[:-1]]
    before = time.monotonic()
    assert link.read(0.05) == [] and 0.04 < time.monotonic() - before < 1
    full = b"x" * link._port.buffer_size + b"\n"
    link._port.write_timeout = 0.5
    assert opening.write(link._port, full) is False  # its buffer is full: a time-out as well
    link.read(0.05)
    assert link.connected
    link.close()


@contextlib.contextmanager
def rfc2217_server():
    """pyserial's own server side, with a played board: its URL, and a function that sends to the client."""
    listener = socket.create_server(("127.0.0.1", 0))
    client = []
    stop = threading.Event()

    class Connection:
        def write(self, data: bytes) -> None:
            client[0].sendall(data)

    def serve() -> None:
        client.append(listener.accept()[0])
        # Only its settings are of use: loop:// takes them all.
        manager = serial.rfc2217.PortManager(serial.serial_for_url("loop://"), Connection())
        client.append(manager)
        while not stop.is_set():
            if not select.select([client[0]], [], [], 0.02)[0]:
                continue
            data = client[0].recv(1024)
            if not data:
                return
            if b"?" in b"".join(manager.filter(data)):
                send(records.write(HELLO))

    def send(data: bytes) -> None:
        client[0].sendall(b"".join(client[1].escape(data)))

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"rfc2217://127.0.0.1:{listener.getsockname()[1]}", send, lambda: client[0].shutdown(socket.SHUT_RDWR)
    finally:
        stop.set()
        thread.join()
        for end in (*client[:1], listener):
            end.close()


# pyserial names its threads in a way that Python wants no more.
@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
def test_a_board_behind_an_rfc2217_server():
    with rfc2217_server() as (url, send, hang_up):
        link = SerialLink(url, hurried(1))
        assert link.connect() == HELLO
        send(b"".join(map(interval, range(200))))
        lines = read_until(link, lambda entry: b"@I,199," in entry.data)
        assert [entry.data for entry in lines if b"@I" in entry.data] == [interval(k)[:-1] for k in range(200)]
        hang_up()
        for _ in range(200):
            link.read(0.02)
            if not link.connected:
                break
        assert "link lost" in link.problem or link.problem == "unplugged"
        (gap,) = link.close()
        assert isinstance(gap, Gap)
