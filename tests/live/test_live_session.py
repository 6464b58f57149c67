"""Live and record with every part real: pyserial, pty, firmware in MicroPython, capture, chain, plain lines."""

import contextlib
import io
import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest
from coilcount.board import ports
from coilcount.board.link import SerialLink
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.commands.cli import main
from coilcount.deploy.firmware_files import firmware_folder
from coilcount.errors import StorageError
from coilcount.face import keys
from coilcount.face.plain import JsonLines, PlainLines, status_line
from coilcount.live.readout import Readout
from coilcount.live.session import RATE_STAYS_S, Session
from coilcount.model import Header
from coilcount.settings import defaults
from coilcount.virtual.board import VirtualBoard
from coilwire import records
from command_line import INTERRUPTIBLE
from ptyboard import HELLO, PtyBoard, interval

CLI = [sys.executable, "-m", "coilcount"]
PACE = 10  # the virtual board's seconds in one of the wall's
UNPLUGGED = """
schema = 1
title = "A plug that is pulled once"
duration_s = 14
seed = 3
[[unplug]]
start_s = 5
end_s = 8
"""


def feed(scene: str) -> list[str]:
    return [sys.executable, "-m", "coilcount.simulate.feed", "--scene", scene, "--pace", str(PACE)]


def board_clock():
    begin = time.monotonic()
    return lambda: round(PACE * (time.monotonic() - begin), 6)


def header(link: SerialLink, settings) -> Header:
    return Header("virtual", "2025-05-05T05:05:05Z", board=link.hello._asdict(), settings=settings.as_dict())


def replayed(file: Path, capsys) -> list[dict]:
    assert main(["replay", "--json", str(file)]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_recording_with_keys_pressed_replays_to_identical_lines(tmp_path, capsys):
    file, out, settings, readout = tmp_path / "walk.ccap", io.StringIO(), defaults(), Readout()
    # By the board's time: how late the scene begins is the machine's business.
    presses = [(8.5, "+"), (8.6, "+"), (10.0, "m"), (11.0, "g"), (12.0, "f"), (15.0, "f"), (17.0, "g"), (18.0, "-")]
    presses.append((24.0, "q"))
    with VirtualBoard(firmware_folder(), feed("demo")) as board:
        clock = board_clock()
        link = SerialLink(board.port, clock)
        link.connect()
        head = header(link, settings)

        def pressed():
            now = readout.point.time_s if readout.point else 0.0
            return [presses.pop(0)[1]] if presses and now >= presses[0][0] else []

        session = Session(
            link=link, chain=Chain(settings, points=True), readout=readout, views=[JsonLines(out, str(file))],
            clock=clock, header=head, writer=CaptureWriter(file, head), keys=pressed,
        )  # fmt: skip
        while session.step(0.02):
            assert clock() < 300
        session.close()
    live = [json.loads(line) for line in out.getvalue().splitlines()]
    kinds = [line["kind"] for line in live]
    assert kinds.count("alert") >= 3 and kinds.count("mark") == 1 and kinds[-1] == "summary"
    assert replayed(file, capsys) == live
    operated = [json.loads(line) for line in file.read_text().splitlines() if '"op"' in line]
    assert [entry["op"] for entry in operated] == [
        *("false_alarms", "false_alarms", "mark", "freeze", "freeze", "thaw"),  # the first g lets nothing go
        "false_alarms",
    ]
    assert [entry["value"] for entry in operated if "value" in entry] == [3.0, 10.0, 3.0]
    assert live[-1]["false_alarms_per_minute"] == 3.0


def test_unplug_and_replug_keep_one_capture_with_a_gap(tmp_path, capsys):
    scene = tmp_path / "pulled.toml"
    scene.write_text(UNPLUGGED)
    file, out, settings, readout = tmp_path / "pulled.ccap", io.StringIO(), defaults(), Readout()
    with VirtualBoard(firmware_folder(), feed(str(scene))) as board:
        clock = board_clock()
        link = SerialLink(board.port, clock)
        link.connect()
        # How long the scene takes to begin is the machine's business, and no silence of the board.
        while not link.await_record("I", 0.1):
            assert clock() < 300
        head = header(link, settings)
        session = Session(
            link=link, chain=Chain(settings, points=True), readout=readout, views=[PlainLines(readout, out)],
            clock=clock, header=head, writer=CaptureWriter(file, head), ended=lambda: board.ended,
        )  # fmt: skip
        while session.step(0.02):
            assert clock() < 300
        session.close()
    lines = out.getvalue().splitlines()
    assert [line for line in lines if line.startswith("link: ")] == [
        "link: unplugged; waiting for the board",
        "link: the board is back",
    ]
    objects = replayed(file, capsys)
    (gap,) = [found for found in objects if found["kind"] == "gap"]
    assert gap["reason"] == "unplugged"
    assert gap["start_s"] == pytest.approx(5.0, abs=0.3)
    # Bridged by the host's clock, which here runs beside a scene of ten times the wall's pace.
    assert 2.0 < gap["end_s"] - gap["start_s"] < 12.0
    # Before the gap all of them; after it as many as the time for finding the port again leaves of the scene.
    before_gap = gap["start_s"] / 0.02
    assert objects[-1]["records"] > before_gap + 50
    assert main(["inspect", str(file), "--quiet"]) == 0


def session_on(board: PtyBoard, writer=None, clock=time.monotonic) -> Session:
    """A session on a pty that the test plays."""
    link = SerialLink(str(board.path), clock)
    link.connect()
    settings = defaults()
    return Session(
        link=link, chain=Chain(settings, points=True), readout=Readout(), views=[],
        clock=clock, header=header(link, settings), writer=writer,
    )  # fmt: skip


def test_f_freezes_and_sets_the_baseline_again_and_g_lets_it_track(tmp_path):
    now = [100.0]
    with PtyBoard(tmp_path / "port") as board:
        session = session_on(board, clock=lambda: now[0])
        facts, readout = session.readout.facts, session.readout

        def pressed(key, after_s=7.0):
            session.press(key)
            told = facts.message
            now[0] += after_s
            session.step(0.01)
            return told, readout.frozen_s()

        board.send(b"".join(interval(k) for k in range(30)))
        assert pressed("g") == ("", None)
        told, age_s = pressed("f")
        assert "4 s outdoors, 9 s on a bench (by simulation)" in told and age_s == 7.0
        told, age_s = pressed("f", 2.0)
        assert "set again" in told and age_s == 2.0
        now[0] += 3.0
        board.send(interval(3000))  # most of a minute is missing
        session.step(0.3)
        assert readout.frozen_s() == 0.0 and "lost in the gap" in facts.message
        assert pressed("g") == ("the baseline tracks again", None)
        session.close()


def test_a_silent_board_is_told_and_stays_connected(tmp_path):
    with PtyBoard(tmp_path / "port") as board:
        begin = time.monotonic()
        session = session_on(board, clock=lambda: 20 * (time.monotonic() - begin))
        facts = session.readout.facts
        for _ in range(60):
            session.step(0.02)
            if facts.problem:
                break
        assert facts.problem == "connected, but silent"
        board.send(interval(0))
        session.step(0.5)
        assert facts.problem == "" and facts.reconnections == 0
        session.close()


def test_where_the_disk_is_full_the_session_says_so_once_and_still_closes(tmp_path):
    class FullDisk:
        """Not a disk: it takes three entries and then says what the writer says on a full one."""

        left = 3

        def write(self, entry):
            self.left -= 1
            if self.left < 0:
                raise StorageError("the disk is full")

        def tick(self, host_s):
            pass

        def close(self, status):
            raise AssertionError("a failed writer is closed already")

    with PtyBoard(tmp_path / "port") as board:
        session = session_on(board, FullDisk())
        board.send(b"".join(interval(k) for k in range(10)))
        with pytest.raises(StorageError, match="full"):
            for _ in range(20):
                session.step(0.05)
        assert session.close().records >= 2


def test_record_on_a_disk_that_fills_keeps_what_came_and_says_1(tmp_path):
    """The system's own limit on a file's size stands for the full disk."""
    with PtyBoard(tmp_path / "port") as board:
        process = subprocess.Popen(
            [*CLI, "record", "full.ccap", "--port", str(board.path)],
            cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (6000, 6000)),
        )  # fmt: skip
        wait_for(lambda: (tmp_path / "full.ccap").exists())
        for k in range(200):
            board.send(interval(k))
            time.sleep(0.002)
        _, err = process.communicate(timeout=10)
    assert process.returncode == 1
    assert err.splitlines()[-1].startswith("coilcount: ") and "Traceback" not in err
    lines = (tmp_path / "full.ccap").read_bytes().splitlines()
    assert len(lines) > 30 and all(json.loads(line) for line in lines)
    assert main(["inspect", str(tmp_path / "full.ccap"), "--quiet"]) in (0, 1)


def test_live_through_a_pipe_is_plain_and_loads_nothing_heavy():
    code = (
        "import sys; from coilcount.commands.cli import main; code = main(['live', '--virtual', '--for', '1']);"
        "print(code, sorted({'numpy', 'scipy', 'matplotlib', 'rich'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=30)
    lines = done.stdout.splitlines()
    assert done.stderr == "" and lines[-1] == "0 []"
    assert lines[0].startswith("live: SIMULATED, scene demo; firmware in MicroPython")
    assert any("first frequency 2" in line for line in lines)
    assert "\x1b" not in done.stdout and any(line.startswith("summary: ") for line in lines)


def test_on_a_terminal_the_screen_is_drawn_and_keys_are_recorded(tmp_path):
    """The screen on a real pty, the board on another; keys typed, the capture read."""
    with PtyBoard(tmp_path / "port") as board:
        terminal, slave = os.openpty()
        process = subprocess.Popen(
            [*CLI, "live", "--port", str(board.path), "--record", "k.ccap"],
            cwd=tmp_path, stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            env={**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"},
        )  # fmt: skip
        os.close(slave)
        seen = b""
        while b"q quit" not in seen:
            seen += os.read(terminal, 65536)
        board.send(b"".join(interval(k) for k in range(20)))
        os.write(terminal, b"mf+q")
        while process.poll() is None:
            with contextlib.suppress(OSError):  # the other end has closed
                seen += os.read(terminal, 65536)
        os.close(terminal)
    text = seen.decode()
    assert process.returncode == 0 and "Traceback" not in text
    assert text.count("\x1b[?1049h") == text.count("\x1b[?1049l") == 1  # the terminal is given back
    assert "summary: " in text and "recorded: k.ccap" in text
    entries = [json.loads(line) for line in (tmp_path / "k.ccap").read_text().splitlines()]
    assert [entry["op"] for entry in entries if "op" in entry] == ["mark", "freeze", "false_alarms"]
    assert entries[-1]["end"] == "closed"


def test_the_rate_is_0_while_nothing_comes(tmp_path):
    settings, readout = defaults(), Readout()
    with PtyBoard(tmp_path / "port") as board:
        clock = board_clock()
        link = SerialLink(str(board.path), clock)
        link.connect()
        session = Session(
            link=link, chain=Chain(settings, points=True), readout=readout, views=[], clock=clock,
            header=header(link, settings),
        )  # fmt: skip
        sequence = 0
        while not readout.facts.rate_hz:
            assert clock() < 100
            board.send(interval(sequence) + records.write(records.Status(1000, 295_000, 5000, 1, 0, 0, 0)))
            session.step(0.02)
            time.sleep(0.01)  # a tenth of a second of the board's time
            sequence += 1
        until = clock() + RATE_STAYS_S + 1
        while clock() < until:  # connected, but silent
            session.step(0.02)
        assert "status" in status_line(readout) and ", 0.0 records/s, " in status_line(readout)
        board.unplug()
        session.step(0.02)
        assert readout.facts.problem == "unplugged" and readout.facts.rate_hz == 0
        session.close()


def test_ctrl_c_closes_everything_and_says_0(tmp_path):
    with PtyBoard(tmp_path / "port") as board:
        process = subprocess.Popen(
            [*INTERRUPTIBLE, "record", "a.ccap", "--port", str(board.path), "--note", "bench"],
            cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        wait_for(lambda: (tmp_path / "a.ccap").exists() and (tmp_path / "a.ccap").read_bytes().count(b"\n") >= 2)
        process.send_signal(2)
        out, err = process.communicate(timeout=10)
    assert process.returncode == 0 and err == "" and "recorded: a.ccap" in out
    first, *_, last = (tmp_path / "a.ccap").read_text().splitlines()
    assert json.loads(last)["end"] == "closed"
    head = json.loads(first)
    assert head["notes"] == {"note": "bench"} and head["board"]["uid"] == HELLO.uid and head["source"] == "serial"


def wait_for(condition, most_s: float = 10.0) -> None:
    until = time.monotonic() + most_s
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.01)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["live", "--port", "{tmp}/ttyACM9"], "no such port"),
        (["live", "--port", "{tmp}"], "not a serial port"),
        (["live"], "no board found"),
        (["live", "--scene", "demo"], "--scene and --seed need the virtual board"),
        (["live", "--virtual", "--for", "0"], "--for is 0"),
        (["live", "--virtual", "--scene", "no-such-scene"], "no-such-scene"),
        (["record", "{tmp}/there.ccap", "--virtual"], "the file exists"),
        (["record", "{tmp}/new.ccap", "--virtual", "--build", "{tmp}/there.ccap"], "the plan is not TOML"),
        (["record", "{tmp}/new.ccap", "--virtual", "--build", "{tmp}/coil.toml"], 'there is no key "turns"'),
        (["record", "{tmp}/new.ccap", "--virtual", "--build", "{tmp}/nan.toml"], "depth_cm is nan"),
        (["record", "{tmp}/new.ccap", "--virtual", "--build", "/dev/zero"], "not a regular file"),
    ],
)
def test_bad_words_are_one_line_and_2(tmp_path, capsys, monkeypatch, words, said):
    monkeypatch.setattr(ports, "present", list)  # a machine without serial ports
    (tmp_path / "there.ccap").write_text("= last week's\n")
    (tmp_path / "coil.toml").write_text("turns = 30\n")
    (tmp_path / "nan.toml").write_text("depth_cm = nan\n")
    assert main([word.format(tmp=tmp_path) for word in words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("coilcount: ") and err.count("\n") == 1 and said in err
    assert (tmp_path / "there.ccap").read_text() == "= last week's\n"
    assert not (tmp_path / "new.ccap").exists()


def test_a_build_is_kept_with_its_hash(tmp_path, capsys):
    (tmp_path / "coil.toml").write_text("depth_cm = 12\n[coil]\nturns = 30\n")
    with PtyBoard(tmp_path / "port") as board:
        words = ["--port", str(board.path), "--for", "0.1", "--build", str(tmp_path / "coil.toml"), "--json"]
        assert main(["record", str(tmp_path / "b.ccap"), *words]) == 0
    assert [json.loads(line)["kind"] for line in capsys.readouterr().out.splitlines()] == ["summary"]
    build = json.loads((tmp_path / "b.ccap").read_text().splitlines()[0])["build"]
    assert build["file"] == "coil.toml" and build["plan"] == {"depth_cm": 12, "coil": {"turns": 30}}
    # sha256sum of the same three lines
    assert build["sha256"] == subprocess.run(
        ["sha256sum", tmp_path / "coil.toml"], capture_output=True, text=True, check=True
    ).stdout.split()[0]  # fmt: skip


def test_keys_come_from_a_real_terminal_which_is_left_as_it_was(monkeypatch):
    import termios

    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    with os.fdopen(slave) as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        with keys.Keyboard() as keyboard:
            assert keyboard.pressed() == []
            os.write(master, b"mf+")
            assert keyboard.pressed() == ["m", "f", "+"]
            os.write(master, b"\x1b[A")
            assert keyboard.pressed() == []
        assert termios.tcgetattr(slave) == before
    os.close(master)


BEHIND_AN_AMPERSAND = """
import os, pty, subprocess, sys
child, master = pty.fork()
if child == 0:  # leads the session; its own child, in another process group, is in the background
    keyboard = "from coilcount.face.keys import Keyboard\\nwith Keyboard(): pass"
    background = subprocess.Popen([sys.executable, "-c", keyboard], process_group=0)
    status = os.waitpid(background.pid, os.WUNTRACED)[1]
    background.kill()
    os._exit(0 if status == 0 else 1)
sys.exit(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
"""


def test_behind_an_ampersand_the_terminal_is_left_alone():
    """A process in the background that sets the terminal's mode is stopped by the system."""
    assert subprocess.run([sys.executable, "-c", BEHIND_AN_AMPERSAND], timeout=20, check=False).returncode == 0
