"""The firmware's loop allocates nothing while no command comes.  The real MicroPython runs it with a locked heap."""

from collections import Counter

import chip_tools
import pytest
from coilwire import frame, records
from micropython_tool import PROTOCOL, run_micropython

SUPPORT = chip_tools.FIRMWARE.parent / "tests" / "support"

LOOP = """
import micropython, sys
class Machine:
    class Pin:
        IN = OUT = PULL_UP = 0
        level = 1
        def __init__(self, number, *_, value=None): pass
        def value(self): return Machine.Pin.level
    class ADC:
        def __init__(self, channel): pass
        def read_u16(self): return 14_020
    def unique_id(): return bytes(8)
sys.modules["machine"] = Machine
import pins
from adc import Amplitude
from app import App
from chip_board import ChipBoard
from coilwire import records
from edge_counter import EdgeCounter
from fake_ring import FakeEdges
from link import PIECE_BYTES, Link
from port import Port
from store import Store

class Stallable(Port):
    "A real stream, which a test can stall, and into which it can put commands."
    stalled = False
    commands = b""
    def writable(self):
        return not self.stalled and Port.writable(self)
    def read(self):
        if not self.commands:
            return Port.read(self)
        byte, self.commands = self.commands[0], self.commands[1:]
        return byte

store = Store(sys.argv[1])
store.load()
store.start_boot()
edges = FakeEdges()
board = ChipBoard(pins.kind_of("Raspberry Pi Pico with RP2040"), edges)
port = Stallable(sys.stdin.buffer, open(sys.argv[2], "wb"))
counter = EdgeCounter(edges, edges, Amplitude(Machine.ADC(26)))
app = App(counter, Link(port, PIECE_BYTES), store, board, edges, "0.1.0")
app.start()

def step():
    micropython.heap_lock()
    try:
        return app.step()
    finally:
        micropython.heap_unlock()

def run(ms, coil=True, steps=True):
    for _ in range(ms):
        edges.now_ms += 1
        if coil:
            for k in range(25):
                edges.put(edges.now_ms * 62_500 + k * 2500 + k % 3)
        while steps and step():
            pass

run(12_000)
for level in (0, 1, 0, 1):
    Machine.Pin.level = level
    run(60)
port.stalled = True
run(3000)
port.stalled = False
run(300)
run(400, coil=False)
run(200)
# The command itself needs memory.  Its answer and the hello are sent later.
port.stalled = True
port.commands = records.write(records.Command(9, "set", "interval_ms", 10))
while port.commands:
    edges.now_ms += 1
    app.step()
port.stalled = False
run(1500)
run(400, steps=False)
run(100)
print(app.ring.dropped, app.link.short_writes)
"""


def test_steps_of_every_kind_allocate_nothing(tmp_path):
    flash = tmp_path / "flash"
    flash.mkdir()
    out = tmp_path / "out"
    paths = (chip_tools.FIRMWARE, PROTOCOL, SUPPORT)
    dropped, _ = map(int, run_micropython(LOOP, flash, out, paths=paths).split())
    lines = out.read_bytes().split(b"\n")
    assert lines.pop().strip() == b""
    found = [records.read(frame.parse(line)) for line in lines]
    kinds = Counter(type(record).__name__ for record in found)
    assert kinds["Hello"] == 3 and kinds["Status"] >= 15 and kinds["Mark"] == 2 and kinds["Stopped"] == 1
    answers = [record for record in found if isinstance(record, records.Answer)]
    assert answers == [records.Answer(9, 1, "interval_ms=10")]
    intervals = [record for record in found if isinstance(record, records.Interval)]
    assert dropped > 10 and len(intervals) > 700
    flags = 0
    for interval in intervals:
        flags |= interval.flags
    # A drop, an overrun, and the period over the pause of the coil were among the steps.
    assert flags & records.FLAG_AFTER_DROP and flags & records.FLAG_OVERRUN and flags & records.FLAG_LOST_EDGE
    assert {round(interval.n, -1) for interval in intervals} >= {500, 250}
    assert intervals[0].amplitude == pytest.approx(14_020 / 65_535 * 33_000, abs=1)


CLOCK = """
import micropython, time
from clock import Clock
def locked(clock):
    micropython.heap_lock()
    for _ in range(100):
        clock.uptime_ms()
    micropython.heap_unlock()
locked(Clock())
ticks = [(1 << 30) - 5]
real = time.ticks_diff
chip = Clock(lambda: ticks[0] & 0x3FFFFFFF)  # as time.ticks_ms on a chip
ticks[0] += 12
print(chip.uptime_ms() & 0x3FFFFFFF)
ticks[0] += 1 << 29
print(chip.uptime_ms())
"""


def test_the_clock_allocates_nothing_and_goes_on_when_the_chip_s_counter_wraps():
    printed = run_micropython(CLOCK, paths=(chip_tools.FIRMWARE, PROTOCOL)).split()
    assert printed == ["12", str(12 + (1 << 29))]
