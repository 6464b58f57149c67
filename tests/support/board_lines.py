"""Interval lines by plain arithmetic, for tests of the host.  No physics and no firmware is involved.

The frequency is constant within an interval, so its edges are evenly spaced.  Ticks are rounded once for each interval.
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
    """Return the hello of this board, with `changes` to its fields."""
    record = records.Hello(
        PROTOCOL, "simulated", "test", "T1", boot, uptime_ms, CLOCK_HZ, TICK_CYCLES, 20, 0, records.LAYOUT
    )
    return record._replace(**changes)


def line(host_s: float, record) -> Line:
    """Return the capture entry of a record received at host_s."""
    return Line(host_s, records.write(record)[:-1])


class Source:
    """Intervals of a coil with the frequency frequency(t) Hz, t in s since the start, and white frequency noise."""

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
        """Return the next interval."""
        end_s = (self.sequence + 1) * self._interval_s
        hz = self._frequency(self.time_s) * (1 + self._random.gauss(0, self._noise))
        n = max(2, math.ceil((end_s - self.time_s) * hz))
        period = TICKS_PER_S / hz
        t_first = round(self.time_s * TICKS_PER_S)
        # Edges are at time_s + k / hz.  S makes up for the rounding of t_first, so that there is no bias.
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
    """Yield a hello, then interval lines and a status each second."""
    yield line(start_host_s, hello(boot))
    for k in range(round(seconds * 50)):
        host_s = round(start_host_s + (k + 1) * 0.02 + 0.003, 6)
        yield line(host_s, source.interval())
        if k % 50 == 49:
            yield line(host_s, records.Status(20 * (k + 1), 295_000, 5000, 1, 0, 0, 0))


def passes(at_s: list[float], ppm: float, base_hz: float = 25_000.0, width_s: float = 0.3) -> Callable[[float], float]:
    """Return frequency(t) in Hz: base_hz with a pass at each of the times at_s.

    ppm: height, with alternating signs; width_s: full width at half maximum, in s.  The shape is (1 + (u / w)^2)^-3,
    from an earlier simulation study that is not repeated here.
    """

    def frequency(t: float) -> float:
        shift = sum(
            ppm * (-1) ** k * (1 + ((t - middle) / (width_s / 1.02)) ** 2) ** -3 for k, middle in enumerate(at_s)
        )
        return base_hz * (1 + 1e-6 * shift)

    return frequency
