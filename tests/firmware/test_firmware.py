"""The parts of the firmware.  Bytes, files and streams are tested under the real MicroPython."""

import io
import os
import subprocess
import sys
import time
from array import array
from collections import deque

import pytest
from coilcount import __version__
from coilwire import records
from firmware_scenes import FIRMWARE, TICKS_PER_MS, U32, edge_times, scene, sums
from hypothesis import given
from hypothesis import strategies as st
from micropython_tool import PROTOCOL, micropython_command, run_micropython

sys.path[:0] = [str(FIRMWARE / "virtual"), str(FIRMWARE)]

import counter as counting  # noqa: E402
from link import Link  # noqa: E402
from port import Port  # noqa: E402
from ring import Ring  # noqa: E402
from simulated import Scene  # noqa: E402

PATHS = (FIRMWARE / "virtual", FIRMWARE, PROTOCOL)


NEED_MACHINE = ("main", "chip_", "watchdog")


@pytest.mark.parametrize(
    "module", [path.stem for path in sorted(FIRMWARE.glob("*.py")) if not path.stem.startswith(NEED_MACHINE)]
)
def test_every_module_imports_under_micropython(module):
    assert run_micropython(f"import {module}; print('ok')", paths=PATHS) == "ok\n"


def test_firmware_and_host_have_the_same_version():
    assert run_micropython("import version; print(version.VERSION)", paths=PATHS).strip() == __version__


def test_main_reports_that_it_needs_a_chip_with_pio():
    assert "RP2040 or RP2350, and there is none here" in run_micropython("import main", paths=PATHS)


# ------------------------------------------------------------ ring


@given(st.lists(st.integers(0, U32 - 1) | st.none(), max_size=60), st.integers(1, 5))
def test_a_full_ring_drops_the_oldest_record_and_counts_it(steps, slots):
    ring = Ring(slots, 2)
    model = deque(maxlen=slots)
    dropped = 0
    for value in steps:
        if value is None:
            kind = ring.first_kind()
            assert kind == (7 if model else 0)
            if kind:
                assert list(ring.words[ring.start : ring.start + 2]) == model.popleft()
                ring.drop_first()
        else:
            dropped += len(model) == slots
            model.append([value, 5])
            ring.push(7, array("I", [value, 5]))
    assert (ring.count, ring.dropped, ring.gap) == (len(model), dropped, dropped > 0)


# ------------------------------------------------------------ store

POWER_CUTS = """
import os, sys
from store import Store
folder = sys.argv[1]
def booted():
    store = Store(folder)
    store.load()
    return store
def state(store):
    return store.boot, store.values["interval_ms"]
store = booted()
assert state(store) == (0, 20) and store.note == ""
store.start_boot()
for value in (21, 33, 47):
    before = state(store)
    kept = {}
    for name in os.listdir(folder):
        with open(folder + "/" + name, "rb") as file:
            kept[name] = file.read()
    store.put("interval_ms", value)
    after = state(store)
    changed = []
    for name in os.listdir(folder):
        with open(folder + "/" + name, "rb") as file:
            now = file.read()
        if kept.get(name) != now:
            changed.append((name, now))
    assert len(changed) == 1
    name, whole = changed[0]
    for cut in range(len(whole)):
        with open(folder + "/" + name, "wb") as file:
            file.write(whole[:cut])
        store = booted()
        assert state(store) == before, (cut, state(store))
        assert store.note
        # The next write must replace the damaged copy, not the good one.
        store.put("interval_ms", 99)
        assert state(booted()) == (before[0], 99)
        with open(folder + "/" + name, "wb") as file:
            file.write(whole)
    store = booted()
    assert state(store) == after == (1, value) and store.note == ""
crc = store.crc
for name in os.listdir(folder):
    with open(folder + "/" + name, "wb") as file:
        file.write(b"@STORE,9,9,interval_ms=1*00000000" + bytes([10]))
store = booted()
assert state(store) == (0, 20) and "damaged" in store.note
assert store.crc != crc
for name in os.listdir(folder):
    os.remove(folder + "/" + name)
os.rmdir(folder)
try:
    store.put("interval_ms", 50)
    raise SystemExit("a write without a folder worked")
except OSError:
    assert state(store) == (0, 20)
store.start_boot()
assert store.boot == 1 and "refuses" in store.note
print("ok")
"""


def test_a_power_cut_at_any_byte_leaves_one_good_copy(tmp_path):
    folder = tmp_path / "flash"
    folder.mkdir()
    assert run_micropython(POWER_CUTS, folder, paths=PATHS) == "ok\n"


# ------------------------------------------------------------ link

SLOW_READER = """
import sys, time
from link import Link
from port import Port
link = Link(Port(sys.stdin.buffer, sys.stdout.buffer))
sent = dropped = 0
for i in range(300):
    if link.ready():
        line = bytearray(b"%d " % i + b"x" * (i * 37 % 9000) + bytes([10]))
        link.send(line, len(line))
        sent += 1
    else:
        dropped += 1
        time.sleep_ms(1)
for _ in range(2000):
    link.ready()
    if link.idle():
        break
    time.sleep_ms(1)
print(sent, dropped, link.short_writes, link.lost, file=sys.stderr)
"""


def test_a_slow_reader_loses_whole_lines_only():
    # The lines are longer than frames: a pipe takes up to 4,096 bytes whole or not at all, and cuts longer lines.
    read_end, writer = os.pipe()
    os.set_blocking(writer, False)
    process = subprocess.Popen(
        [micropython_command(), "-c", SLOW_READER],
        stdin=subprocess.DEVNULL,
        stdout=writer,
        stderr=subprocess.PIPE,
        env=dict(os.environ, MICROPYPATH=":".join(map(str, PATHS))),
    )
    os.close(writer)
    received = b""
    while part := os.read(read_end, 1301):
        received += part
        time.sleep(0.0005)
    os.close(read_end)
    sent, dropped, short, lost = map(int, process.stderr.read().split())
    process.stderr.close()
    assert process.wait() == 0
    lines = received.split(b"\n")
    assert lines.pop() == b""
    numbers = [int(line.split()[0]) for line in lines]
    assert lines == [b"%d " % i + b"x" * (i * 37 % 9000) for i in numbers]
    assert numbers == sorted(set(numbers)) and len(numbers) == sent
    assert sent + dropped == 300 and dropped > 0 and short > 0 and lost == 0


def test_after_a_failed_write_the_next_line_begins_with_a_line_feed():
    read_end, broken = os.pipe()
    input_end, silent = os.pipe()
    reader, writer = io.FileIO(input_end, "rb"), io.FileIO(broken, "wb")
    link = Link(Port(reader, writer))
    os.close(read_end)
    assert link.ready()
    link.send(bytearray(b"first\n"), 6)
    assert (link.lost, link.short_writes) == (1, 1)
    # The port works again under the same descriptor.
    read_end, whole = os.pipe()
    os.dup2(whole, writer.fileno())
    assert link.ready()
    link.send(bytearray(b"second\n"), 7)
    assert link.ready()
    link.send(bytearray(b"third\n"), 6)
    assert os.read(read_end, 100) == b"\nsecond\nthird\n"
    for descriptor in (read_end, whole, silent):
        os.close(descriptor)
    reader.close()
    writer.close()


# ------------------------------------------------------------ counting


def even_sum(n, interval_ticks):
    """Return S of n edges spread evenly over an interval, the last one just before its end."""
    return interval_ticks * (n - 1) // 2


@given(st.integers(5, 100), st.integers(2_000, 200_000))
def test_an_interval_that_fits_keeps_its_sums_below_their_moduli(interval_ms, frequency):
    clock, tick = 125_000_000, 2
    ticks = interval_ms * TICKS_PER_MS
    risen = frequency * 1.1
    n = int(risen * interval_ms / 1000) + 1
    if counting.fits(interval_ms, clock // tick // frequency, clock, tick):
        assert n <= 65535 and even_sum(n, ticks) < U32
    # An interval with more than another 10 % of room must not be refused.
    else:
        assert even_sum(int(n * 1.1) + 2, ticks) > U32


def test_the_longest_intervals_are_those_of_the_protocol():
    # PROTOCOL.md, "Size of S and N": ticks of 16 ns, 10 % of headroom.
    longest = {
        frequency: max(ms for ms in range(5, 101) if counting.fits(ms, 62_500_000 // frequency, 125_000_000, 2))
        for frequency in (25_000, 200_000)
    }
    assert longest == {25_000: 70, 200_000: 24}
    assert counting.fits(24, 0, 125_000_000, 2) and not counting.fits(25, 0, 125_000_000, 2)


def test_the_shortest_intervals_are_those_of_the_protocol():
    # PROTOCOL.md, "Shortest interval": 1.65 f + 200 + 2000 / interval_ms <= 800, f in kHz.
    def shortest(period_ticks):
        return min(ms for ms in range(5, 101) if counting.why_not(ms, period_ticks, 125_000_000, 2) == "")

    for khz, ms in ((25, 5), (120, 5), (150, 6), (180, 7), (200, 8)):
        assert shortest(62_500 // khz) == ms
    assert shortest(0) == 8
    reason = counting.why_not(5, 62_500 // 180, 125_000_000, 2)
    assert reason == "interval_ms 5 is too short for this frequency: the board could not keep up"


class Bytes:
    """A stream over bytes.  read() returns at most the bytes asked for, sometimes fewer, and sometimes None."""

    def __init__(self, data):
        self.data = data
        self.turn = 0

    def read(self, size):
        self.turn += 1
        if self.turn % 5 == 0:
            return None
        size = min(size, 1 + self.turn * 7 % 40)
        part, self.data = self.data[:size], self.data[size:]
        return part if part else None


def closed_intervals(counter, stream):
    while stream.data:
        if counter.poll() == counting.CLOSED:
            yield tuple(counter.sums)


@pytest.mark.parametrize(("interval_ms", "period"), [(20, 2500), (5, 2500), (70, 2500), (24, 313), (70, 313)])
def test_sums_merged_from_milliseconds_equal_the_sums_over_every_edge(interval_ms, period):
    # The last case passes 32 bits unless the interval ends early.
    stream = Bytes(scene(300, period=period, jitter=20))
    times = edge_times(300, period=period, jitter=20)
    counter = Scene(stream)
    counter.start(interval_ms)
    next_edge = 0
    for first, n, t_first, s, shortest, longest, _, flags in closed_intervals(counter, stream):
        assert first == next_edge and s < U32
        assert (t_first, s) == sums(times, first, n)
        periods = [times[i] - times[i - 1] for i in range(max(first, 1), first + n)]
        assert (shortest, longest) == (min(periods), max(periods))
        assert flags == (records.FLAG_NEW_TIME_BASE if first == 0 else 0)
        next_edge += n
    assert next_edge > 0.7 * len(times)
    if (interval_ms, period) != (70, 313):
        assert n == pytest.approx(interval_ms * TICKS_PER_MS / period, rel=0.01)


# ------------------------------------------------------------ the board's own sensors

CHIP = """
import sys
class Fake:
    class Pin:
        IN = OUT = PULL_UP = 0
        level = 1
        held = []
        def __init__(self, number, *_, value=None):
            if value is not None: Fake.Pin.held.append((number, value))
        def value(self): return Fake.Pin.level
    class ADC:
        def __init__(self, channel): self.channel = channel
        def read_u16(self): return round((0.706 if self.channel == 4 else 1.65) / 3.3 * 65535)
    def unique_id(): return bytes([230, 96, 1])
sys.modules["machine"] = Fake
import pins
from chip_board import ChipBoard
class Now:
    ms = (1 << 30) - 150  # the clock passes 2^30 ms in this test
    def uptime_ms(): return Now.ms & 0x3FFFFFFF
unknown = ChipBoard(pins.kind_of("Some board with RP2040"), Now)
board = ChipBoard(pins.kind_of("Raspberry Pi Pico with RP2040"), Now)
assert unknown.supply_mv() == 0 and Fake.Pin.held == []
wireless = ChipBoard(pins.kind_of("Raspberry Pi Pico W with RP2040"), Now)
assert wireless.supply_mv() == board.supply_mv() and Fake.Pin.held == [(25, 1)]
print(board.uid, board.temperature_mk(), board.supply_mv())
def presses(levels, step_ms=1):
    for level in levels:
        Now.ms += step_ms
        Fake.Pin.level = level
        marks = board.marks()
    return marks
# Bounces, a press, a release, a press with few polls, a release, and a press that is too short.
print(presses([0, 1] * 50), presses([0] * 100), presses([1] * 100), presses([0] * 4, 8), presses([1] * 4, 8))
print(presses([0] * 19 + [1] * 30))
Fake.ADC.CORE_TEMP = 8
assert ChipBoard(pins.kind_of("Raspberry Pi Pico2 with RP2350"), Now)._sensor.channel == 8
import time
from clock import Clock
ticks = [time.ticks_add(0, -5)]
clock = Clock(lambda: ticks[0])
ticks[0] = time.ticks_add(ticks[0], 12)
print(clock.uptime_ms())
"""


def test_temperature_supply_marks_and_uptime_with_a_fake_machine():
    # RP2040 datasheet, ADC chapter (from memory): 0.706 V at 27 degC; Pico: VSYS is divided by 3.
    uid, temperature, supply, *marks, uptime = run_micropython(CHIP, paths=PATHS).split()
    assert uid == "E66001"
    assert int(temperature) == pytest.approx(300_150, abs=30)
    assert int(supply) == pytest.approx(4950, abs=1)
    assert marks == ["0", "1", "1", "2", "2", "2"]
    assert uptime == "12"
