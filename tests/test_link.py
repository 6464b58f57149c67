"""The serial link: real pyserial on a real pty, the far end played by the test (tests/ptyboard.py)."""

import time

import pytest
from coilcount.board import ports
from coilcount.board.link import SerialLink
from coilcount.errors import DeviceError
from coilcount.model import Gap, Line
from ptyboard import HELLO, PtyBoard, interval


def hurried(times: float):
    """A clock that runs faster than the wall's, so that waiting three seconds takes a fraction of one."""
    begin = time.monotonic()
    return lambda: times * (time.monotonic() - begin)


def read_until(link: SerialLink, wanted, turns: int = 200) -> list:
    """Entries until one of them is wanted."""
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


def test_another_board_on_the_same_port_is_let_go(tmp_path):
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


def test_it_tries_again_with_back_off_and_never_spins(tmp_path):
    now = [0.0]
    slept = []

    def sleep(seconds):
        slept.append(seconds)
        now[0] += seconds

    looked = []
    with PtyBoard(tmp_path / "port") as board:
        link = SerialLink(str(board.path), lambda: now[0], sleep, listing=lambda: looked.append(now[0]) or [])
        link.connect()
        link._serial_number = "E6605838"  # so that each try asks the listing
        looked.clear()
    link.read(1.0)  # finds it gone
    while now[0] < 12:
        assert link.read(1.0) == []
    assert all(seconds > 0 for seconds in slept)
    assert looked == pytest.approx([0.2, 0.6, 1.4, 3.0, 6.0, 9.0, 12.0])
    (gap,) = link.close()
    assert (gap.start_host_s, gap.reason) == (0.0, "unplugged")


def test_another_programs_text_is_shown_with_a_printable_sample(tmp_path):
    with PtyBoard(tmp_path / "port", hello=None) as board:
        clock = hurried(20)
        link = SerialLink(str(board.path), clock)
        board.send(b"flushed on opening\r\n")
        import threading

        later = threading.Timer(0.03, board.send, [b"\x1b[1mTraceback: no module named sensors\r\n" * 3])
        later.start()
        with pytest.raises(DeviceError, match="another program") as caught:
            link.connect()
        later.join()
    assert "no module named sensors" in str(caught.value) and "\x1b" not in str(caught.value)


def test_a_silent_port_and_a_busy_one(tmp_path):
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


def test_sound_records_without_a_hello_are_taken_and_a_newer_protocol_is_known(tmp_path):
    with PtyBoard(tmp_path / "port", hello=HELLO._replace(protocol=99)) as board:
        link = SerialLink(str(board.path), hurried(1))
        link.connect()
        assert link.newer_protocol
        link.close()
    with PtyBoard(tmp_path / "mute", hello=None) as board:
        import threading

        link = SerialLink(str(board.path), hurried(20))
        later = threading.Timer(0.03, board.send, [interval(7)])
        later.start()
        assert link.connect() is None
        later.join()
        assert [entry.data for entry in link.close()] == [interval(7)[:-1]]
