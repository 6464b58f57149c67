"""The whole firmware behind a real pty under pyserial, and the processes around it."""

import glob
import itertools
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import pytest
import serial
from coilcount.deploy.firmware_files import coilwire_folder, firmware_folder, tracker_folder
from coilcount.errors import DeviceError, InputError
from coilcount.virtual import folder as virtual_folder
from coilcount.virtual import interpreter as virtual_interpreter
from coilcount.virtual.board import VirtualBoard
from coilcount.virtual.tcp import Relay
from coilwire import frame, records
from command_line import INTERRUPTIBLE
from firmware_scenes import FIRMWARE, edge_times, scene, sums
from killed_start import killed_start

FEED = Path(__file__).parents[1] / "support/firmware_scenes.py"
INTERPRETERS = {"micropython": virtual_interpreter.find_interpreter, "cpython": virtual_interpreter.cpython}


@pytest.fixture(autouse=True)
def nothing_left(tmp_path, monkeypatch):
    """Check that no process, thread or folder outlives a virtual board."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    started = []

    class Recorded(subprocess.Popen):
        def __init__(self, *args, **kwargs):
            super().__init__(*args, **kwargs)
            started.append(self)

    monkeypatch.setattr(subprocess, "Popen", Recorded)
    yield
    assert glob.glob(str(tmp_path / "coilcount-*")) == []
    assert [thread.name for thread in threading.enumerate() if "virtual board" in thread.name] == []
    assert [process.args for process in started if process.returncode is None] == []


def board(pace=1, interpreter=None, **given):
    return VirtualBoard(FIRMWARE, [sys.executable, str(FEED), json.dumps({"pace": pace, **given})], interpreter)


class Host:
    """Collects records from a port; every line must be undamaged."""

    def __init__(self, port):
        self.serial = serial.serial_for_url(port, timeout=0.02)
        self.splitter = frame.LineSplitter()
        self.heard = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.serial.close()

    def step(self):
        data = self.serial.read(self.serial.in_waiting or 1)
        for line in self.splitter.feed(data):
            found = frame.parse(line)
            assert found is not None, line
            self.heard.append(records.read(found))
        return bool(data)

    def until(self, done, timeout_s=5):
        end = time.monotonic() + timeout_s
        while not (found := done()):
            assert time.monotonic() < end, "not in time"
            self.step()
        return found

    def to_the_end(self, board):
        self.until(lambda: board.ended, 20)
        while self.step():
            pass

    def all(self, kind):
        return [record for record in self.heard if isinstance(record, kind)]

    def ask(self, number, verb, name="", value=0):
        self.serial.write(records.write(records.Command(number, verb, name, value)))
        return self.until(lambda: next((a for a in self.all(records.Answer) if a.id == number), None))


def check_sums(intervals, times):
    """Check that the intervals are contiguous, and equal to the sums over every single edge."""
    following = 0
    for sequence, interval in enumerate(intervals):
        assert (interval.sequence, interval.first_edge) == (sequence, following)
        assert (interval.t_first, interval.s) == sums(times, following, interval.n)
        following += interval.n
    return following


def test_hello_comes_first_and_the_sums_are_exact_in_every_interval():
    with board(pace=10, ms=5000, marks=[1200, 1300]) as virtual, Host(virtual.port) as host:
        host.until(lambda: len(host.all(records.Interval)) > 20)
        assert host.ask(1, "set", "interval_ms", 10) == records.Answer(1, 1, "interval_ms=10")
        host.until(lambda: host.all(records.Hello)[-1].interval_ms == 10)
        assert host.ask(2, "set", "interval_ms", 71).ok == 0
        assert host.ask(3, "set", "interval_ms", 4).ok == 0
        host.serial.write(b"get\r")
        assert host.until(lambda: [a for a in host.all(records.Answer) if a.id == 0])[0].text == "interval_ms=10"
        host.to_the_end(virtual)
        virtual.check()
    first = host.heard[0]
    assert isinstance(first, records.Hello)
    assert (first.protocol, first.boot, first.interval_ms, first.uid) == (1, 1, 20, "VIRTUAL1")
    assert host.all(records.Hello)[-1].settings_crc != first.settings_crc
    intervals = host.all(records.Interval)
    times = edge_times(5000)
    assert check_sums(intervals, times) > len(times) - 500
    assert [i.flags for i in intervals[:3]] == [records.FLAG_NEW_TIME_BASE, 0, 0]
    assert {round(i.n, -1) for i in intervals} == {500, 250}
    status = host.all(records.Status)
    assert [s.uptime_ms for s in status] == [1000, 2000, 3000, 4000, 5000]
    assert status[-1].dropped == 0 and status[-1].bad_commands == 2 and 5000 <= status[-1].supply_mv < 5010
    assert host.all(records.Mark) == [records.Mark(1201, 1), records.Mark(1301, 2)]


def test_unplugging_is_a_hang_up_and_the_settings_survive():
    with board(pace=8, ms=7000, unplugged=[[2500, 4500]]) as virtual:
        with Host(virtual.port) as host:
            assert "before the frequency is known" in host.ask(1, "set", "interval_ms", 40).text
            host.until(lambda: host.all(records.Interval))
            assert host.ask(2, "set", "interval_ms", 40).ok == 1
            with pytest.raises((serial.SerialException, OSError)):
                host.until(lambda: False)
        before = host.all(records.Hello)[0]
        end = time.monotonic() + 3
        while os.path.exists(virtual.port):
            assert time.monotonic() < end
            time.sleep(0.005)
        while not os.path.exists(virtual.port):
            assert time.monotonic() < end
            time.sleep(0.005)
        with Host(virtual.port) as host:
            host.to_the_end(virtual)
        virtual.check()
    hello = host.heard[0]
    assert (hello.boot, hello.interval_ms, hello.uid) == (before.boot + 1, 40, before.uid)
    assert hello.uptime_ms < before.uptime_ms + 100
    intervals = host.all(records.Interval)
    assert (intervals[0].sequence, intervals[0].first_edge, intervals[0].t_first) == (0, 0, 0)
    assert intervals[0].flags == records.FLAG_NEW_TIME_BASE
    # The second boot's own edges: those after the millisecond at which the plug was in.
    times = [t for t in edge_times(7000) if t // 62_500 > 4500]
    assert check_sums(intervals, times) > len(times) - 1100


def test_a_host_that_stops_reading_loses_whole_records_and_their_number_is_reported():
    with board(pace=25, ms=16_000, period=12_500, jitter=0) as virtual, Host(virtual.port) as host:
        # Before the frequency is known, so short an interval is refused.
        host.until(lambda: host.all(records.Interval))
        assert host.ask(1, "set", "interval_ms", 5).ok == 1
        host.until(lambda: len(host.all(records.Status)) > 1)
        # Until all of the scene but what the FIFO holds, 2 s, has reached the firmware.  The pty holds some five
        # seconds of records, the ring 0.6 s.
        virtual._feed.wait(20)
        host.to_the_end(virtual)
        virtual.check()
    intervals = host.all(records.Interval)
    status = host.all(records.Status)[-1]
    lost = 0
    edge = 0
    for before, after in itertools.pairwise(intervals):
        step = after.sequence - before.sequence
        lost += step - 1
        assert (step > 1) == bool(after.flags & records.FLAG_AFTER_DROP)
        # Edges and time base run on across what was dropped.
        edge += step == 1 and after.first_edge == before.first_edge + before.n
        assert after.t_first == after.first_edge * 12_500 % records.U32
    assert lost > 50 and status.dropped == lost and status.ring_high == 128
    assert edge == len(intervals) - 1 - sum(i.flags & 1 for i in intervals)


def test_close_and_open_again_keeps_the_board_running():
    with board(pace=5, ms=5000) as virtual:
        with Host(virtual.port) as host:
            host.until(lambda: host.all(records.Interval))
        with Host(virtual.port) as host:
            # The first line may be the rest of a cut line.
            host.serial.readline()
            host.ask(1, "hello")
            hello = host.all(records.Hello)[-1]
    assert hello.boot == 1 and hello.uptime_ms > 0


def run_on_files(interpreter, tmp_path, data):
    """The firmware's output for a scene in a file: no pty and no pace, so every byte follows from the scene."""
    flash = tmp_path / interpreter
    flash.mkdir()
    scene_file = tmp_path / "scene"
    scene_file.write_bytes(data)
    lib = tmp_path / "lib"
    lib.mkdir(exist_ok=True)
    if not (lib / "coilwire").exists():
        (lib / "coilwire").symlink_to(coilwire_folder())
    paths = ":".join(map(str, (FIRMWARE / "virtual", FIRMWARE, lib)))
    with open(scene_file, "rb") as source, open(tmp_path / "out", "wb") as out:
        command = INTERPRETERS[interpreter]().command
        subprocess.run(
            [*command, str(FIRMWARE / "virtual" / "run.py"), paths, str(source.fileno()), str(flash), "board", "U1"],
            stdin=subprocess.DEVNULL,
            stdout=out,
            pass_fds=(source.fileno(),),
            check=True,
            timeout=30,
        )
    return (tmp_path / "out").read_bytes()


def test_both_interpreters_send_the_same_bytes_for_the_same_scene(tmp_path):
    data = scene(42_500, silent=[(1000, 1030), (2000, 4200), (5000, 40_000)], jitter=30, marks=(100, 40_100))
    said = run_on_files("micropython", tmp_path, data)
    assert run_on_files("cpython", tmp_path, data) == said
    heard = [records.read(frame.parse(line)) for line in said.splitlines()]
    hellos = [record.uptime_ms for record in heard if isinstance(record, records.Hello)]
    assert hellos == [1, 10_000, 20_000, 30_000, 40_000]
    assert [r.uptime_ms for r in heard if isinstance(r, records.Status)] == list(range(1000, 42_501, 1000))
    stopped = [record for record in heard if isinstance(record, records.Stopped)]
    # A silence of 30 ms gives no report, 2.2 s give three: one after 50 ms, then one each second; 35 s accordingly.
    assert [(r.uptime_ms, r.silent_ms) for r in stopped[:3]] == [(2050, 50), (3050, 1050), (4050, 2050)]
    assert [r.silent_ms for r in stopped[3:]] == list(range(50, 35_000, 1000))
    intervals = [record for record in heard if isinstance(record, records.Interval)]
    times = edge_times(42_500, silent=[(1000, 1030), (2000, 4200), (5000, 40_000)], jitter=30)
    assert check_sums(intervals, times) > len(times) - 500
    # Half a turn of the timestamp is 34.36 s: the 35 s of silence are ambiguous, the 2.2 s are not.
    bases = [i.t_first for i in intervals if i.flags & records.FLAG_NEW_TIME_BASE]
    assert len(bases) == 2 and bases[0] == 0
    assert bases[1] == next(t for t in times if t // 62_500 >= 40_000) - times[0]


def test_the_hello_names_the_substitute_for_micropython():
    with board(ms=300, interpreter=virtual_interpreter.cpython()) as virtual, Host(virtual.port) as host:
        assert virtual.interpreter_name == "CPython (no MicroPython wheel here)"
        host.until(lambda: host.all(records.Hello))
    assert "no MicroPython" in host.heard[0].board
    real = virtual_interpreter.find_interpreter()
    assert real.name.startswith("MicroPython 1.") and real.board == f"virtual ({real.name})"


def test_a_firmware_that_breaks_is_one_clear_error(tmp_path):
    broken = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, broken)
    (broken / "app.py").write_text("raise RuntimeError('the app is broken')\n")
    with VirtualBoard(broken, [sys.executable, str(FEED), json.dumps({"pace": 1, "ms": 5000})]) as virtual:
        assert virtual.wait(5)
        with pytest.raises(DeviceError, match="ended unexpectedly") as caught:
            virtual.check()
        assert "the app is broken" in str(caught.value) and "\n" not in str(caught.value)
        assert not os.path.exists(virtual.port)


def test_a_scene_that_fails_is_one_clear_error():
    feed = [sys.executable, "-c", "raise SystemExit('coilcount feed: no such scene')"]
    with VirtualBoard(FIRMWARE, feed) as virtual:
        assert virtual.wait(5)
        with pytest.raises(InputError, match=r"^no such scene$"):
            virtual.check()


def test_a_command_that_does_not_start_leaves_nothing():
    with pytest.raises(DeviceError, match="does not start"), VirtualBoard(FIRMWARE, ["/nonexistent/feed"]):
        pass


def test_a_micropython_that_does_not_run_is_one_clear_error():
    with pytest.raises(DeviceError, match="MicroPython does not run"):
        virtual_interpreter.micropython((sys.executable, "-c", "raise SystemExit(1)"))


def test_a_system_without_ptys_gets_a_clear_error(monkeypatch):
    monkeypatch.delattr(os, "openpty")
    with pytest.raises(DeviceError, match="pseudo-terminal"), board(ms=10):
        pass


def test_tcp_serves_one_client_after_another():
    with board(pace=5, ms=60_000) as virtual, Relay(virtual.port, 0) as relay:
        done = threading.Event()

        def serve():
            while not done.is_set():
                relay.step(0.02)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            for number in (1, 2):
                with Host(relay.url) as host:
                    host.serial.readline()
                    assert host.ask(number, "get", "interval_ms").text == "interval_ms=20"
            taken = relay.url.rsplit(":", 1)[1]
            with pytest.raises(DeviceError, match=taken):
                Relay(virtual.port, int(taken))
        finally:
            done.set()
            thread.join()
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", int(taken))) != 0


def test_the_command_serves_the_physics_until_ctrl_c(tmp_path):
    command = [*INTERRUPTIBLE, "virtual", "--json", "--scene", "quiet-bench", "--seed", "5"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=dict(os.environ, TMPDIR=str(tmp_path)))
    announced = json.loads(process.stdout.readline())
    assert announced["simulated"] is True
    with Host(announced["port"]) as host:
        host.until(lambda: len(host.all(records.Interval)) >= 3)
    process.send_signal(signal.SIGINT)
    assert process.wait(30) == 0
    assert process.stdout.read() == ""
    process.stdout.close()
    assert [i.sequence for i in host.all(records.Interval)[:3]] == [0, 1, 2]
    first, second = host.all(records.Interval)[:2]
    frequency = (second.first_edge - first.first_edge) * 62_500_000 / (second.t_first - first.t_first)
    assert 20_000 < frequency < 30_000


def test_a_long_path_of_the_temporary_folder_does_no_harm(tmp_path, monkeypatch):
    # MicroPython dies of an argument of more than 255 bytes.
    deep = tmp_path / ("long-" * 30) / ("longer-" * 20)
    deep.mkdir(parents=True)
    firmware = shutil.copytree(FIRMWARE, deep / "firmware")
    monkeypatch.setattr(tempfile, "tempdir", str(deep))
    feed = [sys.executable, str(FEED), json.dumps({"pace": 10, "ms": 1000})]
    with VirtualBoard(firmware, feed) as virtual, Host(virtual.port) as host:
        assert len(str(virtual.port)) > 300
        host.to_the_end(virtual)
        virtual.check()
    assert len(host.all(records.Interval)) > 40 and list(deep.glob("coilcount-*")) == []


# Seconds after its folder appeared; None: when all runs.
@pytest.mark.parametrize("after_s", [0.0, 0.01, 0.1, 0.3, None])
def test_after_kill_9_every_process_ends_and_the_next_start_removes_the_folder(tmp_path, monkeypatch, after_s):
    outcome = killed_start(tmp_path / "made", after_s, signal.SIGKILL)
    assert (outcome.code, outcome.left) == (-signal.SIGKILL, 0)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "made"))
    with board(ms=10) as virtual:
        assert list((tmp_path / "made").glob("coilcount-*")) == [Path(virtual.port).parent]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_or_a_closed_terminal_ends_the_board_in_order(tmp_path, number):
    outcome = killed_start(tmp_path / "made", None, number)
    assert outcome.children >= 2
    assert outcome == outcome._replace(code=0, left=0, folders=0)


def test_a_folder_in_use_and_a_folder_of_another_user_are_left_alone(tmp_path, monkeypatch):
    folder, lock = virtual_folder.make()
    (folder / "kept").touch()
    stranger = tmp_path / "coilcount-notes"
    stranger.mkdir()
    (stranger / "kept").touch()
    os.utime(stranger, (0, 0))
    fresh = tmp_path / "coilcount-fresh"
    fresh.mkdir()
    virtual_folder.remove_left()
    assert (folder / "kept").exists() and (stranger / "kept").exists() and fresh.exists()
    os.utime(fresh, (0, 0))
    os.close(lock)  # its owner is gone
    virtual_folder.remove_left()
    assert not folder.exists() and not fresh.exists() and (stranger / "kept").exists()
    shutil.rmtree(stranger)


def test_the_files_of_a_board_are_found():
    assert firmware_folder() == FIRMWARE
    assert (coilwire_folder() / "frame.py").is_file()
    assert (tracker_folder() / "records.py").is_file()
