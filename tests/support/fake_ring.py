"""The counter over a fake ring, in which hours pass at once.  Runs under CPython and MicroPython."""

from array import array

import counter as counting
import pio_program
from edge_counter import EdgeCounter


class FakeEdges:
    """Fake of chip_edges.ChipEdges: a test puts the words into the ring.  It is also the clock.

    base_ticks: the time of the last start(), from which timestamps count; stall: the state machine has stalled.
    """

    clock_hz = 125_000_000
    tick_cycles = pio_program.TICK_CYCLES
    missed_ticks = pio_program.HOLD_OFF + pio_program.OVERHEAD_TICKS
    ring_words = 8192
    moved_modulo = 1 << 27

    def __init__(self):
        self.ring = array("I", [0] * self.ring_words)
        self.words = 0
        self.now_ms = 0
        self.base_ticks = 0
        self.stall = False

    def uptime_ms(self):
        return self.now_ms

    def start(self):
        self.words = 0
        self.stall = False
        self.base_ticks = self.now_ms * 62_500
        self.put(self.base_ticks)

    def stop(self):
        pass

    def put(self, ticks):
        since_start = ticks - self.base_ticks
        self.ring[self.words % self.ring_words] = (self.words * self.missed_ticks - since_start) & 0xFFFFFFFF
        self.words += 1

    def moved(self):
        return self.words % self.moved_modulo

    def stalled(self):
        return self.stall


class Bench:
    """A counter over a FakeEdges.  While `on`, an edge comes about every 40 us.  intervals: the sums it reported."""

    def __init__(self, interval_ms):
        self.edges = FakeEdges()
        self.counter = EdgeCounter(self.edges, self.edges)
        self.counter.start(interval_ms)
        self.on = True
        self.intervals = []

    def pass_ms(self, ms):
        for _ in range(ms):
            self.edges.now_ms += 1
            for k in range(25 * self.on):
                self.edges.put(self.edges.now_ms * 62_500 + k * 2500 + k % 3)
            if self.counter.poll() == counting.CLOSED:
                self.intervals.append(list(self.counter.sums))


def story():
    """Count, with a pause of the polling, a silence, and a wrap of the timestamp (68.7 s).

    Returns the sums of all intervals.
    """
    bench = Bench(20)
    bench.pass_ms(90)
    for k in range(9000):
        bench.edges.put(bench.edges.now_ms * 62_500 + 62_500 + k * 2500)
    bench.edges.now_ms += 360
    bench.pass_ms(50)
    bench.on = False
    bench.pass_ms(20_000)
    bench.on = True
    bench.pass_ms(30)
    bench.edges.now_ms += 48_000
    bench.pass_ms(300)
    return bench.intervals
