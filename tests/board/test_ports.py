"""Finding boards: real pyserial on real ptys; only the system's listing of ports is played."""

import json
import os

import pytest
from coilcount.board import opening, ports
from coilcount.commands.cli import main
from coilcount.errors import DeviceError, NoSuchPortError
from ptyboard import HELLO, PtyBoard


def listed(*boards: PtyBoard) -> list[ports.Port]:
    """The listing a system would give if these ptys were USB devices."""
    return [
        ports.Port(str(board.path), "2E8A:0005", board.hello.uid if board.hello else "1", "Board in FS mode")
        for board in boards
    ]


def test_the_only_board_that_answers_is_taken(tmp_path):
    with PtyBoard(tmp_path / "one") as one, PtyBoard(tmp_path / "mute", hello=None) as mute:
        assert ports.choose(listing=lambda: listed(mute, one), wait_s=0.4) == str(one.path)


def test_of_two_boards_none_is_taken_and_both_are_named(tmp_path):
    second = HELLO._replace(uid="E6609999")
    with PtyBoard(tmp_path / "one") as one, PtyBoard(tmp_path / "two", hello=second) as two:
        with pytest.raises(DeviceError, match="2 boards answer") as caught:
            ports.choose(listing=lambda: listed(one, two))
        assert "E6605838" in str(caught.value) and "E6609999" in str(caught.value)
        assert "--port" in caught.value.remedy
        assert ports.choose("e6609999", listing=lambda: listed(one, two)) == str(two.path)


def test_no_board_says_what_to_check(tmp_path):
    with PtyBoard(tmp_path / "mute", hello=None) as mute, pytest.raises(DeviceError, match="no board found") as caught:
        ports.choose(listing=lambda: listed(mute), wait_s=0.1)
    assert str(mute.path) in caught.value.where and "cable" in caught.value.remedy


def other(board: PtyBoard) -> ports.Port:
    """The same of another maker: an adapter, a modem, a printer."""
    return ports.Port(str(board.path), "0403:6001", "A1", "USB serial")


def test_ports_of_other_makers_are_opened_only_where_no_board_answers(tmp_path):
    with (
        PtyBoard(tmp_path / "one") as one,
        PtyBoard(tmp_path / "two") as two,
        PtyBoard(tmp_path / "mute", None) as mute,
    ):
        listing = [other(two), *listed(one)]
        left, reply = ports.ask(listing, 0.4)
        assert reply.hello == HELLO and left.hello is None and "not asked" in left.reason and two.asked == 0
        assert ports.choose(listing=lambda: listing) == str(one.path)
        # A board behind an adapter is still found by itself, where it is the only one.
        listing = [*listed(mute), other(two)]
        assert ports.choose(listing=lambda: listing, wait_s=0.3) == str(two.path)
        with pytest.raises(DeviceError, match="2 boards answer"):
            ports.choose(listing=lambda: [other(one), other(two)], wait_s=0.3)


def test_ports_that_are_not_usb_are_not_opened():
    (reply,) = ports.ask([ports.Port("/dev/does-not-exist")])
    assert reply.hello is None and reply.reason == "not a USB port: not asked"


def test_the_command_lists_the_board_and_says_2_without_one(tmp_path, monkeypatch, capsys):
    with PtyBoard(tmp_path / "one") as one:
        monkeypatch.setattr(ports, "present", lambda: listed(one))
        assert main(["ports", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (answer["uid"], answer["usb_id"], answer["firmware"]) == ("E6605838", "2E8A:0005", "0.1.0")
    monkeypatch.setattr(ports, "present", list)
    assert main(["ports"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("coilcount: no board found") and err.count("\n") == 1


def test_a_missing_port_names_those_near(tmp_path):
    with PtyBoard(tmp_path / "ttyACM0"), pytest.raises(NoSuchPortError) as caught:
        opening.open_port(str(tmp_path / "ttyACM1"))
    assert "ttyACM0" in caught.value.remedy


def test_a_file_and_a_device_that_is_no_terminal_are_no_serial_ports(tmp_path):
    (tmp_path / "notes.txt").write_text("hello")
    for path in (str(tmp_path / "notes.txt"), str(tmp_path), os.devnull):
        with pytest.raises(DeviceError, match="not a serial port"):
            opening.open_port(path)


def test_a_busy_port_says_so(tmp_path):
    with PtyBoard(tmp_path / "one") as one:
        first = opening.open_port(str(one.path))
        with pytest.raises(DeviceError, match="busy") as caught:
            opening.open_port(str(one.path))
        opening.close_port(first)
    assert "hold" in caught.value.remedy


def test_a_closed_address_says_so():
    with pytest.raises(DeviceError, match="nothing answers"):
        opening.open_port("socket://127.0.0.1:1")


def test_no_permission_names_the_owning_group(tmp_path):
    import grp

    path = tmp_path / "ttyACM0"
    path.touch()
    # Root may open anything, so the system's refusal is made by hand, as pyserial words it.
    error = opening.serial.SerialException(13, f"could not open port {path}: [Errno 13] Permission denied")
    told = opening.explain(error, str(path))
    group = grp.getgrgid(path.stat().st_gid).gr_name
    assert f"sudo usermod -aG {group} $USER" in told.remedy and "log out and in" in told.remedy
