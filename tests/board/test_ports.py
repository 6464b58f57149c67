"""Finding boards: real pyserial on real ptys; only the system's list of ports is a fake."""

import json
import os

import pytest
from coilcount.board import opening, ports
from coilcount.commands.cli import main
from coilcount.errors import DeviceError, NoSuchPortError
from ptyboard import HELLO, PtyBoard


def listed(*boards: PtyBoard) -> list[ports.Port]:
    """The list that a system would give if these ptys were USB devices."""
    return [
        ports.Port(str(board.path), "2E8A:0005", board.hello.uid if board.hello else "1", "Board in FS mode")
        for board in boards
    ]


def test_the_only_board_that_answers_is_taken(tmp_path):
    with PtyBoard(tmp_path / "one") as board, PtyBoard(tmp_path / "mute", hello=None) as mute:
        assert ports.choose(listing=lambda: listed(mute, board), wait_s=0.4) == str(board.path)


def test_if_two_boards_answer_none_is_taken_and_both_are_named(tmp_path):
    second = HELLO._replace(uid="E6609999")
    with PtyBoard(tmp_path / "one") as board, PtyBoard(tmp_path / "two", hello=second) as two:
        with pytest.raises(DeviceError, match="2 boards answer") as caught:
            ports.choose(listing=lambda: listed(board, two))
        assert "E6605838" in str(caught.value) and "E6609999" in str(caught.value)
        assert "--port" in caught.value.remedy
        assert ports.choose("e6609999", listing=lambda: listed(board, two)) == str(two.path)


def test_without_a_board_the_error_lists_what_to_check(tmp_path):
    with PtyBoard(tmp_path / "mute", hello=None) as mute, pytest.raises(DeviceError, match="no board found") as caught:
        ports.choose(listing=lambda: listed(mute), wait_s=0.1)
    assert str(mute.path) in caught.value.where and "cable" in caught.value.remedy


def other(board: PtyBoard) -> ports.Port:
    """The same pty as a USB device of another maker: an adapter, a modem, a printer."""
    return ports.Port(str(board.path), "0403:6001", "A1", "USB serial")


def test_ports_of_other_makers_are_opened_only_if_no_board_answers(tmp_path):
    with (
        PtyBoard(tmp_path / "one") as board,
        PtyBoard(tmp_path / "two") as two,
        PtyBoard(tmp_path / "mute", None) as mute,
    ):
        listing = [other(two), *listed(board)]
        left, reply = ports.ask(listing, 0.4)
        assert reply.hello == HELLO and left.hello is None and "not asked" in left.reason and two.asked == 0
        assert ports.choose(listing=lambda: listing) == str(board.path)
        # A board behind an adapter is still found without --port if it is the only board.
        listing = [*listed(mute), other(two)]
        assert ports.choose(listing=lambda: listing, wait_s=0.3) == str(two.path)
        with pytest.raises(DeviceError, match="2 boards answer"):
            ports.choose(listing=lambda: [other(board), other(two)], wait_s=0.3)


def test_ports_that_are_not_usb_are_not_opened():
    (reply,) = ports.ask([ports.Port("/dev/does-not-exist")])
    assert reply.hello is None and reply.reason == "not a USB port: not asked"


def test_the_command_lists_the_board_and_returns_2_without_a_board(tmp_path, monkeypatch, capsys):
    with PtyBoard(tmp_path / "one") as board:
        monkeypatch.setattr(ports, "present", lambda: listed(board))
        assert main(["ports", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (answer["uid"], answer["usb_id"], answer["firmware"]) == ("E6605838", "2E8A:0005", "0.1.0")
    monkeypatch.setattr(ports, "present", list)
    assert main(["ports"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("coilcount: no board found") and err.count("\n") == 1


def test_the_error_for_a_missing_port_lists_similar_names(tmp_path):
    with PtyBoard(tmp_path / "ttyACM0"), pytest.raises(NoSuchPortError) as caught:
        opening.open_port(str(tmp_path / "ttyACM1"))
    assert "ttyACM0" in caught.value.remedy


def test_a_file_and_a_device_without_a_terminal_are_not_serial_ports(tmp_path):
    (tmp_path / "notes.txt").write_text("hello")
    for path in (str(tmp_path / "notes.txt"), str(tmp_path), os.devnull):
        with pytest.raises(DeviceError, match="not a serial port"):
            opening.open_port(path)


def test_a_busy_port_is_a_clear_error(tmp_path):
    with PtyBoard(tmp_path / "one") as board:
        first = opening.open_port(str(board.path))
        with pytest.raises(DeviceError, match="busy") as caught:
            opening.open_port(str(board.path))
        opening.close_port(first)
    assert "hold" in caught.value.remedy


def test_a_closed_address_is_a_clear_error():
    with pytest.raises(DeviceError, match="nothing answers"):
        opening.open_port("socket://127.0.0.1:1")


def test_no_permission_names_the_owning_group(tmp_path):
    import grp

    path = tmp_path / "ttyACM0"
    path.touch()
    # Root may open anything, so the system's refusal is made by hand, as pyserial words it.
    error = opening.serial.SerialException(13, f"could not open port {path}: [Errno 13] Permission denied")
    refusal = opening.explain(error, str(path))
    group = grp.getgrgid(path.stat().st_gid).gr_name
    assert f"sudo usermod -aG {group} $USER" in refusal.remedy and "log out and in" in refusal.remedy
