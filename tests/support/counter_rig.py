"""The firmware's counter on an emulated RP2040 (emulated_chip), with a pin whose edges are all known."""

from itertools import pairwise

import chip_tools
from chip_tools import U32
from coilwire import records
from emulated_chip import CLOCK_HZ, Chip, edges_on

chip_tools.provide_micropython()

import counter as counting  # noqa: E402
from edge_counter import EdgeCounter  # noqa: E402

PIN = 2
MS = CLOCK_HZ // 1000  # cycles
PERIOD = 2500  # cycles: 50 kHz
NEW, OVERRUN = records.FLAG_NEW_TIME_BASE, records.FLAG_OVERRUN
NO_AMPLITUDE = records.FLAG_NO_AMPLITUDE  # always set, because there is no amplitude channel here


class Rig:
    """An emulated chip and its counter.  intervals: the sums that it reported; rises: the cycles of all edges."""

    def __init__(self, monkeypatch, **given):
        self.chip = Chip()
        self.edges = edges_on(self.chip, monkeypatch, PIN, **given)
        self.counter = EdgeCounter(self.edges, self)
        self.intervals = []
        self.rises = []

    def uptime_ms(self):
        return self.chip.cycle // MS

    def run(self, rises, until, poll=True):
        """Send pulses that rise at these cycles, all before the cycle `until`.  Poll about once a millisecond."""
        rises = sorted(rises)
        self.rises += rises
        changes = [change for rise in rises for change in ((rise, 1), (rise + 230, 0))]
        k = 0
        while self.chip.cycle < until:
            end = min(until, self.chip.cycle + MS)
            begin = k
            while k < len(changes) and changes[k][0] < end:
                k += 1
            self.chip.run(end - self.chip.cycle, PIN, changes[begin:k])
            if poll:
                self.poll()

    def poll(self):
        state = counting.CLOSED
        while state == counting.CLOSED:
            state = self.counter.poll()
            if state == counting.CLOSED:
                self.intervals.append(list(self.counter.sums))

    def stall(self):
        """Stop the DMA while 20 edges come: the FIFO fills, and the state machine has to wait."""
        self.chip.dma_stopped = True
        begin = self.chip.cycle
        self.run(train(begin + 1000, 20), begin + 20 * PERIOD, poll=False)
        self.chip.dma_stopped = False
        self.run([], self.chip.cycle + 10)
        self.poll()

    def flags(self):
        return [sums[counting.FLAGS] & ~NO_AMPLITUDE for sums in self.intervals]

    def check(self, rises=None):
        """Assert that every sum is exact.  Edges are numbered and timed from the first of `rises` (even cycles)."""
        rises = self.rises if rises is None else rises
        ticks = [(rise - rises[0]) // 2 for rise in rises]
        base = None
        for first, n, t_first, s, shortest, longest, _, flags in self.intervals:
            edges = ticks[first : first + n]
            assert len(edges) == n
            if base is None:
                base = (t_first - edges[0]) & U32
            assert t_first == (base + edges[0]) & U32
            assert s == sum(t - edges[0] for t in edges)
            begin = first if flags & (NEW | OVERRUN) else first - 1
            periods = [ticks[i] - ticks[i - 1] for i in range(begin + 1, first + n)]
            assert (shortest, longest) == (min(*periods, 65535), min(65535, max(periods)))

    def follow_on(self):
        """Return True if each interval begins with the edge after the last edge of the one before."""
        return all(b[0] == a[0] + a[1] for a, b in pairwise(self.intervals))


def train(begin, count, period=PERIOD):
    return [begin + 2 * (k * period // 2) for k in range(count)]
