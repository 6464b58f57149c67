"""Settings to and from a board: the real firmware behind a pty; only the board with a newer protocol is a fake."""

import json
import sys
import time
import tomllib
from pathlib import Path

import pytest
from coilcount.board import configure
from coilcount.commands.cli import main
from coilcount.errors import InputError
from coilcount.settings import from_toml
from coilcount.virtual.board import VirtualBoard
from crccheck.crc import Crc32IsoHdlc
from firmware_scenes import FIRMWARE
from ptyboard import HELLO, PtyBoard

FEED = Path(__file__).parents[1] / "support/firmware_scenes.py"


def board(**given):
    return VirtualBoard(FIRMWARE, [sys.executable, str(FEED), json.dumps({"pace": 8, "ms": 60_000, **given})])


def settings_file(tmp_path, interval_ms):
    path = tmp_path / f"board{interval_ms}.toml"
    path.write_text(f"schema = 1\n[board]\ninterval_ms = {interval_ms}\n", encoding="utf-8")
    return str(path)


def wait_until(done):
    end = time.monotonic() + 10
    while not done():
        assert time.monotonic() < end, "not in time"
        time.sleep(0.01)


def test_sent_settings_outlive_a_pulled_plug_and_come_back_as_a_file(tmp_path, capsys):
    with board(unplugged=[[16_000, 18_000]]) as virtual:
        assert main(["settings", "send", "--port", virtual.port, "--settings", settings_file(tmp_path, 10)]) == 0
        printed = capsys.readouterr().out
        assert "interval_ms = 10" in printed and "in force and kept on virtual (MicroPython" in printed
        wait_until(lambda: not Path(virtual.port).exists())
        wait_until(lambda: Path(virtual.port).exists())
        out = tmp_path / "fetched.toml"
        assert main(["settings", "fetch", "--port", virtual.port, str(out)]) == 0
        assert from_toml(out.read_text(), "fetched").board["interval_ms"] == 10
        before = out.read_bytes()
        capsys.readouterr()
        assert main(["settings", "fetch", str(out), "--port", virtual.port]) == 2
        assert "the file exists" in capsys.readouterr().err and out.read_bytes() == before
        assert main(["settings", "fetch", "--port", virtual.port]) == 0
        assert tomllib.loads(capsys.readouterr().out) == {"schema": 1, "board": {"interval_ms": 10}}
        assert main(["settings", "fetch", "--port", virtual.port, "--json"]) == 0
        fetched = json.loads(capsys.readouterr().out)
    # An independent CRC-32: the catalogue's, by crccheck.
    assert fetched["settings_crc"] == Crc32IsoHdlc.calc(b"interval_ms=10\n")
    assert fetched["board"] == {"interval_ms": 10}


def test_a_value_that_the_board_refuses_is_a_one_line_error(tmp_path, capsys):
    with board() as virtual:
        assert main(["settings", "send", "--port", virtual.port, "--settings", settings_file(tmp_path, 100)]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "the board refuses interval_ms = 100" in err and "too long" in err


def test_a_newer_board_is_not_configured(tmp_path, capsys):
    with PtyBoard(tmp_path / "port", HELLO._replace(protocol=2, firmware="9.0.0")) as newer:
        for action in ("send", "fetch"):
            assert main(["settings", action, "--port", str(newer.path)]) == 2
            err = capsys.readouterr().err
            assert "protocol 2 (firmware 9.0.0)" in err and "protocol 1" in err and "Update coilcount" in err
        assert newer.asked == 2  # the greetings: no command went out after them


def test_a_command_is_repeated_and_only_its_own_answer_counts(monkeypatch):
    from coilcount.model import Line
    from coilwire import frame, records

    class Deaf:
        """Stands for the link: it loses the first command and answers the second, after another's answer."""

        device, hello = "deaf", HELLO
        sent: list[bytes] = []  # noqa: RUF012

        def send(self, data):
            self.sent.append(data)

        def read(self, wait_s):
            time.sleep(wait_s)
            if len(self.sent) < 2:
                return []
            number = records.read(frame.parse(self.sent[-1].rstrip())).id
            lines = [records.Answer(number + 1, 0, "other"), records.Answer(number, 1, "interval_ms=20")]
            return [Line(0.0, b"@A,1*damaged"), *[Line(0.0, records.write(line)[:-1]) for line in lines]]

    monkeypatch.setattr(configure, "ANSWER_S", 0.1)
    heard = []
    answer = configure.Conversation(Deaf(), "0", heard.append).ask("get")
    assert (answer.ok, answer.text) == (1, "interval_ms=20")
    assert len(Deaf.sent) == 2 and Deaf.sent[0] == Deaf.sent[1] and len(heard) == 3


@pytest.mark.parametrize(
    "words",
    [["send", "out.toml"], ["fetch", "--settings", "x"], ["send", "--toml"], ["show", "--port", "p"]],
)
def test_arguments_that_exclude_each_other_are_a_one_line_error(words, capsys):
    assert main(["settings", *words]) == InputError.exit_code
    assert capsys.readouterr().err.count("\n") == 1
