"""Interval lines by plain arithmetic, for tests of what is downstream: no physics, no firmware.

The frequency is constant within an interval, edges are evenly spaced from one to the next, ticks are rounded once.
"""

import math
import random
from collections.abc import Callable, Iterator

from coilcount.model import Header, Line
from coilwire import PROTOCOL, records

CLOCK_HZ, TICK_CYCLES = 125_000_000, 2
TICKS_PER_S = CLOCK_HZ / TICK_CYCLES
HEADER = Header(source="simulated", start_utc="2026-05-01T08:00:00Z", simulated=True)


def hello(boot: int = 1, uptime_ms: int = 0, **changes) -> records.Hello:
    told = records.Hello(
        PROTOCOL, "simulated", "test", "T1", boot, uptime_ms, CLOCK_HZ, TICK_CYCLES, 20, 0, records.LAYOUT
    )
    return told._replace(**changes)


def line(host_s: float, record) -> Line:
    return Line(host_s, records.write(record)[:-1])


class Source:
    """Intervals of a coil at frequency(t) Hz with white frequency noise, t in s since this source began."""

    def __init__(self, frequency: Callable[[float], float], noise_ppm=0.0, seed=1, interval_ms=20, first_tick=0):
        self._frequency = frequency
        self._noise = noise_ppm * 1e-6
        self._random = random.Random(seed)
        self._interval_s = interval_ms / 1000
        self._first_tick = first_tick
        self.sequence = 0
        self.edge = 0
        self.time_s = 0.0  # of the next edge

    def interval(self, flags: int = 0) -> records.Interval:
        end_s = (self.sequence + 1) * self._interval_s
        hz = self._frequency(self.time_s) * (1 + self._random.gauss(0, self._noise))
        n = max(2, math.ceil((end_s - self.time_s) * hz))
        period = TICKS_PER_S / hz
        t_first = round(self.time_s * TICKS_PER_S)
        # Edges at time_s + k / hz; S takes the rounding of t_first along, so that no bias comes in.
        s = round(n * (self.time_s * TICKS_PER_S - t_first) + period * n * (n - 1) / 2)
        record = records.Interval(
            self.sequence & 0xFFFF, self.edge & 0xFFFFFFFF, n, (t_first + self._first_tick) & 0xFFFFFFFF, max(0, s),
            math.floor(period), math.ceil(period), 0, flags,
        )  # fmt: skip
        self.sequence += 1
        self.edge += n
        self.time_s += n / hz
        return record


def entries(source: Source, seconds: float, start_host_s: float = 0.0, boot: int = 1) -> Iterator[Line]:
    """Hello first, then interval lines and a status each second."""
    yield line(start_host_s, hello(boot))
    for k in range(round(seconds * 50)):
        host_s = round(start_host_s + (k + 1) * 0.02 + 0.003, 6)
        yield line(host_s, source.interval())
        if k % 50 == 49:
            yield line(host_s, records.Status(20 * (k + 1), 295_000, 5000, 1, 0, 0, 0))


def passes(at_s: list[float], ppm: float, base_hz: float = 25_000.0, width_s: float = 0.3) -> Callable[[float], float]:
    """A constant frequency with bumps of `ppm` (signs alternate), of the shape that the study used."""

    def frequency(t: float) -> float:
        shift = sum(
            ppm * (-1) ** k * (1 + ((t - middle) / (width_s / 1.02)) ** 2) ** -3 for k, middle in enumerate(at_s)
        )
        return base_hz * (1 + 1e-6 * shift)

    return frequency
